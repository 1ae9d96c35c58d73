"""`kb branch`: a tree grows where it is told to, everything else stays, and nothing gets less sound."""

from __future__ import annotations

import difflib
import shlex
import shutil
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from author.kb_run import DAY, Ran, files, kb
from conftest import DEMO_TREES, ROOT
from kb_tools.author.branch import Branch, add_branch, slug
from kb_tools.author.change import Change
from kb_tools.model.build import load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SMALL = ROOT / "tests" / "data" / "small"
TREE = "trees/seat/seat-stuck.yml"
BENT = "seat-stuck prop --answer 'No, the bar is bent'"
FIX = "--fix 'Exchange the bent bar' --id new-bar --share 2"
PROVEN = "--proof tilt-and-stop --not-cured desk"
CASE = "--case 'Bent bar'"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return a copy of the small library, which uses the whole format."""
    return shutil.copytree(SMALL, tmp_path / "small")


def lines(raw: bytes) -> list[str]:
    """Return the lines of a file with their ends."""
    return raw.decode().splitlines(keepends=True)


def grown(root: Path, command: str, typed: str = "") -> tuple[Ran, list[str], list[str]]:
    """Run `kb branch` and return how it went, and the lines that are gone and new in all files."""
    before = files(root)
    ran = kb(root, "branch", *shlex.split(command), *DAY, typed=typed)
    after = files(root)
    assert before.keys() == after.keys()
    told = [line for name in before if before[name] != after[name] for line in _compared(before[name], after[name])]
    return ran, [line[2:] for line in told if line[0] == "-"], [line[2:] for line in told if line[0] == "+"]


def _compared(old: bytes, new: bytes) -> Iterator[str]:
    return difflib.ndiff(lines(old), lines(new))


def test_an_answer_to_a_new_fix_with_its_case(root: Path) -> None:
    """One answer between braces, one step, one case; not another byte; the library is as sound as before."""
    ran, gone, new = grown(root, f"{BENT} {FIX} {PROVEN} {CASE}")
    assert (ran.code, gone) == (0, []), ran.out
    assert new == [
        "      - {answer: 'No, the bar is bent', to: new-bar}\n",
        "  new-bar:\n",
        "    fix: Exchange the bent bar\n",
        "    share: 2\n",
        "    proof: tilt-and-stop\n",
        "    not_cured: desk\n",
        "  - case: Bent bar\n",
        "    given:\n",
        "      listen: Heard\n",
        "      prop: No, the bar is bent\n",
        "    ends_at: new-bar\n",
    ]
    assert kb(root, "check", "--strict", *DAY).code == 0


def test_an_unsound_branch_is_refused_and_nothing_changes(root: Path) -> None:
    """Without a proof, and where the hazard was not isolated before: the findings are printed, the files stay."""
    ran, gone, new = grown(root, f"{BENT} {FIX} --not-cured desk")
    assert (ran.code, gone, new) == (1, [], [])
    assert "fix-proven" in ran.out
    assert "fix: Exchange the bent bar" in ran.out, "the line of the change is shown"
    ran, gone, new = grown(root, f"{BENT} {FIX} {PROVEN} --exposes live-loom")
    assert (ran.code, gone, new) == (1, [], [])
    assert "isolate-before-expose" in ran.out


def test_a_dry_run_shows_the_difference_only(root: Path) -> None:
    """The unified diff names the file and the new lines; the file stays."""
    ran, gone, new = grown(root, "seat-stuck prop --answer 'Cannot tell' --unsure --to set-bar --dry-run")
    assert (ran.code, gone, new) == (0, [], [])
    assert f"--- a/{TREE}\n+++ b/{TREE}\n" in ran.out
    assert "+      - {answer: Cannot tell, to: set-bar, unsure: true}\n" in ran.out


def test_a_shared_check_gets_the_answer_too(root: Path) -> None:
    """A step gives only the answers of its shared check: the new one stands there as well, and that is said."""
    ran, gone, new = grown(root, "seat-stuck listen --answer 'It hums' --to desk")
    assert (ran.code, gone) == (0, ["    answers: [Heard, Silent]\n"]), ran.out
    assert "      - {answer: It hums, to: desk}\n" in new
    assert "    - {answer: It hums}\n" in new
    assert "trees/shared/checks.yml: the shared check motor-heard has the answer too\n" in ran.out
    check = (root / "trees/shared/checks.yml").read_text("utf-8")
    assert "    - {answer: It hums}\n    - {answer: Cannot tell, unsure: true}\n" in check, "before the unsure one"


def test_an_answer_of_a_check_that_others_use_is_refused(root: Path) -> None:
    """Every step that uses the check would have to lead the answer on; that is said, and what to do instead."""
    other = root / "trees/seat/buttons-dead.yml"
    step = "  hear:\n    check: {use: motor-heard}\n    answers:\n"
    step += "".join(f"      - {{answer: {answer}, to: desk}}\n" for answer in ("Heard", "Silent", "Cannot tell"))
    other.write_text(other.read_text("utf-8").replace("to: desk}", "to: hear}").replace("  desk:", f"{step}  desk:"))
    ran, gone, new = grown(root, "seat-stuck listen --answer 'It hums' --to desk")
    assert (ran.code, gone, new) == (2, [], [])
    assert "buttons-dead/hear would have to lead the new one on too" in ran.out


def test_the_table_that_judges_a_tree_gets_the_answer_too(root: Path) -> None:
    """A check of an evidence table must have the step's answers; that no cause shows the new one is said."""
    ran, gone, new = grown(root, "seat-stuck splice --answer 'Wet' --to desk")
    assert ran.code == 0, ran.out
    assert "      - {answer: Wet, to: desk}\n" in new
    assert gone == ["    answers: ['Yes', 'No']\n"]
    assert "    answers: ['Yes', 'No', Wet]\n" in new
    assert "say which cause shows it" in ran.out


