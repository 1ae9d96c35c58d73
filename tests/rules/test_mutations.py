"""A sound library, broken in one place at a time: just the rules that should say so do."""

from __future__ import annotations

from pathlib import Path

import pytest

from making import findings_of, listed

SMALL = Path(__file__).parents[1] / "data" / "small"
STUCK = "trees/seat/seat-stuck.yml"
BUTTONS = "trees/seat/buttons-dead.yml"
TABLE = "trees/tables/seat-stuck-causes.yml"
MAP = "trees/maps/tilt.yml"
HAZARDS = "trees/shared/hazards.yml"
CAUTIONS = "trees/shared/cautions.yml"
FIXES = "trees/shared/fixes.yml"
PROOFS = "trees/shared/proofs.yml"
EQUIPMENT = "trees/shared/equipment.yml"

PUT_BACK = "    restores: [falling-seat]\n    put_back: Take the bar out and lower the seat by hand\n"

BREAKS = [
    # isolation
    (STUCK, "    isolates: [live-loom]\n", "", {"isolate-before-expose"}),
    (STUCK, "    confirms: [live-loom]\n", "", {"isolate-before-expose"}),
    (STUCK, "to: rail, isolates: [falling-seat]}", "to: rail}", {"isolate-before-expose"}),
    (STUCK, "to: unplug\n", "to: splice\n", {"isolate-before-expose", "step-reachable"}),
    (
        STUCK,
        "    then: splice\n    cannot: desk\n",
        "    then: splice\n    cannot: splice\n",
        {"isolate-before-expose"},
    ),
    (STUCK, "    link: buttons-dead/press", "    link: seat-stuck/splice", {"no-loop", "isolate-before-expose"}),
    # power
    (
        STUCK,
        "    restores: [live-loom]\n    then: other-tree",
        "    then: other-tree",
        {"restore-before-need", "end-stated"},
    ),
    (
        STUCK,
        PUT_BACK + "    proof: tilt-and-stop\n    leave",
        "    proof: tilt-and-stop\n    leave",
        {"restore-before-need"},
    ),
    (FIXES, "  restores: [live-loom]\n", "", {"restore-before-need", "end-stated"}),
    (PROOFS, "needs: [live-loom, falling-seat]", "needs: [live-loom]", set()),
    # live work
    (STUCK, "    live_because: a voltage can only be read under power\n", "", {"live-controlled"}),
    (STUCK, "    controls: insulated probes, one hand, rings off\n", "", {"live-controlled"}),
    (STUCK, "    controls: insulated probes, one hand, rings off\n", "    controls: ' '\n", {"value-type"}),
    (
        STUCK,
        "    takes: 3 min\n",
        "    who: anyone\n    say: Please read the meter\n",
        {"live-controlled", "anyone-step-safe"},
    ),
    (TABLE, "    controls: insulated probes, one hand, rings off\n", "", {"live-controlled"}),
    # effects, cautions, anyone
    (
        STUCK,
        "    check: Is the seat pan propped with the bar already?\n",
        "    check: Is the seat pan propped with the bar already?\n    isolates: [falling-seat]\n",
        {"effect-on-answer"},
    ),
    (CAUTIONS, "  hazard: falling-seat\n", "", {"caution-shown", "shared-item-used"}),
    (BUTTONS, "    looks_at: [pad]\n", "    looks_at: [pad]\n    tools: [meter]\n", {"anyone-step-safe"}),
    (
        BUTTONS,
        "    say: Please press any button of the little pad. Do you hear or feel a click?\n",
        "",
        {"anyone-step-safe"},
    ),
    (BUTTONS, "to: desk}\n", "to: desk, isolates: [falling-seat]}\n", {"anyone-step-safe", "end-stated"}),
    # fixes and ends
    (STUCK, "    leave: Leave the chair switched off, the bar in place, tagged and out of use\n", "", {"end-stated"}),
    (STUCK, "    not_cured: desk\n  plug-in", "  plug-in", {"fix-proven"}),
    (FIXES, "  proof: tilt-and-stop\n", "", {"fix-proven"}),
    (BUTTONS, "    proof: tilt-and-stop\n", "", {"fix-proven"}),
    # cases
    (
        STUCK,
        "{listen: Silent, volts: 0.3 V, splice: 'Yes'}",
        "{listen: Silent, volts: 18 V, splice: 'Yes'}",
        {"case-ends"},
    ),
    (STUCK, "{listen: Silent, volts: 0.3 V, splice: 'Yes'}", "{listen: Silent, volts: 0.3 V}", {"case-ends"}),
    (STUCK, "    ends_at: clear-rail\n", "    ends_at: lower\n", {"case-ends", "fix-has-case"}),
    (STUCK, "    ends_at: buttons-dead/new-pad\n", "    ends_at: buttons-dead/desk\n", {"case-ends", "fix-has-case"}),
    (
        STUCK,
        "- {below: 4, answer: Jammed, to: clear-rail}\n      - {from: 4,",
        "- {below: 2, answer: Jammed, to: clear-rail}\n      - {from: 2,",
        {"case-ends", "table-tree-agrees"},
    ),
    # upkeep
    (BUTTONS, "reviewed: 2026-10-30", "reviewed: 2025-10-30", {"review-current"}),
    (BUTTONS, "reviewed: 2026-10-30", "reviewed: 2026-11-26", {"review-current"}),
    (BUTTONS, "reviewed: 2026-10-30", "reviewed: 2026-11-25", set()),
    (STUCK, "review_every: 200 days", "review_every: 84 days", {"review-current"}),
    (
        STUCK,
        "    exposes: [live-loom]\n    cautions: [tight-gaps]\n",
        "    cautions: [tight-gaps]\n",
        {"hazard-undeclared"},
    ),
    (
        FIXES,
        "  exposes: [live-loom]\n  restores: [live-loom]\n",
        "",
        {"hazard-undeclared", "restore-before-need", "end-stated"},
    ),
    (EQUIPMENT, "  meter:", "  torch: {name: Torch}\n  meter:", {"shared-item-used"}),
    (STUCK, "    spares: [slider]\n", "", {"shared-item-used"}),
    (
        STUCK,
        "    how: Pull at the housing, not at the wires.\n",
        "    how: Pull at the <u>housing</u>.\n",
        {"text-safe"},
    ),
    # tables and maps
    (TABLE, "horn: Silent}", "horn: Slient}", {"answer-exists"}),
    (TABLE, "    answers: [Sounds, Silent]\n", "", {"answer-exists"}),
    (
        TABLE,
        "  no-fault: {listen: Heard, volts: Supplied, splice: 'No', rail: Free, horn: Silent}",
        "  no-fault: {listen: Heard, volts: Supplied, splice: 'No', horn: Silent}",
        set(),
    ),
    (
        TABLE,
        "  no-fault: {listen: Heard, volts: Supplied, splice: 'No', rail: Free, horn: Silent}",
        "  no-fault: {listen: Heard, volts: Supplied, splice: 'No'}",
        {"cause-separable", "check-dead"},
    ),
    (TABLE, "check: Is a splice of the loom loose or green?", "check: Is a splice green?", {"table-tree-agrees"}),
    (
        TABLE,
        "      - {from: 18, answer: Supplied}\n",
        "      - {from: 18, answer: Good}\n",
        {"answer-exists", "table-tree-agrees"},
    ),
    (TABLE, "{listen: Silent", "{listen: Heard", {"table-tree-agrees", "check-dead"}),
    (TABLE, "{listen: Heard, volts: Supplied", "{listen: Silent, volts: No supply", {"table-tree-agrees"}),
    (TABLE, "fix: crimp-splice", "fix: clear-rail", {"table-tree-agrees"}),
    (
        STUCK,
        "      - {answer: 'No', to: plug-in}\n",
        "      - {answer: 'No', to: desk}\n",
        {"step-reachable", "case-ends"},
    ),
    (STUCK, "    looks_at: [loom]\n", "", {"part-looked-at"}),
    (
        MAP,
        "title: The powered tilt\nparts:\n",
        "title: The powered tilt\nparts:\n  horn: {name: Horn}\n",
        {"part-looked-at"},
    ),
    (TABLE, "    unit: mm\n", "    unit: cm\n", {"table-tree-agrees"}),
    (TABLE, "    answers: [Heard, Silent]\n", "    answers: [Heard]\n", {"table-tree-agrees", "answer-exists"}),
    (TABLE, "    check: Is a splice of the loom loose or green?\n", "", {"answer-exists"}),
    (TABLE, "    check: Does the horn sound?\n", "    measure: Does the horn sound?\n", {"answer-exists"}),
    # what only follows from another mistake is not reported
    (
        STUCK,
        "    isolates: [live-loom]\n    confirms: [live-loom]\n",
        "    isolates: [live-lom]\n    confirms: [live-lom]\n",
        {"reference-resolves"},
    ),
    (
        STUCK,
        "    isolates: [live-loom]\n    confirms: [live-loom]\n",
        "    isolates: live-loom\n    confirms: [live-loom]\n",
        {"value-type"},
    ),
    (
        STUCK,
        "    restores: [live-loom]\n    then: other-tree",
        "    restores: [live-lom]\n    then: other-tree",
        {"reference-resolves"},
    ),
    (STUCK, "    fix: {use: crimp-splice}\n", "    fix: {use: crimp-slice}\n", {"reference-resolves"}),
    (STUCK, "    check: {use: motor-heard}\n", "    check: {use: motor-herd}\n", {"reference-resolves"}),
    (STUCK, "{use: motor-heard}\n", "{use: motor-herd}\n    say: Look at the rail\n", {"reference-resolves"}),
    (STUCK, "restores: [falling-seat]\n", "restores: falling-seat\n", {"value-type"}),
    (
        STUCK,
        PUT_BACK + "    proof: tilt-and-stop\n    share: 10",
        "    restores: falling-seat\n    proof: tilt-and-stop",
        {"value-type"},
    ),
    (STUCK, "to: clear-rail}\n", "to: claer-rail}\n", {"target-exists"}),
    (STUCK, "    ends_at: clear-rail\n", "    ends_at: claer-rail\n", {"case-ends"}),
    (STUCK, "splice: 'Yes'}\n    ends_at: crimp", "slice: 'Yes'}\n    ends_at: crimp", {"case-ends"}),
    (STUCK, "    tools: [bar]\n", "    tools: [bra]\n", {"reference-resolves"}),
    (STUCK, "map: tilt\n", "map: tlit\n", {"reference-resolves"}),
    (STUCK, "    looks_at: [loom]\n", "    looks_at: [lomo]\n", {"reference-resolves"}),
    (CAUTIONS, "  hazard: falling-seat\n", "  hazard: faling-seat\n", {"reference-resolves"}),
    (TABLE, "  rail-jammed: {listen: Heard, volts", "  rail-jamed: {listen: Heard, volts", {"answer-exists"}),
    (TABLE, "tree: seat-stuck\n", "tree: seat-stcuk\n", {"reference-resolves"}),
    (TABLE, "fix: clear-rail", "fix: claer-rail", {"reference-resolves"}),
    (HAZARDS, "live-loom:\n", "live-loom: {\n", {"yaml-syntax"}),
    (CAUTIONS, "live-loom:\n", "live-loom: {\n", {"yaml-syntax"}),
    (FIXES, "crimp-splice:\n", "crimp-splice: {\n", {"yaml-syntax"}),
    (PROOFS, "tilt-and-stop:\n", "tilt-and-stop: {\n", {"yaml-syntax"}),
    (BUTTONS, "start: press\n", "start: {\n", {"yaml-syntax"}),
    (MAP, "parts:\n", "parts: {\n", {"yaml-syntax"}),
    (TABLE, "causes:\n", "causes: {\n", {"yaml-syntax"}),
    (STUCK, "    proof: tilt-and-stop\n    leave", "    proof: [tilt-and-stop]\n    leave", {"value-type"}),
    (BUTTONS, "    not_cured: desk\n", "    not_cured: [desk]\n", {"value-type"}),
    (
        STUCK,
        "    leave: Leave the chair switched off, the bar in place, tagged and out of use\n",
        "    leave: [Leave it]\n",
        {"value-type"},
    ),
    (BUTTONS, "    say: Please press", "    say: [Please press]\n    how: Please press", {"value-type"}),
]
"""(file, what stands there, what is put in its place, the rules that find something)."""


@pytest.mark.parametrize(
    ("file", "old", "new", "rules"),
    BREAKS,
    ids=[f"{number}-{'-'.join(sorted(rules)) or 'none'}" for number, (*_, rules) in enumerate(BREAKS)],
)
def test_a_break_is_found_by_its_rules(file: str, old: str, new: str, rules: set[str], tmp_path: Path) -> None:
    """One change brings findings of these rules and of no other."""
    text = (SMALL / file).read_text("utf-8")
    assert old in text
    findings = findings_of(tmp_path, {file: text.replace(old, new, 1)}, base=SMALL)
    assert {one.rule for one in findings} == rules, listed(findings)
