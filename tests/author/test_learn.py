"""`kb learn`: what is counted of visit records, what is set aside, and what is never kept."""

from __future__ import annotations

import json
import shutil
import subprocess
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.author.learn import Asked, Learned, learn
from kb_tools.author.learn_count import words_of
from kb_tools.author.learn_file import counts_of, counts_text
from kb_tools.author.learn_seen import Seen
from kb_tools.findings import LibraryError
from kb_tools.numbers.learned import median_minutes
from kb_tools.pages.scripts import WALKER
from visit_records import STARTED, lines, loaded, record, stamp

if TYPE_CHECKING:
    from collections.abc import Iterable

SMALL = Path(__file__).parent.parent / "data" / "small"
LIBRARY, GRAPH = loaded(SMALL)
TODAY = date(2027, 6, 1)
CRIMPED = ["Silent", "No supply", "done", "Yes", "cured"]
BUTTONS = ["Cannot tell", "No supply", "done", "No", "done", "go", "Nothing", "cured"]
TO_DESK = ["Silent", "No supply", "cannot"]
HOSTILE = "<script>alert(1)</script> \x1b[31m Mr Hollis, 4 Mill Lane"


def made(answers: list[str], number: int = 0, tree: str = "seat-stuck", **changes: Any) -> dict[str, Any]:  # noqa: ANN401 - a record's keys
    """Return a record of the small library, its id made from a number."""
    return record(LIBRARY, GRAPH, tree, answers, **{"id": f"{number:016x}", **changes})


def learned(folder: Path, records: Iterable[dict[str, Any] | str], *more: Path, **asked: Any) -> Learned:  # noqa: ANN401 - of Asked
    """Write records as a file and learn from them."""
    path = folder / f"{len(list(folder.iterdir()))}.jsonl"
    path.write_text(lines(records), "utf-8")
    return learn(LIBRARY, GRAPH, Asked([path, *more], **asked), TODAY)


def counts(given: Learned) -> dict[str, Any]:
    """Return the file of counts as a general YAML reader reads it."""
    read = yaml.safe_load(counts_text(given.tally))
    assert isinstance(read, dict)
    return read


def test_records_here_are_as_published() -> None:
    """The records of these tests are valid by the schema that the walk's export follows."""
    schema = json.loads((WALKER / "record.schema.json").read_text("utf-8"))
    for answers in (CRIMPED, BUTTONS, TO_DESK, []):
        jsonschema.validate(made(answers), schema)


def test_answers_and_causes(tmp_path: Path) -> None:
    """Answers are counted at their steps, the cause in the tree of the start; behind a link both trees' are."""
    given = learned(tmp_path, [made(CRIMPED, 1), made(CRIMPED, 2), made(TO_DESK, 3), made(BUTTONS, 4)])
    read = counts(given)
    stuck, buttons = read["trees"]["seat-stuck"], read["trees"]["buttons-dead"]
    assert read["records"] == stuck["visits"] == 4
    assert stuck["outcomes"] == {"cured": 3, "handed over": 1}
    # The link leads to the first step of the other tree: its cause is a cause of that symptom too.
    assert stuck["causes"] == {"crimp": 2, "desk": 1, "other-tree": 1}
    assert buttons["causes"] == {"new-pad": 1}
    assert "visits" not in buttons
    assert stuck["steps"]["listen"]["answers"] == {"Silent": 3, "Cannot tell": 1}
    assert stuck["steps"]["listen"]["last"]["Silent"] == date(2026, 11, 3)
    assert stuck["steps"]["splice"]["answers"] == {"Yes": 2, "No": 1}
    assert stuck["steps"]["desk"]["stopped"] == 1
    # A minute each: more than 1/2 and up to 1.
    assert stuck["steps"]["volts"]["minutes"] == [0, 0, 4]


def test_a_fix_that_failed_is_no_cause(tmp_path: Path) -> None:
    """After `not cured` the cause is where the walk ended; a visit that stopped in the middle has none."""
    given = learned(tmp_path, [made([*CRIMPED[:-1], "not cured"], 1), made(CRIMPED[:3], 2, outcome="refused")])
    stuck = counts(given)["trees"]["seat-stuck"]
    assert stuck["causes"] == {"desk": 1}
    assert stuck["steps"]["crimp"]["answers"] == {"not cured": 1}
    assert stuck["steps"]["splice"]["stopped"] == 1
    assert stuck["outcomes"] == {"refused": 1, "handed over": 1}


