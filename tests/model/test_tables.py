"""Evidence tables: which causes can be told apart, and where they are played to in a tree."""

from __future__ import annotations

import copy
import random
from itertools import combinations, product
from typing import TYPE_CHECKING

import networkx as nx
import pytest

from kb_tools.model.doubts import Doubts
from kb_tools.model.entities import Table, TableCause, TableCheck
from kb_tools.model.graph import build_graph
from kb_tools.model.table_play import checks_asked, own_fixes, play
from kb_tools.model.tables import Shown, shown_by
from making import HERE, answer, library, step, tree, word, words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kb_tools.model.entities import Library


def table(
    checks: Mapping[str, str], shows: Mapping[str, Mapping[str, str]], fixes: Mapping[str, str] | None = None
) -> Table:
    """Return a table; answers are single letters: `checks` has all of each, `shows` the possible ones."""
    return Table(
        HERE,
        word("A table"),
        causes={
            word(cause): TableCause(HERE, fix=word(fixes[cause]) if fixes and cause in fixes else None)
            for cause in shows
        },
        checks={
            word(name): TableCheck(HERE, check=word(f"A {name}"), answers=words(answers))
            for name, answers in checks.items()
        },
        shows={
            word(cause): {word(name): words(answers) for name, answers in row.items()} for cause, row in shows.items()
        },
    )


def shown(made: Table) -> Shown:
    """Return what a table says, nothing of it in doubt."""
    return shown_by(made, Doubts())


def of_letters(rows: Mapping[str, str]) -> Table:
    """Return a table from published rows: a letter a check, U where the answer is unknown."""
    size = len(next(iter(rows.values())))
    names = [f"t{number + 1}" for number in range(size)]
    return table(
        dict.fromkeys(names, "01"),
        {
            cause: {name: letter for name, letter in zip(names, row, strict=True) if letter != "U"}
            for cause, row in rows.items()
        },
    )


def test_unknown_answers_still_tell_apart() -> None:
    """A. Balakrishnan, T. Semmelbauer, Decision Support Systems 25, 1999: both tables separate all five."""
    complete = {"d1": "0000", "d2": "0001", "d3": "0011", "d4": "0111", "d5": "1111"}
    incomplete = {"d1": "UUU0", "d2": "UU01", "d3": "U011", "d4": "0111", "d5": "1111"}
    for rows in (complete, incomplete):
        assert shown(of_letters(rows)).groups() == []


def test_groups_of_a_published_table_with_two_of_its_tests() -> None:
    """K. Pattipati, M. Alexandridis, IEEE Trans. SMC 20(4), 1990, table from memory, tests 1 and 2 only."""
    rows = {"s0": "00", "s1": "01", "s2": "00", "s3": "10", "s4": "11", "s5": "11"}
    assert shown(of_letters(rows)).groups() == [("s0", "s2"), ("s4", "s5")]


def random_table(seed: int) -> Table:
    """Return a random table, some answers left out and some several."""
    chance = random.Random(seed)
    checks = {f"k{number}": "ABC"[: chance.choice((1, 2, 2, 3))] for number in range(chance.randrange(5))}
    shows: dict[str, dict[str, str]] = {}
    for number in range(chance.randrange(1, 8)):
        row = {}
        for name, answers in checks.items():
            size = chance.choice((0, 1, 1, 1, 2))
            if size:
                row[name] = "".join(sorted(chance.sample(answers, min(size, len(answers)))))
        shows[f"c{number}"] = row
    return table(checks, shows)


def apart(made: Table, one: str, other: str) -> bool:
    """Tell whether a check tells two causes apart, straight from the table."""

    def possible(cause: str, name: str) -> set[str]:
        row = {str(key): value for key, value in made.shows[word(cause)].items()}
        return set(row.get(name, made.checks[word(name)].answers))

    return any(not possible(one, name) & possible(other, name) for name in map(str, made.checks))


@pytest.mark.parametrize("block", range(3))
def test_causes_are_told_apart_as_the_table_says(block: int) -> None:
    """Of 1,500 random tables, all pairs are judged as by plain sets, and the groups cover just these."""
    for seed in range(500 * block, 500 * (block + 1)):
        made = random_table(seed)
        said = shown(made)
        groups = said.groups()
        together = {pair for group in groups for pair in combinations(sorted(group), 2)}
        for one, other in combinations(sorted(map(str, made.causes)), 2):
            assert said.can_tell_apart(one, other) == apart(made, one, other)
            assert ((one, other) in together) == (not apart(made, one, other))


