"""`kb branch` asks: each answer is judged at once, nothing typed is lost, and what was answered is a command too."""

from __future__ import annotations

import os
import re
import select
import shlex
import shutil
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from author.kb_run import DAY, Ran, files, kb
from conftest import ROOT
from kb_tools.model.build import load

if TYPE_CHECKING:
    from pathlib import Path

SMALL = ROOT / "tests" / "data" / "small"
TREE = "trees/seat/seat-stuck.yml"
TORN = ("Torn", "", "fix", "Exchange the loom", "new-loom", "live-loom", "tilt-and-stop")
"""A fix behind the splice, where the loom is isolated; up to its proof."""
REST = ("2", "desk", "20", "crimper", "")
"""Share, where to go on, minutes, tools and spares of a fix."""
COMMAND = re.compile(r"^  kb (branch .*)$", re.MULTILINE)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Return a copy of the small library."""
    return shutil.copytree(SMALL, tmp_path / "small")


@pytest.fixture
def other(tmp_path: Path) -> Path:
    """Return another copy of it."""
    return shutil.copytree(SMALL, tmp_path / "other")


def asked(root: Path, command: str, *typed: str) -> Ran:
    """Run `kb branch` with what is typed, a line each; after the last line the person is gone."""
    return kb(root, "branch", *shlex.split(command), "--ask", *DAY, typed="".join(f"{line}\n" for line in typed))


def repeated(other: Path, ran: Ran) -> list[Ran]:
    """Run the commands that a dialogue printed, in another copy of the library."""
    found = []
    for line in COMMAND.findall(ran.out):
        words = shlex.split(line)
        at = words.index("--library")
        found.append(kb(other, *words[:at], *words[at + 2 :]))
    return found


def test_a_new_fix_and_its_case(root: Path, other: Path) -> None:
    """Every question in turn makes the same change as the options do, and as the command that is printed."""
    what = ("No, the bar is bent", "", "nowhere", "fix", "Exchange the bent bar", "new-bar", "")
    ran = asked(root, "seat-stuck prop", *what, "tilt-and-stop", "2", "desk", "", "", "", "Bent bar")
    assert ran.code == 0, ran.out
    assert "There is no step in seat-stuck 'nowhere'" in ran.out
    options = "--answer 'No, the bar is bent' --fix 'Exchange the bent bar' --id new-bar --share 2"
    proven = "--proof tilt-and-stop --not-cured desk --case 'Bent bar'"
    assert kb(other, "branch", *shlex.split(f"seat-stuck prop {options} {proven}"), *DAY).code == 0
    assert files(root) == files(other)


def test_a_fix_behind_an_isolation(root: Path, other: Path) -> None:
    """What the proof needs back is offered, with the hazard's own words for it: Enter takes both."""
    ran = asked(root, "seat-stuck splice", *TORN, "", "", *REST, "Loom torn at the hinge")
    assert ran.code == 0, ran.out
    assert "Isolated here, or it may be: live-loom. The proof needs live-loom." in ran.out
    assert "Hazards that are back before its proof (live-loom) (- for none) [live-loom]: " in ran.out
    step = load(root).trees["seat-stuck"].steps["new-loom"]  # type: ignore[index]
    assert (list(step.restores), str(step.put_back)) == (["live-loom"], "Plug the battery connector in until it clicks")
    assert (str(step.takes.word) if step.takes else "", list(step.tools), list(step.spares)) == (
        "20 min",
        ["crimper"],
        [],
    )
    assert kb(root, "check", "--strict", *DAY).code == 0
    assert [one.code for one in repeated(other, ran)] == [0]
    assert files(root) == files(other)


def test_where_nothing_is_isolated_nothing_is_to_be_put_back(root: Path) -> None:
    """The questions come only where they are due."""
    ran = asked(root, "seat-stuck listen", "Grinds", "", "fix", "Oil it", "oil", "", "tilt-and-stop", *REST, "")
    assert ran.code == 0, ran.out
    assert "put back" not in ran.out


def test_what_stays_isolated_is_told_how_to_leave(root: Path) -> None:
    """An end that puts nothing back cannot do without words for it."""
    end = ("Torn", "", "escalate", "Have the loom made", "loom-maker")
    ran = asked(root, "seat-stuck splice", *end, "", "Unplugged, tagged", "", "", "")
    assert ran.code == 0, ran.out
    assert "How to leave the chair, with live-loom isolated, and what is tagged: \n  This cannot be left out" in ran.out
    assert "    leave: Unplugged, tagged\n" in (root / TREE).read_text("utf-8")