def test_going_back_and_not_knowing(tmp_path: Path) -> None:
    """Answers that were taken back are counted where they stood, and so is what was only taken as if."""
    one = made(CRIMPED)
    one["steps"][0]["assumed"] = True
    one["withdrawn"] = [{**one["steps"][1], "withdrawn": one["ended"]}]
    one["steps"][2]["kept"] = True
    steps = counts(learned(tmp_path, [one]))["trees"]["seat-stuck"]["steps"]
    assert steps["listen"]["assumed"] == 1
    assert steps["volts"]["back"] == 1
    # What was kept from before was not answered then: it took no time.
    assert "minutes" not in steps["unplug"]


def test_bad_records_are_named(tmp_path: Path) -> None:
    """Each bad record is named with its line and why, nothing of it is repeated, and the others count."""
    two = made(CRIMPED, 2)
    bad = [
        '{"format": "fault-tree visit record", "version": 1, ',
        "no JSON " + HOSTILE,
        json.dumps({**two, "version": 2}),
        json.dumps({"name": HOSTILE}),
        json.dumps({**two, "steps": [{**two["steps"][0], "kind": HOSTILE}]}),
        json.dumps({**two, "started": HOSTILE}),
        json.dumps({name: value for name, value in two.items() if name != "steps"}),
        json.dumps({**two, "steps": [{**two["steps"][0], "answer": 5}]}),
        json.dumps({**two, "trees": []}),
        json.dumps([two]),
        "[" * 100_000,
    ]
    given = learned(tmp_path, [made(CRIMPED, 1), *bad, "", two])
    named = given.bad.named
    assert given.tally.records == 2
    assert given.bad.number == len(named) == len(bad)
    assert [int(one.split(":")[1]) for one in named] == list(range(2, 2 + len(bad)))
    for one, why in zip(
        named,
        ("too early", "no JSON", "version 2", "no visit record", "$.steps[0].kind", "RFC3339", "`steps`", "`str`"),
        strict=False,
    ):
        assert why in one
    assert not any("Hollis" in one or "script" in one or "\x1b" in one for one in named)


def test_files_of_one_record(tmp_path: Path) -> None:
    """A folder holds a file for each record, as saved, in folders below too; a byte-order mark does not matter."""
    (tmp_path / "vans" / "2").mkdir(parents=True)
    (tmp_path / "vans" / "a.json").write_text(json.dumps(made(CRIMPED, 1), indent=2), "utf-8-sig")
    (tmp_path / "vans" / "2" / "b.JSON").write_text(json.dumps(made(CRIMPED, 2)), "utf-8")
    (tmp_path / "vans" / "2" / "cut.json").write_text(json.dumps(made(CRIMPED, 2), indent=2)[:-30], "utf-8")
    (tmp_path / "vans" / "2" / "lines.ndjson").write_text(lines([made(CRIMPED, 3)]), "utf-8-sig")
    (tmp_path / "vans" / "notes.txt").write_text("not read")
    given = learn(LIBRARY, GRAPH, Asked([tmp_path]), TODAY)
    assert given.tally.records == 3
    [cut] = given.bad.named
    last = len(json.dumps(made(CRIMPED, 2), indent=2)[:-30].splitlines())
    assert f"cut.json:{last}:" in cut


def test_no_personal_text(tmp_path: Path) -> None:
    """Whatever somebody wrote into a record, the file of counts holds words of the library only."""
    one = made(CRIMPED)
    for name in ("job", "remark", "chair_serial", "kit_serial", "chair_revision", "kit_revision", "code"):
        one[name] = HOSTILE
    one["as_found"] = dict.fromkeys(one["as_found"], HOSTILE)
    one["library"] |= {"title": HOSTILE, "edition": HOSTILE}
    one["stop_use"] = [HOSTILE]
    one["steps"][0]["text"] = one["steps"][1]["reading"] = HOSTILE
    strange = {**one["steps"][0], "answer": HOSTILE}
    one["steps"].insert(1, strange)
    one["steps"].insert(2, {**strange, "tree": HOSTILE, "step": HOSTILE})
    one["withdrawn"] = [{**strange, "step": HOSTILE}]
    text = counts_text(learned(tmp_path, [one]).tally)
    plain = counts_text(learned(tmp_path, [made(CRIMPED)]).tally)
    assert "unknown-answers: 2" in text
    assert set(text.splitlines()) - set(plain.splitlines()) == {"set_aside:", "  unknown-answers: 2"}