BETWEEN = "seat-stuck rail --before clear-rail --check 'Does it sit fast?' --id fast --exposes falling-seat"


def test_a_step_between_a_step_and_the_next(root: Path) -> None:
    """The way leads to the new check, which leads on; known cases go on by the one answer that leads there."""
    ran, gone, new = grown(root, f"{BETWEEN} --way Loose clear-rail --way Stiff clear-rail")
    assert (ran.code, gone, new) == (1, [], []), "two answers lead on: nobody but the author knows which"
    assert "gives no answer" in ran.out
    ran, gone, new = grown(root, f"{BETWEEN} --way Loose clear-rail --way Fast desk")
    assert ran.code == 0, ran.out
    assert "a coin in the rail" in ran.out
    assert gone[0] == "      - {below: 4, answer: Jammed, to: clear-rail}\n"
    assert new[0] == "      - {below: 4, answer: Jammed, to: fast}\n"
    assert len(gone) == 2
    assert gone[1].replace("rail: 2.5 mm}", "rail: 2.5 mm, fast: Loose}") == new[-1]
    assert kb(root, "check", *DAY).code == 0


def test_a_known_case_takes_the_answer_that_is_given_for_it(root: Path) -> None:
    """A case that is named is led over the branch by the answer that is stated."""
    ways = "--way Loose clear-rail --way Stiff clear-rail --way Fast desk"
    ran, gone, new = grown(root, f"{BETWEEN} {ways} --case 'a coin in the rail' --given fast Stiff")
    assert ran.code == 0, ran.out
    assert gone[1].replace("rail: 2.5 mm}", "rail: 2.5 mm, fast: Stiff}") == new[-1]


def test_what_the_new_step_does_not_stand_before_is_told(root: Path) -> None:
    """The rail is reached with the bar set already too: that way does not pass a check before it."""
    between = "--before rail --check 'Is it straight?' --id straight --way Yes rail --way No desk"
    ran, _, _ = grown(root, f"seat-stuck set-bar {between}")
    assert ran.code == 0, ran.out
    assert "rail is also reached from prop, which the new step straight does not stand before\n" in ran.out
    ran, _, _ = grown(root, f"{BETWEEN} --way Loose clear-rail --way Fast desk")
    assert "is also reached" not in ran.out


def test_findings_at_a_new_step_name_the_options(root: Path) -> None:
    """Whoever writes options is told which one is missing, not only which key."""
    ran, _, _ = grown(root, f"{BENT} {FIX} --not-cured desk")
    assert "Add `proof`: the check that returns the chair to service; here with --proof TEXT\n" in ran.out
    ran, _, _ = grown(root, "seat-stuck prop --before set-bar --check 'Is it?'")
    assert "; here with --way ANSWER STEP\n" in ran.out
    assert "is-it" in ran.out
    ran, _, _ = grown(root, f"seat-stuck splice --answer Torn {FIX} {PROVEN}")
    assert "; here with --restores ID\n" in ran.out