def test_what_is_written_and_unknown_is_in_doubt() -> None:
    """A cause that shows an unknown answer, or an unknown check, is judged neither alike nor apart."""
    made = table({"k": "AB"}, {"a": {"k": "A"}, "b": {"k": "X"}, "c": {"l": "A"}})
    said = shown(made)
    assert [said.is_sure(cause) for cause in "abc"] == [True, False, False]
    assert said.groups() == []
    assert said.can_tell_apart("a", "b")


PLAYED = {
    "lamp": step("check", answers=(answer("volts", "A"), answer("other", "B"), answer("other", "?", unsure=True))),
    "volts": step("check", answers=(answer("mend", "A"), answer("swap", "B"))),
    "other": step("check", answers=(answer("swap", "A"), answer("on", "B"))),
    "mend": step("fix", not_cured="swap"),
    "swap": step("fix", not_cured="desk"),
    "on": step("link", link="u"),
    "desk": step("escalate"),
}
FURTHER = {
    "start": step("check", answers=(answer("tighten", "A"), answer("fine", "B"))),
    "tighten": step("fix", not_cured="fine"),
    "fine": step("done"),
}


def played(made: Table, cause: str) -> tuple[bool, set[str], tuple[str, ...]]:
    """Return whether a cause comes home, at which wrong fixes it may be, and where else it ends."""
    one = library([tree("t", "lamp", PLAYED), tree("u", "start", FURTHER)])
    one.fixes[word("tighten-all")] = step("fix")
    one.trees["u"].steps[word("tighten")].use = word("tighten-all")
    graph = build_graph(one)
    own = own_fixes(made, one.trees["t"], graph, one)
    run = play(word(cause), shown(made), own, checks_asked(made, one.trees["t"]), one.trees["t"], graph)
    for wrong in run.wrong:
        assert nx.is_path(graph.digraph, run.path_to(wrong))
    return run.came_home, set(run.wrong), run.elsewhere


def test_a_cause_is_played_to_its_fix() -> None:
    """With its answers, a cause ends at its own fix and passes no other."""
    fixes = {"fuse": "mend", "box": "swap"}
    made = table(
        {"lamp": "AB", "volts": "AB"}, {"fuse": {"lamp": "A", "volts": "A"}, "box": {"lamp": "A", "volts": "B"}}, fixes
    )
    assert played(made, "fuse")[:2] == (True, set())
    assert played(made, "box")[:2] == (True, set())


def test_a_cause_that_comes_to_another_fix_is_found() -> None:
    """A wrong fix on the way counts, even where the tree goes on to the right one."""
    fixes = {"fuse": "mend", "box": "swap"}
    made = table({"lamp": "AB", "volts": "AB"}, {"fuse": {"lamp": "B"}, "box": {"lamp": "A", "volts": "A"}}, fixes)
    assert played(made, "box")[:2] == (True, {"t/mend"})
    came_home, wrong, elsewhere = played(made, "fuse")
    assert (came_home, wrong) == (False, {"t/swap"})
    assert elsewhere[:2] == ("t/lamp", "t/other")


def test_causes_that_nothing_tells_apart_are_tried_in_turn() -> None:
    """The fix of a cause that no check tells apart is passed over `not_cured` without a word."""
    fixes = {"fuse": "mend", "box": "swap"}
    made = table(
        {"lamp": "AB", "volts": "AB"}, {"fuse": {"lamp": "A", "volts": "A"}, "box": {"lamp": "A", "volts": "A"}}, fixes
    )
    assert played(made, "box")[:2] == (True, set())


def test_links_are_followed_and_shared_fixes_count_wherever_used() -> None:
    """A shared fix in a linked tree is the cause's own; steps the table lacks may go any way."""
    fixes = {"bolt": "tighten-all"}
    made = table({"lamp": "AB"}, {"bolt": {"lamp": "B"}, "none": {"lamp": "A"}}, fixes)
    assert played(made, "bolt")[:2] == (True, set())
    away = table({"lamp": "AB"}, {"bolt": {"lamp": "A"}, "none": {"lamp": "B"}}, fixes)
    came_home, wrong, elsewhere = played(away, "bolt")
    assert (came_home, wrong) == (False, set())
    assert elsewhere[0] == "t/lamp"