def test_searched_words() -> None:
    """Of a search that found nothing single words are kept, in no order, without digits and signs."""
    assert words_of(["Flux capacitor 0171 555 12", "flux; <b>Ärger</b>", "x"]) == ["capacitor", "flux", "ärger"]


def test_doubles_count_once(tmp_path: Path) -> None:
    """A record that comes twice counts once; one that was ended goes before the same one from the middle."""
    early = made(CRIMPED[:2], 1, ended=None, outcome=None)
    given = learned(tmp_path, [early, made(CRIMPED, 1), made(CRIMPED, 1), made(TO_DESK, 2), early])
    read = counts(given)
    assert (read["records"], read["doubles"]) == (2, 3)
    assert read["trees"]["seat-stuck"]["causes"] == {"crimp": 1, "desk": 1}
    assert read["trees"]["seat-stuck"]["outcomes"] == {"cured": 1, "handed over": 1}


def test_a_visit_that_was_not_ended(tmp_path: Path) -> None:
    """A visit that was not ended is open: its answers count, a cause or an end it does not have."""
    read = counts(learned(tmp_path, [made(CRIMPED[:2], 1, ended=None, outcome=None)]))
    tree = read["trees"]["seat-stuck"]
    assert tree["outcomes"] == {"open": 1}
    assert set(tree["steps"]) == {"listen", "volts"}
    assert "causes" not in tree


def test_other_libraries_and_editions(tmp_path: Path) -> None:
    """Records of another library, of trees and answers that are gone, are set aside with a count."""
    foreign = made(CRIMPED, 1)
    foreign["library"] = {"key": "0" * 12, "title": "Other", "edition": "1"}
    gone = made(CRIMPED, 2, trees=[{"tree": "gone", "title": "Gone", "fingerprint": 2}])
    reworded = made(CRIMPED, 3)
    reworded["steps"][0]["answer"] = "Quiet"
    reworded["steps"][3]["step"] = "old-splice"
    read = counts(learned(tmp_path, [foreign, foreign, gone, reworded]))
    assert read["records"] == 1
    assert read["set_aside"] == {"other-library": 2, "unknown-tree": 1, "unknown-answers": 2}
    assert read["trees"]["seat-stuck"]["causes"] == {"crimp": 1}
    again = learned(tmp_path, [foreign], also=("0" * 12,))
    assert again.tally.records == 1


def test_moved_ids(tmp_path: Path) -> None:
    """Records of an edition in which trees and steps were called otherwise count for what they are called today."""
    root = tmp_path / "moved"
    shutil.copytree(SMALL, root)
    (root / "trees/shared/moved.yml").write_text(
        "- {was: seat-jams, now: seat-stuck}\n- {was: seat-stuck/hear, now: seat-stuck/listen}\n"
    )
    old = made(CRIMPED)
    old["trees"][0]["tree"] = "seat-jams"
    for step in old["steps"]:
        step["tree"] = "seat-jams"
    old["steps"][0]["step"] = "hear"
    path = tmp_path / "old.jsonl"
    path.write_text(lines([old]), "utf-8")
    given = learn(*loaded(root), Asked([path]), TODAY)
    (tmp_path / "new").mkdir()
    assert counts(given) == counts(learned(tmp_path / "new", [made(CRIMPED)]))


def test_a_clock_that_was_wrong(tmp_path: Path) -> None:
    """Days of a clock that was wrong are not used: no record is from the future, or from before the trade."""
    given = learned(
        tmp_path,
        [made(CRIMPED, 1), *(made(CRIMPED, year, started=datetime(year, 1, 1, tzinfo=UTC)) for year in (1970, 2099))],
    )
    read = counts(given)
    assert read["records"] == 3
    assert read["first"] == read["last"] == date(2026, 11, 3)


WALKS = st.lists(
    st.tuples(
        st.sampled_from([CRIMPED, BUTTONS, TO_DESK, CRIMPED[:2], [*CRIMPED[:-1], "not cured"], []]),
        st.integers(0, 12),
        st.integers(0, 900),
        st.sampled_from([0, 0, 0, 1, 2, 3]),
    ),
    max_size=20,
)


