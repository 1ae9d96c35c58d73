"""Generate libraries of any size for the bench: random but sound trees, the same for the same seed."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

SHARED = {
    "hazards": """\
live-harness:
  name: Power on the harness
  how_isolated: Switch off, unplug the battery connector, tag it
  put_back: Plug the battery connector in until the latch clicks
  isolate_takes: 2 min
  restore_takes: 1 min
  confirm: true
  hints: [bare wire]
""",
    "cautions": """\
live-harness:
  signal: WARNING
  hazard: live-harness
  text: Power on the harness
  consequence: A shorted battery burns
  avoid: Unplug the battery first; keep rings and tools away
""",
    "proofs": """\
lamps-and-stops:
  title: Lamps and stops
  takes: 6 min
  needs: [live-harness]
  items:
    - The guard lamp pulses white
    - The chair stops before a box in each direction, nobody seated
""",
    "equipment": """\
equipment:
  guard-unit: {name: Guard unit}
tools:
  meter: {name: Multimeter}
spares:
  fuse-15: {name: 15 A blade fuse, price: 2}
""",
    "library": "title: Generated library\nedition: 1\ndate: 2026-11-20\nlanguage: en\n",
}
NOUNS = "lamp display lever plug cable fuse wheel motor charger sensor box seat arm knob lock strap".split()
STATES = "lit loose warm wet bent dark noisy stiff broken dirty".split()


def tree(number: int, steps: int, seed: int) -> str:
    """Return the YAML of one sound tree.

    Args:
        number: Which tree it is; part of its title and of its randomness.
        steps: How many steps it has, at least ten.
        seed: The same seed gives the same tree.

    """
    chance = random.Random(f"{seed}/{number}")  # noqa: S311 - no secret
    noun = chance.choice(NOUNS)
    lines = [
        f"title: The {noun} number {number} is {chance.choice(STATES)}",
        "equipment: [guard-unit]",
        "applies_to: all revisions",
        "heard_as:",
        *(f"  - my {chance.choice(NOUNS)} went {chance.choice(STATES)} on day {day}" for day in range(5)),
        "reviewed: 2026-10-14",
        "start: s0",
        "steps:",
    ]
    questions = steps - 5
    for at in range(questions):
        # The first answer leads to the next step, so that every step is reached.
        last = questions - 1
        ahead = [at + 1, *(chance.randint(at + 1, min(at + 4, last)) for _ in range(2))] if at < last else []
        later = [f"s{step}" for step in ahead] or ["unplug"] * 3
        lines += _measure(at, later) if at % 3 > 1 else _check(at, later, chance)
    lines += END.splitlines()
    lines += ["cases:", f"  - case: the usual one of {number}", *_case(lines)]
    return "\n".join(lines) + "\n"


def _check(at: int, later: list[str], chance: random.Random) -> list[str]:
    thing, state = chance.choice(NOUNS), chance.choice(STATES)
    return [
        f"  s{at}:",
        f"    check: Is the {thing} at place {at} {state}?",
        f"    say: Please look at the {thing}. Would you call it {state}?",
        "    who: anyone",
        "    takes: 1 min",
        "    answers:",
        f"      - {{answer: 'Yes', to: {later[0]}}}",
        f"      - {{answer: 'No', to: {later[1]}}}",
        f"      - {{answer: Cannot tell, to: {later[2]}, unsure: true}}",
    ]


def _measure(at: int, later: list[str]) -> list[str]:
    return [
        f"  s{at}:",
        f"    measure: Voltage at point {at}",
        "    unit: V",
        "    plausible: [0, 60]",
        "    source: common practice",
        "    tools: [meter]",
        "    takes: 3 min",
        "    how: |",
        "      Put the probes on the two pins.",
        "      Read the display when it has settled.",
        "    bands:",
        f"      - {{below: 18, answer: No supply, to: {later[0]}}}",
        f"      - {{from: 18, answer: Supplied, to: {later[1]}}}",
    ]


END = """\
  unplug:
    do: Switch off, unplug the battery connector and tag it
    confirm: The connector hangs free
    isolates: [live-harness]
    confirms: [live-harness]
    then: fuse
    cannot: desk
  fuse:
    check: Is the strip in the blade broken?
    exposes: [live-harness]
    answers:
      - {answer: Broken, to: new-fuse}
      - {answer: Whole, to: reseat}
  new-fuse:
    fix: Replace the blade by one of the same rating
    share: 50
    takes: 4 min
    spares: [fuse-15]
    exposes: [live-harness]
    restores: [live-harness]
    put_back: Plug the connector in
    proof: lamps-and-stops
    not_cured: desk
  reseat:
    fix: Reseat the lead
    share: 30
    takes: 2 min
    exposes: [live-harness]
    restores: [live-harness]
    put_back: Plug the connector in
    proof: lamps-and-stops
    not_cured: desk
  desk:
    escalate: Ask the service desk
    bring: [serial number, readings taken]
    leave: Leave the chair switched off and tagged
    share: 5
"""


def _case(lines: list[str]) -> list[str]:
    """Return the rest of a case that takes the first answer everywhere and ends at the fuse."""
    given, at = ["fuse: Broken"], "s0"
    while at != "unplug":
        start = lines.index(f"  {at}:")
        measured = lines[start + 1].startswith("    measure")
        given.append(f"{at}: {'0.4 V' if measured else chr(39) + 'Yes' + chr(39)}")
        first = next(line for line in lines[start:] if "{answer: 'Yes'" in line or "{below: 18" in line)
        at = first.partition("to: ")[2].rstrip("}")
    return ["    given:", *(f"      {one}" for one in given), "    ends_at: new-fuse"]


def write(root: Path, trees: int, steps: int = 30, seed: int = 1) -> None:
    """Write a whole library below `root`: shared files, `trees` trees in areas of 50, site configuration."""
    shared = root / "trees" / "shared"
    shared.mkdir(parents=True)
    for name, text in SHARED.items():
        (shared / f"{name}.yml").write_text(text, "utf-8")
    for number in range(trees):
        area = root / "trees" / f"area-{number // 50}"
        area.mkdir(exist_ok=True)
        (area / f"tree-{number}.yml").write_text(tree(number, steps, seed), "utf-8")
    (root / "content").mkdir()
    (root / "content" / "index.md").write_text("# Generated library\n", "utf-8")
    (root / "mkdocs.yml").write_text(
        "site_name: Generated library\ndocs_dir: content\nuse_directory_urls: false\n"
        "theme: {name: material, font: false}\nplugins: [fault-trees]\n",
        "utf-8",
    )