def test_answers_are_judged_at_the_prompt(root: Path) -> None:
    """What does not fit is told in a line, with the nearest that does, and asked again."""
    typed = [
        *("", "yes", "n", "Torn", "", "", "dek", "fix", "", "Exchange the loom", "New Loom", "crimp", "new-loom"),
        *("live-lom", "live-loom", "", "tilt-and-stopp", "tilt-and-stop", "live-lom", "live-loom", "", "abc", "2"),
        *("", "20 minutes", "20", "crimpers", "crimper", "slidr", "slider", ""),
    ]
    ran = asked(root, "seat-stuck splice", *typed)
    assert ran.code == 0, ran.out
    for told in (
        "This cannot be left out",
        "splice has the answer 'Yes' already, to crimp",
        "Name a step, or the kind of a new one",
        "There is no step in seat-stuck 'dek'; did you mean desk?",
        "An id is made of small letters",
        "There is a step crimp already",
        "There is no hazard 'live-lom'; did you mean live-loom?",
        "Name one: tilt-and-stop",
        "There is no proof 'tilt-and-stopp'; did you mean tilt-and-stop?",
        "There is no isolated hazard 'live-lom'; did you mean live-loom?",
        "Shares of this tree's causes: crimp 50, other-tree 5, clear-rail 30, lower 10, desk 5; 100 together",
        "'abc' is no number",
        "Write minutes",
        "There is no tool 'crimpers'; did you mean crimper?",
        "There is no spare 'slidr'; did you mean slider?",
    ):
        assert f"  {told}" in ran.out


def test_a_check_and_a_measurement(root: Path) -> None:
    """Answers until an empty one, two at least; bands until an edge is left out."""
    check = ("Wet", "", "check", "Is it salt water?", "salt", "", "Yes", "desk", "", "yes", "No", "set-ba", "set-bar")
    ran = asked(root, "seat-stuck prop", *check, "", "", "", "", "")
    assert ran.code == 0, ran.out
    assert ran.out.count("A check needs two answers at least") == 2
    assert "This answer is there already" in ran.out
    assert "There is no step in seat-stuck 'set-ba'; did you mean set-bar?" in ran.out
    told = "    answers:\n      - {answer: 'Yes', to: desk}\n      - {answer: 'No', to: set-bar}\n"
    assert f"  salt:\n    check: Is it salt water?\n{told}" in (root / TREE).read_text("utf-8")
    heat = ("Warm", "", "measure", "Heat of the motor", "heat", "furlongs per", "degC", "")
    bands = ("x", "40", "Warm", "set-bar", "30", "", "Hot", "desk")
    ran = asked(root, "seat-stuck prop", *heat, *bands, "", "", "", "")
    assert ran.code == 0, ran.out
    assert "'x' is no number" in ran.out
    assert "A band that begins at 40 ends above it" in ran.out
    told = "      - {below: 40, answer: Warm, to: set-bar}\n      - {from: 40, answer: Hot, to: desk}\n"
    assert told in (root / TREE).read_text("utf-8")


def test_an_answer_that_is_there_already_takes_a_step_behind_it(root: Path) -> None:
    """The person is asked whether that is meant; then only steps that lead on are offered."""
    typed = (
        "Yes",
        "",
        "fix it",
        "check",
        "Is it green?",
        "green",
        "It is",
        "",
        "It is not",
        "desk",
        "",
        "",
        "",
        "",
        "",
    )
    ran = asked(root, "seat-stuck splice", *typed)
    assert ran.code == 0, ran.out
    assert "The new step is a (check, measure, do, fix): " in ran.out
    assert "There is no kind of step that leads on: 'fix it'" in ran.out
    text = (root / TREE).read_text("utf-8")
    assert "to: green, stop_use: Out of use until the splice is made anew}" in text
    assert "      - {answer: It is, to: crimp}\n      - {answer: It is not, to: desk}\n" in text
    assert "splice: 'Yes', green: It is}" in text


CHECK = ("check", "Is it the loom?", "loom", "No", "", "Torn", "fix", "Burnt", "fix", "", "live-loom", "", "")
"""A check before the fix of the splice: `No` leads on to it, two answers to what is still to be written."""
TWO = (
    *("Exchange the loom", "new-loom", "live-loom", "tilt-and-stop", "", "", *REST),
    *("Find the short", "find-short", "", "tilt-and-stop", "", "", *REST),
)