def waiting(root: Path) -> None:
    """Let a case wait for a fix that is not written."""
    file = root / TREE
    case = (
        "  - case: Bar bent by a fall\n    given: {listen: Heard, prop: 'No', set-bar: cannot}\n    ends_at: new-bar\n"
    )
    file.write_text(file.read_text("utf-8") + case, "utf-8")


def test_a_case_that_waits_is_not_passed_by_for_a_misspelt_one(root: Path) -> None:
    """A name that is nearly its name, or another case with its end, is refused; what the case is, is told."""
    waiting(root)
    for name in ("Bar bent by fall", "fall bent bar", "bar bendt by a fall", "Quite another name"):
        ran, gone, new = grown(root, f"{BENT} {FIX} {PROVEN} --case '{name}'")
        assert (ran.code, gone, new) == (2, [], []), ran.out
        assert "--case 'Bar bent by a fall'" in ran.out
        assert "--new-case" in ran.out
    ran, _, _ = grown(root, f"{BENT} {FIX} {PROVEN} --case 'bar bent by a fall'")
    assert ran.code == 0, ran.out
    assert "the case that waited, `Bar bent by a fall`, ends at new-bar\n" in ran.out


def test_a_new_case_beside_one_that_waits(root: Path) -> None:
    """Where it is said, and where nothing waits that looks alike."""
    waiting(root)
    ran, _, new = grown(root, f"{BENT} {FIX} {PROVEN} --case 'Bar bent by fall' --new-case")
    assert ran.code == 0, ran.out
    assert "a new case, `Bar bent by fall`, ends at new-bar\n" in ran.out
    assert "  - case: Bar bent by fall\n" in new
    ran, _, _ = grown(root, "seat-stuck prop --answer Gone --to desk --case 'No bar in the chair'")
    assert "a new case, `No bar in the chair`, ends at desk\n" in ran.out


def test_a_case_that_waits_on_is_told(root: Path) -> None:
    """Led over a branch that does not bring its end, it goes on waiting."""
    waiting(root)
    ran, _, _ = grown(root, "seat-stuck prop --answer Gone --to desk --case 'Bar bent by a fall'")
    assert ran.code == 0, ran.out
    assert "goes over the branch and ends at desk, not yet at new-bar\n" in ran.out


def test_a_do_and_a_fix_take_a_step_before_the_next(root: Path) -> None:
    """`then` and `not_cured` lead to the new step, whose own way on is the old target."""
    before = (root / TREE).read_text("utf-8")
    ran, _, _ = grown(root, "seat-stuck unplug --before splice --do 'Touch the frame' --id touch")
    assert ran.code == 0, ran.out
    old = "    then: splice\n    cannot: desk\n"
    new = "    then: touch\n    cannot: desk\n  touch:\n    do: Touch the frame\n    then: splice\n"
    assert (root / TREE).read_text("utf-8") == before.replace(old, new)
    other = root / "trees/seat/buttons-dead.yml"
    before = other.read_text("utf-8")
    ran, _, _ = grown(root, f"buttons-dead new-pad --before desk {FIX} --proof tilt-and-stop")
    assert ran.code == 0, ran.out
    new = "  new-bar:\n    fix: Exchange the bent bar\n    share: 2\n    proof: tilt-and-stop\n    not_cured: desk\n"
    assert other.read_text("utf-8") == before.replace("not_cured: desk\n", f"not_cured: new-bar\n{new}")
    more = "--fix 'Exchange the loom' --id new-loom --proof tilt-and-stop --exposes live-loom"
    ran, _, _ = grown(root, f"seat-stuck crimp --before desk {more}")
    assert ran.code == 1, "the crimped splice puts the power back, and the next fix would lay it open"
    assert "isolate-before-expose" in ran.out