def drawn(walks: list[tuple[list[str], int, int, int]]) -> list[dict[str, Any]]:
    """Return records; those of one number are copies of one record."""
    first: dict[int, dict[str, Any]] = {}
    for answers, number, days, kind in walks:
        one = made(answers, number, started=STARTED - timedelta(days=days), searches=["flux" + "ab"[number % 2]])
        if kind == 1:
            one["library"] = {"key": "else", "title": "", "edition": ""}
        elif kind == 2:
            one |= {"ended": None, "outcome": None}
        elif kind == 3 and one["steps"]:
            one["steps"][0]["answer"] = "Quiet"
        first.setdefault(number, one)
    return [first[number] for _, number, _, _ in walks]


@given(WALKS, st.integers(0, 2**20 - 1))
def test_parts_add_up(tmp_path_factory: pytest.TempPathFactory, walks: list[Any], cut: int) -> None:
    """However records are split, in any order: counted one after the other, doubles included, they give the whole."""
    folder = tmp_path_factory.mktemp("parts")
    records = drawn(walks)
    whole = counts_text(learned(folder, records).tally)
    parts = ([one for at, one in enumerate(records) if cut >> at & 1 == side] for side in (1, 0))
    seen, file = folder / "seen", folder / "counts.yml"
    more: list[Path] = []
    for part in parts:
        given = learned(folder, part, *more, seen=seen)
        file.write_text(counts_text(given.tally), "utf-8")
        seen.write_bytes(given.seen.packed())
        more = [file]
    assert file.read_text("utf-8") == whole
    assert len(Seen.read(seen)) == given.tally.records


@given(WALKS, st.integers(0, 2**20 - 1))
def test_parts_of_many_machines_add_up(tmp_path_factory: pytest.TempPathFactory, walks: list[Any], cut: int) -> None:
    """Parts that share no record are counted apart and added: the whole, to the byte."""
    folder = tmp_path_factory.mktemp("fleet")
    records = list({one["id"]: one for one in drawn(walks)}.values())
    whole = counts_text(learned(folder, records).tally)
    files, lists = [], []
    for side in (0, 1):
        given = learned(folder, [one for at, one in enumerate(records) if cut >> at & 1 == side])
        files.append(folder / f"part-{side}.yml")
        files[-1].write_text(counts_text(given.tally), "utf-8")
        lists.append(folder / f"part-{side}.seen")
        lists[-1].write_bytes(given.seen.packed())
    assert counts_text(learn(LIBRARY, GRAPH, Asked(files), TODAY).tally) == whole
    both = learn(LIBRARY, GRAPH, Asked([*files, *lists]), TODAY)
    assert counts_text(both.tally) == whole
    assert len(both.seen) == both.tally.records


def test_overlap_is_refused(tmp_path: Path) -> None:
    """Lists of counted records tell when a record was counted in two parts; without them nobody can."""
    files, lists = [], []
    for name, numbers in (("a", range(5)), ("b", range(3, 9))):
        given = learned(tmp_path, [made(CRIMPED, number) for number in numbers])
        files.append(tmp_path / f"{name}.yml")
        files[-1].write_text(counts_text(given.tally), "utf-8")
        lists.append(tmp_path / f"{name}.seen")
        lists[-1].write_bytes(given.seen.packed())
    with pytest.raises(LibraryError, match=r"2 records of .*b.seen were counted in another part too"):
        learn(LIBRARY, GRAPH, Asked([*files, *lists]), TODAY)
    unknown = learn(LIBRARY, GRAPH, Asked(files), TODAY)
    assert unknown.tally.records == 11
    assert not unknown.knows_doubles


def test_a_list_of_other_counts_is_refused(tmp_path: Path) -> None:
    """A list of counted records that does not belong to the counts beside it is refused, and so is no list."""
    given = learned(tmp_path, [made(CRIMPED, 1)])
    seen = tmp_path / "seen"
    seen.write_bytes(given.seen.packed())
    with pytest.raises(LibraryError, match="hold 1, the counts beside them 0"):
        learned(tmp_path, [made(CRIMPED, 2)], seen=seen)
    seen.write_bytes(b"something else")
    with pytest.raises(LibraryError, match="no list of counted records"):
        learned(tmp_path, [made(CRIMPED, 2)], seen=seen)


@given(st.lists(st.lists(st.integers(0, 300), max_size=40), max_size=30))
def test_seen_is_a_set(batches: list[list[int]]) -> None:
    """The compact set says of each id what a set of texts says."""
    seen, known = Seen(), set()
    for batch in batches:
        fresh = []
        for one in batch:
            fresh.append(one not in known)
            known.add(one)
        assert seen.add(str(one) for one in batch) == fresh
    assert len(seen) == len(known)