def test_a_check_and_the_fixes_behind_its_answers_in_one_dialogue(root: Path, other: Path) -> None:
    """The case is led over the fix that it needs; the printed commands, run in order, do the same."""
    ran = asked(root, "seat-stuck splice --before crimp", *CHECK, *TWO, "Loom burnt", "burnd", "Burnt")
    assert ran.code == 0, ran.out
    assert "What does the case 'Loom burnt' answer at loom (No, Torn, Burnt): burnd\n" in ran.out
    assert "There is no answer 'burnd'; did you mean Burnt?" in ran.out
    assert "a new case, `Loom burnt`, ends at find-short" in ran.out
    assert kb(root, "check", *DAY).code == 0
    assert "What was answered, as commands, in this order:" in ran.out
    assert [one.code for one in repeated(other, ran)] == [0, 0, 0]
    assert files(root) == files(other)


def test_a_case_that_waits_is_led_where_it_belongs(root: Path, other: Path) -> None:
    """Its end is offered as the new id, and the answer that it gives is the one before that: nobody is asked."""
    case = "  - case: Loom torn by a fall\n    given: {listen: Silent, volts: 0 V, splice: 'Yes', crimp: not cured}\n"
    for library in (root, other):
        file = library / TREE
        file.write_text(f"{file.read_text('utf-8')}{case}    ends_at: new-loom\n", "utf-8")
    check = ("", *CHECK[:7], "", "", "", "")
    fix = ("Exchange the loom", "", "live-loom", "tilt-and-stop", "", "", *REST)
    ran = asked(root, "seat-stuck splice --before crimp --case 'Loom torn by fall'", *check, *fix)
    assert ran.code == 0, ran.out
    assert "There is no case 'Loom torn by fall'; 'Loom torn by a fall' waits" in ran.out
    assert "Its id [new-loom]: \n" in ran.out
    assert "answer at loom" not in ran.out
    assert "the case that waited, `Loom torn by a fall`, ends at new-loom" in ran.out
    assert kb(root, "check", *DAY).code == 0
    assert [one.code for one in repeated(other, ran)] == [0, 0]
    assert files(root) == files(other)


def test_what_a_case_answers_further_on_is_asked(root: Path, other: Path) -> None:
    """The new check leads on to steps that the case says nothing of: each is asked for, and is in the command."""
    check = ("Wet", "", "check", "Is it salt water?", "salt", "Yes", "desk", "No", "set-bar", "", "", "", "")
    ran = asked(root, "seat-stuck prop", *check, "Rain on the seat", "No", "3 mm")
    assert ran.code == 0, ran.out
    assert "What does the case 'Rain on the seat' answer at rail (a reading in mm): 3 mm\n" in ran.out
    assert [one.code for one in repeated(other, ran)] == [0]
    assert files(root) == files(other)


REFUSED = (*TORN, "-", "Unplugged and tagged", *REST, "Loom torn at the hinge")
"""Nothing is put back, although the proof needs it."""


def test_after_a_refusal_one_goes_back(root: Path, other: Path) -> None:
    """Findings and what was answered are shown, nothing is changed; then options are mended one by one."""
    before = files(root)
    ran = asked(root, "seat-stuck splice", *REFUSED)
    assert (ran.code, files(root)) == (1, before)
    assert "restore-before-need" in ran.out
    assert "here with --restores ID" in ran.out
    assert "--leave 'Unplugged and tagged'" in ran.out
    assert [one.code for one in repeated(other, ran)] == [1]
    ran = asked(root, "seat-stuck splice", *REFUSED, "")
    assert (ran.code, files(root)) == (1, before)
    mended = (
        "restore live-loom",
        "id Loom",
        "share much",
        "share 3",
        "--restores live-loom",
        "leave",
        "-",
        "put-back",
        "Plug it in",
    )
    ran = asked(root, "seat-stuck splice", *REFUSED, *mended)
    assert "There is no option 'restore'; did you mean restores?" in ran.out
    assert "'much' is not a valid float" in ran.out
    assert "'Loom' is no id" in ran.out
    assert ran.code == 2, "the id is still wrong"
    assert files(root) == before
    right = ("id loom-anew", "leave -", "put-back Plug it in", "restores live-loom")
    ran = asked(root, "seat-stuck splice", *REFUSED, *right)
    assert ran.code == 0, ran.out
    step = load(root).trees["seat-stuck"].steps["loom-anew"]  # type: ignore[index]
    assert (step.leave, str(step.put_back)) == (None, "Plug it in")