def test_a_new_band_takes_its_readings_from_its_neighbours(root: Path) -> None:
    """Edges move so that no reading falls into two bands, and none into nothing; in either style."""
    (root / "trees/tables/seat-stuck-causes.yml").unlink()
    ran, gone, new = grown(root, "seat-stuck rail --answer Narrow --from 4 --below 5 --to desk")
    assert ran.code == 0, ran.out
    assert gone == ["      - {from: 4, answer: Free, to: lower}\n"]
    narrow = "      - {from: 4, below: 5, answer: Narrow, to: desk}\n"
    assert new == [narrow, "      - {from: 5, answer: Free, to: lower}\n"]
    ran, gone, new = grown(root, "seat-stuck volts --answer Weak --from 10 --below 18 --to desk")
    assert ran.code == 0, ran.out
    assert gone == ["      - below: 18\n"]
    assert new[0] == "      - below: 10\n"
    assert "".join(new[1:]) == "      - from: 10\n        below: 18\n        answer: Weak\n        to: desk\n"
    ran, gone, new = grown(root, "seat-stuck rail --answer Middle --from 1 --below 2 --to desk")
    assert (ran.code, gone, new) == (2, [], [])
    assert "in two" in ran.out


BEFORE = "seat-stuck prop --before set-bar --check 'Is it wet?' --id wet"


@pytest.mark.parametrize(
    ("command", "told"),
    [
        ("seat-stick prop", "Did you mean seat-stuck?"),
        ("seat-stuck porp", "Did you mean prop?"),
        ("seat-stuck prop --answer yes --to desk", "has the answer 'yes' already"),
        ("seat-stuck prop --answer Maybe", "Say where the answer leads"),
        ("seat-stuck prop --to desk", "Give the new answer"),
        ("seat-stuck desk --answer x --to prop", "Nothing follows the `escalate` desk"),
        ("seat-stuck plug-in --answer x --to desk", "with --before other-tree"),
        ("seat-stuck prop --answer x --do Wait --fix Mend", "one kind"),
        ("seat-stuck prop --answer x --do Wait --id desk", "has a step desk already"),
        ("seat-stuck prop --answer x --do Wait --id Desk", "is no id"),
        ("seat-stuck prop --before listen --do Wait", "No way leads from prop to listen"),
        ("seat-stuck prop --before set-bar", "give one with --check"),
        ("seat-stuck prop --answer x --check '???' --way a desk", "give it one with --id"),
        ("seat-stuck prop --answer x --to dekk", "Did you mean desk?"),
        ("seat-stuck prop --answer x --fix Mend --not-cured dekk", "(--not-cured dekk). Did you mean desk?"),
        (
            f"{BEFORE} --way Yes set-bar --way No dry-it",
            "leave this --way No out, and then kb branch seat-stuck wet --answer No --fix TEXT --id dry-it",
        ),
        (f"{BEFORE} --way Yes set-bar --way No desk --case Rain", "add --given wet ANSWER, with Yes or No"),
        (f"{BEFORE} --way Yes set-bar --case Rain --given wett Yes", "Did you mean wet?"),
        (
            f"{BEFORE} --way Yes set-bar --case Rain --given wet Yes --given rail 3 --given volts 3",
            "does not pass that step",
        ),
        ("seat-stuck rail --answer x --to desk", "needs --from or --below"),
        ("seat-stuck prop --answer x --below 4 --to desk", "belong to a measurement"),
        ("seat-stuck prop --answer x --use no-such-check", "no shared check or fix"),
        ("seat-stuck prop --answer x --measure y --band a b c d", "numbers"),
        ("seat-stuck lower --answer x --to desk --case y", "Nothing follows the `done` lower"),
        ("seat-stuck splice --answer x --to desk --case y --given volts '?'", "At `volts`"),
        ("seat-stuck prop --answer x --to desk --case 'green splice'", "does not pass prop"),
    ],
)
def test_what_does_not_fit_is_told_and_nothing_changes(root: Path, command: str, told: str) -> None:
    """Wrong use ends with code 2, one line that says what to do, and the files as they were."""
    ran, gone, new = grown(root, command)
    assert (ran.code, gone, new) == (2, [], []), ran.out
    assert told in ran.out