def test_the_file_is_one_of_the_library(tmp_path: Path) -> None:
    """What is written is read back by the library's own reader, without a finding and to the same bytes."""
    given = learned(tmp_path, [made(BUTTONS, 1, searches=["flux: yes"]), made(TO_DESK, 2)])
    root = tmp_path / "library"
    shutil.copytree(SMALL, root)
    file = root / "trees/shared/counts.yml"
    file.write_text(counts_text(given.tally), "utf-8")
    library, graph = loaded(root)
    assert not library.findings
    assert library.counts
    assert library.counts.records == 2
    assert counts_text(learn(library, graph, Asked([file]), TODAY).tally) == file.read_text("utf-8")
    assert counts_of(given.tally).records == 2


def test_counts_of_another_library_are_refused(tmp_path: Path) -> None:
    """Counts of another library are not added, and a file that holds no counts is told with its mistakes."""
    part = tmp_path / "part.yml"
    part.write_text("library: somebody\nrecords: 3\n")
    with pytest.raises(LibraryError, match="--also somebody"):
        learn(LIBRARY, GRAPH, Asked([part]), TODAY)
    part.write_text("records: many\n")
    with pytest.raises(LibraryError, match=r"part.yml:1:10: .*whole number"):
        learn(LIBRARY, GRAPH, Asked([part]), TODAY)


@pytest.mark.parametrize(
    ("seconds", "low", "high"), [([10] * 9, 0, 0.25), ([15] * 9, 0, 0.25), ([16] * 9, 0.25, 0.5), ([300] * 5, 4, 8)]
)
def test_medians(tmp_path: Path, seconds: list[int], low: float, high: float) -> None:
    """The median of times lies in the bin in which they were counted."""
    records = []
    for number, spent in enumerate(seconds):
        one = made(["Silent"], number)
        one["steps"][0]["at"] = stamp(STARTED + timedelta(seconds=spent))
        records.append(one)
    minutes = counts(learned(tmp_path, records))["trees"]["seat-stuck"]["steps"]["listen"]["minutes"]
    assert low < median_minutes(minutes) <= high


def run(kb: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run `kb learn`."""
    return subprocess.run([kb, "learn", *map(str, arguments)], capture_output=True, text=True, check=False)


def test_the_command(kb: str, tmp_path: Path) -> None:
    """The command writes the file, tells what it passed over, and its report is JSON alone on stdout."""
    root = tmp_path / "library"
    shutil.copytree(SMALL, root)
    path = tmp_path / "records.jsonl"
    path.write_text(lines([made(CRIMPED, 1), made(TO_DESK, 2), made(TO_DESK, 2), "{"]), "utf-8")
    out = root / "trees/shared/counts.yml"
    done = run(kb, path, "--library", root, "--out", out)
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    assert "records.jsonl:4:" in done.stderr
    assert "2 records counted" in done.stderr
    assert yaml.safe_load(out.read_text("utf-8"))["doubles"] == 1
    told = json.loads(run(kb, "--report", "--format", "json", "--library", root).stdout)
    assert told["records"] == 2
    assert told["no_cure"] == [{"tree": "seat-stuck", "step": "desk", "number": 1, "of": 2}]
    assert "Where walks end without a cure" in run(kb, "--report", "--library", root).stdout
    assert run(kb, path, "--library", root, "--strict").returncode == 1
    before = out.read_bytes()
    assert run(kb, tmp_path / "nowhere", "--library", root, "--out", out).returncode == 2
    path.write_text("{\n")
    assert run(kb, path, "--library", root, "--out", out).returncode == 1
    assert out.read_bytes() == before


def test_quiet_leaves_out_the_sum_alone(kb: str, tmp_path: Path) -> None:
    """With --quiet nothing is said where all records count; what was passed over is said all the same."""
    path, out = tmp_path / "records.jsonl", tmp_path / "counts.yml"
    path.write_text(lines([made(CRIMPED, 1), made(TO_DESK, 2)]), "utf-8")
    done = run(kb, path, "--library", SMALL, "--out", out, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert yaml.safe_load(out.read_text("utf-8"))["records"] == 2
    path.write_text(lines([made(CRIMPED, 1), "{"]), "utf-8")
    assert "records.jsonl:2:" in run(kb, path, "--library", SMALL, "--out", out, "-q").stderr