def test_one_of_several_branches_is_changed(root: Path) -> None:
    """The number of the command comes first; an id that is changed is changed wherever it is named."""
    typed = (*CHECK[:10], *CHECK[11:], *TWO, "Loom burnt", "Burnt")
    mended = ("1 id burnt-loom", "3 id find-short-anew", "1 exposes -")
    ran = asked(root, "seat-stuck splice --before crimp --exposes falling-seat", *typed, *mended)
    assert ran.code == 0, ran.out
    assert ran.out.count("isolate-before-expose") == 3, "after each change but the last it is still refused"
    steps = load(root).trees["seat-stuck"].steps
    check = steps["burnt-loom"]  # type: ignore[index]
    ways = {str(way.answer): str(way.to) for way in check.answers or ()}
    assert ways == {"No": "crimp", "Torn": "new-loom", "Burnt": "find-short-anew"}
    assert check.exposes == ()


def test_an_error_prints_what_was_answered(root: Path) -> None:
    """Wrong use that shows only at the end loses nothing either; files stay."""
    before = files(root)
    ran = asked(root, "seat-stuck prop --given volts '3 V'", "Wet", "", "desk")
    assert ran.code == 0, "no case, so what it answers is not looked at"
    ran = asked(root, "seat-stuck splice --case 'nothing jams'", "Torn")
    assert ran.code == 2
    assert "does not pass splice" in ran.out
    assert "  kb branch seat-stuck splice " in ran.out
    assert files(root) != before


def test_who_leaves_finds_what_was_answered(root: Path) -> None:
    """At whichever question somebody goes: the answers so far are a command, and nothing is changed."""
    before = files(root)
    typed = (*CHECK, *TWO, "Loom burnt")
    for number in range(len(typed)):
        ran = asked(root, "seat-stuck splice --before crimp", *typed[:number])
        assert (ran.code, files(root)) == (1, before), ran.out
        assert COMMAND.findall(ran.out), ran.out
    assert "--fix 'Find the short' --id find-short" in ran.out
    assert "--way No crimp" in ran.out


SPAWN = """
import os, pty, signal, sys
signal.signal(signal.SIGINT, signal.SIG_DFL)  # Whoever runs the tests in the background has it ignored.
sys.exit(os.waitstatus_to_exitcode(pty.spawn(sys.argv[1:])))
"""
"""Runs a command on a terminal of its own, which gets what comes in here."""


def test_ctrl_c_on_a_terminal(root: Path) -> None:
    """On a real terminal it asks by itself; Ctrl-C prints what was answered, and changes nothing."""
    before = files(root)
    words = ["-m", "kb_tools.cli", "branch", "seat-stuck", "splice", "--library", str(root)]
    command = [sys.executable, "-c", SPAWN, sys.executable, *words]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as process:
        assert process.stdin is not None
        shown = _until(process, "The new answer: ")
        process.stdin.write(b"Torn by 'a' fall\n")
        process.stdin.flush()
        shown += _until(process, "(empty: none): ")
        # A signal between the question and the reading of its answer is noticed by Python only with the next key.
        shown += _until(process, "Aborted!", again=b"\x03")
        process.stdin.close()
        process.wait(30)
    assert process.returncode == 1
    answer = shlex.quote("Torn by 'a' fall")
    assert f"kb branch seat-stuck splice --library {root} --answer {answer}\r\n" in shown
    assert files(root) == before


def _until(process: subprocess.Popen[bytes], wanted: str, again: bytes = b"") -> str:
    """Read what a terminal shows until a text appears; while nothing comes, press a key again."""
    assert process.stdout is not None
    assert process.stdin is not None
    shown, end = "", time.monotonic() + 60
    while wanted not in shown and time.monotonic() < end:
        ready, _, _ = select.select([process.stdout], [], [], 2)
        if again and not ready:
            process.stdin.write(again)
            process.stdin.flush()
        part = os.read(process.stdout.fileno(), 4096) if ready else b""
        if ready and not part:
            break
        shown += part.decode()
    if wanted not in shown:
        process.kill()
    assert wanted in shown, shown
    return shown


def test_a_dry_run_asks_too(root: Path) -> None:
    """The difference and the command are shown; the files stay."""
    before = files(root)
    ran = asked(root, "seat-stuck splice --dry-run", *TORN, "", "", *REST, "Loom torn at the hinge")
    assert (ran.code, files(root)) == (0, before)
    assert "+  new-loom:\n" in ran.out
    assert COMMAND.findall(ran.out)