def test_the_same_shared_fix_elsewhere_is_the_own_one() -> None:
    """Where the table names a step that uses a shared fix, other steps that use it count as well."""
    one = library([tree("t", "lamp", copy.deepcopy(PLAYED)), tree("u", "start", FURTHER)])
    for name in ("mend", "swap"):
        one.trees["t"].steps[word(name)].use = word("press-home")
    made = table({"lamp": "AB"}, {"plug": {"lamp": "B"}, "box": {"lamp": "A"}}, {"plug": "mend"})
    graph = build_graph(one)
    own = own_fixes(made, one.trees["t"], graph, one)
    assert own == {"plug": {"t/mend", "t/swap"}}
    assert play(word("plug"), shown(made), own, checks_asked(made, one.trees["t"]), one.trees["t"], graph).came_home


def test_an_answer_that_the_tree_lacks_leaves_the_play_in_doubt() -> None:
    """The table shows an answer that the step does not have: that is another finding."""
    fixes = {"fuse": "mend", "box": "swap"}
    rows = {"fuse": {"lamp": "C"}, "box": {"lamp": "B"}}
    made = table({"lamp": "ABC"}, rows, fixes)
    one = library([tree("t", "lamp", PLAYED), tree("u", "start", FURTHER)])
    graph = build_graph(one)
    own = own_fixes(made, one.trees["t"], graph, one)
    runs = {
        name: play(word(name), shown(made), own, checks_asked(made, one.trees["t"]), one.trees["t"], graph)
        for name in fixes
    }
    assert (runs["fuse"].came_home, runs["fuse"].in_doubt) == (False, True)
    assert (runs["box"].came_home, runs["box"].in_doubt) == (True, False)


def random_world(seed: int) -> tuple[Library, Table]:
    """Return a random tree without loops, and a table that knows some of its checks and fixes."""
    chance = random.Random(seed)
    size = chance.randrange(3, 9)
    steps = {}
    for number in range(size):
        later = [f"s{other}" for other in range(number + 1, size)]
        kind = chance.choice(("check", "check", "fix", "escalate")) if later else chance.choice(("fix", "escalate"))
        if kind == "check":
            ways = [answer(chance.choice(later), letter) for letter in "AB"]
            if chance.randrange(3) == 0:
                ways.append(answer(chance.choice(later), "?", unsure=True))
            steps[f"s{number}"] = step("check", answers=tuple(ways))
        elif kind == "fix" and later:
            steps[f"s{number}"] = step("fix", not_cured=chance.choice(later))
        else:
            steps[f"s{number}"] = step(kind)
    checks = {name: "AB" for name, made in steps.items() if made.kind == "check" and chance.randrange(3)}
    fixes = [name for name, made in steps.items() if made.kind == "fix"]
    chance.shuffle(fixes)
    causes = {f"c{number}": fix for number, fix in enumerate(fixes[:4])}
    shows = {
        cause: {name: chance.choice(("A", "B", "AB")) for name in checks if chance.randrange(4)} for cause in causes
    }
    return library([tree("t", "s0", steps)]), table(checks, shows, causes)


def all_plays(one: Library, made: Table, cause: str) -> list[list[str]]:
    """List every play of a cause by walking, each up to its own fix or an end."""
    steps = {str(name): entry for name, entry in one.trees["t"].steps.items()}
    own = str(made.causes[word(cause)].fix)
    row = {str(name): set(answers) for name, answers in made.shows[word(cause)].items()}
    known = set(map(str, made.checks))
    plays: list[list[str]] = []
    stack = [["s0"]]
    while stack:
        path = stack.pop()
        here = steps[path[-1]]
        targets = [str(here.not_cured)] if here.not_cured else []
        for way in here.answers or ():
            allowed = not way.unsure and way.answer in row.get(path[-1], {"A", "B"})
            if allowed or path[-1] not in known:
                targets.append(str(way.to))
        if path[-1] == own or not targets:
            plays.append(path)
        else:
            stack += [[*path, target] for target in targets]
    return plays


@pytest.mark.parametrize("block", range(2))
def test_plays_are_those_of_every_path(block: int) -> None:
    """On 1,000 random trees, coming home and wrong fixes are as in the list of all plays."""
    for seed, _ in product(range(500 * block, 500 * (block + 1)), "x"):
        one, made = random_world(seed)
        graph, said = build_graph(one), shown(made)
        own = own_fixes(made, one.trees["t"], graph, one)
        for cause in own:
            run = play(cause, said, own, checks_asked(made, one.trees["t"]), one.trees["t"], graph)
            plays = all_plays(one, made, cause)
            fixes = {str(entry.fix): str(name) for name, entry in made.causes.items()}
            home = str(made.causes[cause].fix)
            passed = {name for path in plays for name in path if name in fixes and name != home}
            assert run.came_home == any(path[-1] == home for path in plays)
            assert set(run.wrong) == {f"t/{name}" for name in passed if apart(made, cause, fixes[name])}