@pytest.mark.parametrize("tree", sorted(DEMO_TREES))
def test_every_tree_of_the_demo_library_can_grow(tree: str) -> None:
    """At each check of its own words a new answer to a new end: lines are put in, and none is touched."""
    others: dict[str, str | None] = {file: None for name, file in DEMO_TREES.items() if name != tree}
    library, change = load(ROOT, texts=others), Change(ROOT)
    assert list(library.trees) == [tree]
    judged = {(str(table.tree), str(name)) for table in library.tables.values() for name in table.checks}
    checks = [name for name, step in library.trees[tree].steps.items() if step.kind == "check" and not step.use]
    checks = [name for name in checks if (tree, name) not in judged]
    for number, step in enumerate(checks):
        keys = {"escalate": "Ask, and wait", "leave": "As it is: tagged"}
        add_branch(change, library, Branch(tree, step, "Something else?", new=f"new-{number}", keys=keys))
        library = load(ROOT, texts=others | change.texts)
        assert library.trees[tree].steps[f"new-{number}"].leave == keys["leave"]  # type: ignore[index]
    for name, new in change.texts.items():
        assert new is not None
        old = (ROOT / name).read_bytes()
        matcher = difflib.SequenceMatcher(None, lines(old), lines(new.encode()), autojunk=False)
        assert {tag for tag, *_ in matcher.get_opcodes()} <= {"equal", "insert"}
        assert len(lines(new.encode())) == len(lines(old)) + 4 * len(checks)


STEPS = [("seat-stuck", "listen"), ("seat-stuck", "splice"), ("seat-stuck", "prop"), ("buttons-dead", "press")]
KINDS = st.sampled_from(["do", "escalate", "done"])
CHARACTERS = st.characters(
    codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp"), exclude_characters="\ufeff\uffff"
)
WORDS = st.text(CHARACTERS, min_size=1, max_size=30).filter(lambda text: bool(text.strip()))


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.sampled_from(STEPS), WORDS, WORDS, KINDS), min_size=1, max_size=4),
    st.sampled_from(["\n", "\r\n"]),
)
def test_random_branches_leave_every_other_line(
    tmp_path_factory: pytest.TempPathFactory, wanted: list[tuple[tuple[str, str], str, str, str]], newline: str
) -> None:
    """Any words, any number of branches, either end of lines: no line is lost or altered, all new ones are read."""
    root = tmp_path_factory.mktemp("random")
    for name, raw in files(SMALL).items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(raw.replace(b"\n", newline.encode()))
    before, change, library = files(root), Change(root), load(root)
    for number, ((tree, step), answer, text, kind) in enumerate(wanted):
        keys = {kind: text} | ({"then": "desk"} if kind == "do" else {})
        branch = Branch(tree, step, f"{answer} {number}", new=f"new-{number}", keys=keys)
        add_branch(change, library, branch)
        library = load(root, texts=change.texts)
        grown_step = library.trees[tree].steps[branch.new]  # type: ignore[index]
        assert (grown_step.kind, grown_step.text) == (kind, text)
        answers = {str(way.answer): way.to for way in library.trees[tree].steps[step].answers or ()}  # type: ignore[index]
        assert answers[" ".join(branch.answer.split())] == branch.new
    for name, new in change.texts.items():
        assert new is not None
        matcher = difflib.SequenceMatcher(None, lines(before[name]), lines(new.encode()), autojunk=False)
        changed = {"replace"} if name.startswith("trees/tables/") else set()
        assert {tag for tag, *_ in matcher.get_opcodes()} <= {"equal", "insert"} | changed
        assert new.count("\n") == new.count(newline)


def test_ids_are_made_from_words() -> None:
    """The first words that say something, ASCII only, never one that is taken."""
    assert slug("Replace the cracked latch of the pod!", ()) == "replace-cracked-latch-pod"
    assert slug("Is it 5 V?", ()) == "step-5-v"
    assert slug("Prüfen", {"prufen"}) == "prufen-2"
    assert slug("Is it?", ()) == "is-it", "where nothing else is left, the small words are better than none"
    assert slug("???", ()) == ""


def test_quiet_grows_without_a_word(root: Path) -> None:
    """With --quiet the branch is written and not told of; what is refused is told as ever."""
    ran, gone, new = grown(root, f"{BENT} {FIX} {PROVEN} {CASE} --quiet")
    assert (ran.code, ran.out, gone) == (0, "", [])
    assert new
    refused, *_ = grown(root, f"{BENT} --to nowhere -q")
    assert refused.code != 0
    assert refused.out
