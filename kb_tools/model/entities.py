"""The words of the format, each declared once.

The reader (`records`), the editor schema and the format page all work from the declarations
here: a new key is one line.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode, Node, ScalarNode

from kb_tools.model.doubts import Doubts
from kb_tools.model.records import Group, key, keys_of, read_entity
from kb_tools.model.values import (
    MISSING,
    Body,
    Calendar,
    Clock,
    Context,
    DaySpan,
    Flag,
    Id,
    ListOf,
    MapOf,
    OneOf,
    Real,
    Text,
    TextOrList,
    Whole,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from kb_tools.findings import Finding, Place
    from kb_tools.model.values import Day, Days, Duration, Number, Use, Word

STEP_KINDS = ("check", "measure", "do", "fix", "escalate", "done", "link")
ENDS = ("fix", "escalate", "done")
CAUSES = ("fix", "escalate", "done", "link")
"""Kinds of step that carry a share."""
SIGNAL_WORDS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""The signal words of ANSI Z535.6, gravest first."""
UNREAD_SIGNAL = -1
"""The rank of a signal word that could not be read: such a caution stands before the gravest."""
ASSUMED_MINUTES = {"check": 1.0, "measure": 1.0, "do": 2.0, "fix": 5.0}
"""Minutes hands on where `takes` is left out; 0 for the other kinds."""
OWN_KEYS_WITH_USE = frozenset({"answers", "bands", "share", "cures", "not_cured", "who", "say", "stop_use", "leave"})
"""What a step that uses a shared body may set itself."""
DEFAULT_REVIEW_DAYS = 365

_HAZARDS = ListOf(Id("hazard"))
_QUESTION = "check measure"


def signal_rank(word: str) -> int:
    """Return the place of a signal word, the gravest first; `UNREAD_SIGNAL` where it could not be read."""
    return SIGNAL_WORDS.index(word) if word in SIGNAL_WORDS else UNREAD_SIGNAL


@dataclass(slots=True)
class Answer:
    """One way on from a check."""

    place: Place
    answer: Word = key(Text(), "What the answer is called.", required=True)
    to: Word = key(Id("step"), "The step that this answer leads to.", required=True)
    say: Word | None = key(Text(), "The support desk's wording of this answer.")
    unsure: bool = key(Flag(), "Whether this is the way for somebody who cannot tell.", default=False)
    isolates: tuple[Word, ...] = key(_HAZARDS, "Hazards that are isolated after this answer.", default=())
    confirms: tuple[Word, ...] = key(_HAZARDS, "Hazards whose isolation this answer confirms.", default=())
    restores: tuple[Word, ...] = key(_HAZARDS, "Hazards that are back after this answer.", default=())
    stop_use: Word | None = key(Text(markdown=True), "Advice to stop using the chair, from here on.")


@dataclass(slots=True)
class Band:
    """One way on from a measurement: readings from `from` (included) to `below` (excluded)."""

    place: Place
    answer: Word = key(Text(), "What a reading in this band means.", required=True)
    to: Word = key(Id("step"), "The step that this band leads to.", required=True)
    start: Number | None = key(Real(), "The least reading of the band; left out: no least.", written="from")
    below: Number | None = key(Real(), "Readings are smaller than this; left out: no most.")
    say: Word | None = key(Text(), "The support desk's wording of this band.")
    isolates: tuple[Word, ...] = key(_HAZARDS, "Hazards that are isolated after this band.", default=())
    confirms: tuple[Word, ...] = key(_HAZARDS, "Hazards whose isolation this band confirms.", default=())
    restores: tuple[Word, ...] = key(_HAZARDS, "Hazards that are back after this band.", default=())
    stop_use: Word | None = key(Text(markdown=True), "Advice to stop using the chair, from here on.")


@dataclass(slots=True)
class SharedAnswer:
    """An answer's wording in a shared check; the step that uses it says where it leads."""

    place: Place
    answer: Word = key(Text(), "What the answer is called.", required=True)
    say: Word | None = key(Text(), "The support desk's wording of this answer.")
    unsure: bool = key(Flag(), "Whether this is the way for somebody who cannot tell.", default=False)


@dataclass(slots=True)
class Step:
    """One step of a tree. Its kind follows from the one kind key that it bears."""

    place: Place
    check: Word | Use | None = key(Body("check"), "A question that is answered in words.")
    measure: Word | Use | None = key(Body("check"), "What to measure: a number with a unit.")
    do: Word | None = key(Text(markdown=True), "An action with one way on.")
    fix: Word | Use | None = key(Body("fix"), "What mends the fault.")
    escalate: Word | None = key(Text(markdown=True), "Whom to hand the case to.")
    done: Word | None = key(Text(markdown=True), "An end that is no fault.")
    link: Word | None = key(Id("tree", path=True), "One way on into another tree.")
    say: Word | None = key(Text(), "The support desk's wording, in plain words.")
    how: Word | None = key(Text(markdown=True), "How to do it, shown on request.")
    who: Word | None = key(
        OneOf(("anyone", "technician")), "The least trained person who may do it; left out: technician."
    )
    takes: Duration | None = key(Clock(), "Minutes hands on; left out: 1 for check and measure, 2 for do, 5 for fix.")
    wait: Duration | None = key(Clock(), "Time that only passes.")
    tools: tuple[Word, ...] = key(ListOf(Id("tool")), "Tools that it needs.", default=())
    spares: tuple[Word, ...] = key(ListOf(Id("spare")), "What is fitted or used up.", default=(), steps="do fix")
    looks_at: tuple[Word, ...] = key(ListOf(Id("part")), "Parts of the tree's map that it looks at.", default=())
    cautions: tuple[Word, ...] = key(
        ListOf(Id("caution")), "Cautions shown before this step, beside those of its hazards.", default=()
    )
    picture: Word | None = key(Text(), "A picture: its path below content/.")
    picture_text: Word | None = key(Text(), "The picture's text alternative.")
    answers: tuple[Answer, ...] | None = key(ListOf(Group(Answer)), "The ways on.", steps="check")
    bands: tuple[Band, ...] | None = key(ListOf(Group(Band)), "The ways on, by the reading.", steps="measure")
    unit: Word | None = key(Text(), "The unit of the reading; 1 for a plain number.", steps="measure")
    plausible: tuple[Number, ...] | None = key(
        ListOf(Real(), exactly=2), "Least and most reading that is believed.", steps="measure"
    )
    source: Word | None = key(
        Text(markdown=True), "Where the limits come from; may refer to a row of figures.", steps=_QUESTION + " do fix"
    )
    works_live: tuple[Word, ...] = key(
        _HAZARDS, "Hazards that are present while it is done.", default=(), steps=_QUESTION + " do fix"
    )
    live_because: Word | None = key(Text(), "Why it must be done with the hazard present.", steps=_QUESTION + " do fix")
    controls: Word | None = key(Text(), "What keeps the person safe meanwhile.", steps=_QUESTION + " do fix")
    exposes: tuple[Word, ...] = key(_HAZARDS, "Hazards that it lays open: they must be isolated before.", default=())
    needs: tuple[Word, ...] = key(_HAZARDS, "Hazards whose power it needs: they must not be isolated.", default=())
    isolates: tuple[Word, ...] = key(_HAZARDS, "Hazards that are isolated after it.", default=())
    confirms: tuple[Word, ...] = key(_HAZARDS, "Hazards whose isolation it confirms.", default=())
    restores: tuple[Word, ...] = key(
        _HAZARDS, "Hazards that are back after it; of a fix: before its proof.", default=()
    )
    confirm: Word | None = key(Text(markdown=True), "How to see that it worked.", steps="do")
    then: Word | None = key(Id("step"), "The step after it.", steps="do")
    cannot: Word | None = key(Id("step"), "The step for somebody who cannot do it.", steps="do")
    share: Number | None = key(
        Real(least=0), "Weight of this cause among the cases that start at the symptom.", steps=" ".join(CAUSES)
    )
    cures: Number | None = key(
        Real(least=0, most=1), "Chance that it cures the fault when this was the cause; left out: 1.", steps="fix"
    )
    put_back: Word | None = key(Text(markdown=True), "How to put back what was isolated.", steps="do fix done")
    proof: Word | None = key(Id("proof"), "The functional check that returns the chair to service.", steps="fix done")
    not_cured: Word | None = key(Id("step"), "Where to go when the proof fails.", steps="fix")
    bring: tuple[Word, ...] = key(
        ListOf(Text()), "What whoever takes over needs to know.", default=(), steps="escalate"
    )
    leave: Word | None = key(Text(markdown=True), "How to leave the chair.", steps=" ".join(ENDS))
    stop_use: Word | None = key(Text(markdown=True), "Advice to stop using the chair.", steps=" ".join(ENDS))
    kind: str = ""
    """One of `STEP_KINDS`, or empty when that could not be told."""
    text: Word | None = None
    """The text under the kind key, resolved when the body is shared."""
    use: Word | None = None
    """The id of the shared item that the body was taken from."""
    shared_answers: tuple[SharedAnswer, ...] = ()
    """The wording of answers in the shared check that is used."""

    @property
    def minutes(self) -> float:
        """Minutes hands on; assumed where `takes` is left out."""
        return self.takes.minutes if self.takes else ASSUMED_MINUTES.get(self.kind, 0.0)

    @property
    def in_doubt(self) -> bool:
        """Whether its body could not be read, or comes from a shared item that cannot be found."""
        return self.text is None

    @property
    def for_anyone(self) -> bool:
        """Whether an untrained person may do it."""
        return self.who == "anyone"


@dataclass(frozen=True)
class StepGroup:
    """A step: a group of keys that bears exactly one kind key, and only keys that its kind may bear."""

    def read(self, node: Node, context: Context) -> Any:  # noqa: ANN401 - a Step, or MISSING
        """Return the step with its `kind`; a step whose kind cannot be told has an empty one."""
        step = read_entity(Step, node, context)
        if not isinstance(node, MappingNode):
            # The id is declared all the same: ways that lead to it are no mistakes of their own.
            return Step(context.place(node))
        keys = [key_node for key_node, _ in node.value if isinstance(key_node, ScalarNode)]
        kinds = [key_node for key_node in keys if key_node.value in STEP_KINDS]
        if len(kinds) == 1:
            step.kind = kinds[0].value
            self._foreign_keys(step, keys, context)
        elif kinds:
            context.report(
                kinds[1],
                "step-kind",
                f"This step is a `{kinds[0].value}` already and cannot be a `{kinds[1].value}` too",
                "Make two steps of it",
            )
        elif not any(context.doubts.key(step.place, kind) for kind in STEP_KINDS):
            context.report(
                node,
                "step-kind",
                "This step does not say what it is",
                f"Give it one of the keys {', '.join(STEP_KINDS)}",
            )
        return step

    def _foreign_keys(self, step: Step, keys: list[ScalarNode], context: Context) -> None:
        """Report keys that a step of its kind may not bear."""
        declared, kind = keys_of(Step), step.kind
        for node in keys:
            known = declared.get(node.value)
            if known and known[1].steps and kind not in known[1].steps:
                owners = " or ".join(f"`{owner}`" for owner in known[1].steps)
                context.report(
                    node,
                    "key-known",
                    f"The key `{node.value}` belongs to a step of kind {owners}; this one is of kind `{kind}`",
                    "Delete the key, or change the kind of the step",
                )
                context.doubts.keys.add((step.place, node.value))

    def schema(self) -> dict[str, Any]:
        """Return a reference to the step's own schema."""
        return {"$ref": "#/$defs/Step"}

    def words(self) -> str:
        """Return the kind in words."""
        return "[Step](#step)"


@dataclass(frozen=True)
class SharedStep(StepGroup):
    """A body in checks.yml or fixes.yml: a step whose answers need not say where they lead."""

    def read(self, node: Node, context: Context) -> Any:  # noqa: ANN401 - a Step, or MISSING
        """Return the body; `shared_answers` holds the wording of its answers."""
        if not isinstance(node, MappingNode):
            return super().read(node, context)
        own = [pair for pair in node.value if pair[0].value != "answers"]
        rest = MappingNode(node.tag, own, node.start_mark, node.end_mark)
        step = super().read(rest, context)
        for key_node, value_node in node.value:
            if key_node.value == "answers":
                before = len(context.findings)
                answers = ListOf(Group(SharedAnswer)).read(value_node, context)
                step.shared_answers = () if answers is MISSING else answers
                if len(context.findings) > before:
                    context.doubts.keys.add((step.place, "answers"))
        return step

    def schema(self) -> dict[str, Any]:
        """Return a reference to the shared body's schema."""
        return {"$ref": "#/$defs/SharedStep"}


@dataclass(slots=True)
class Case:
    """A recorded or invented run with a known end."""

    place: Place
    case: Word = key(Text(), "What happened.", required=True)
    given: dict[Word, Word] = key(
        MapOf(Text(), paths=True),
        "What was answered or read at each step: `step` of the tree where the run stands, or `tree/step`.",
        required=True,
    )
    ends_at: Word = key(
        Id("step", path=True), "The step where it ended: `step`, or `tree/step` of another tree.", required=True
    )


@dataclass(slots=True)
class Tree:
    """A symptom-driven tree of checks: one file in trees/<area>/."""

    place: Place
    title: Word = key(Text(), "The symptom, as the finder shows it.", required=True)
    start: Word | None = key(Id("step"), "The first step.")
    steps: dict[Word, Step] = key(MapOf(StepGroup()), "The steps by their ids.", required=True, default=None)
    equipment: tuple[Word, ...] = key(ListOf(Id("equipment")), "What it is about.", default=())
    applies_to: Word | None = key(Text(), "Which revisions it holds for; shown before the first step.")
    heard_as: tuple[Word, ...] = key(ListOf(Text()), "How users and carers put it; feeds the finder.", default=())
    reviewed: Day | None = key(Calendar(), "When somebody last read it through.", required=True)
    review_every: Days | None = key(DaySpan(), "How long a review holds; left out: 365 days.")
    status: Word | None = key(
        OneOf(("draft", "published")), "A draft stays out of the site and in the preview; left out: published."
    )
    cautions: tuple[Word, ...] = key(ListOf(Id("caution")), "Cautions shown before the first step.", default=())
    stop_use: Word | None = key(Text(markdown=True), "Advice to stop using the chair, from the start.")
    map: Word | None = key(Id("map"), "The equipment map that the steps look at.")
    cases: tuple[Case, ...] = key(ListOf(Group(Case)), "Runs with a known end; they are replayed.", default=())
    id: str = ""
    area: str = ""
    file: str = ""

    @property
    def is_draft(self) -> bool:
        """Whether the tree is kept out of the site."""
        return self.status == "draft"


@dataclass(slots=True)
class Hazard:
    """Something that can hurt, and how it is isolated."""

    place: Place
    name: Word = key(Text(), "What it is called.", required=True)
    how_isolated: Word = key(Text(markdown=True), "How it is isolated.", required=True)
    put_back: Word = key(Text(markdown=True), "How it is put back.", required=True)
    isolate_takes: Duration | None = key(Clock(), "Minutes to isolate it.")
    restore_takes: Duration | None = key(Clock(), "Minutes to put it back.")
    confirm: bool = key(Flag(), "Whether its isolation must be confirmed before it counts.", default=False)
    hints: tuple[Word, ...] = key(ListOf(Text()), "Words that hint at it in a step that declares nothing.", default=())


@dataclass(slots=True)
class Caution:
    """A caution in the words of ANSI Z535.6."""

    place: Place
    signal: Word = key(OneOf(SIGNAL_WORDS), "The signal word.", required=True)
    text: Word = key(Text(markdown=True), "What the danger is.", required=True)
    consequence: Word = key(Text(markdown=True), "What it can do.", required=True)
    avoid: Word = key(Text(markdown=True), "How to avoid it.", required=True)
    hazard: Word | None = key(Id("hazard"), "The hazard that it warns of.")


@dataclass(slots=True)
class ProofItem:
    """One thing to prove."""

    place: Place
    item: Word = key(Text(markdown=True), "What must hold.", required=True)
    optional: bool = key(Flag(), "Whether it may be passed over where the part is not fitted.", default=False)


@dataclass(slots=True)
class Proof:
    """The functional check that returns the chair to service."""

    place: Place
    title: Word = key(Text(), "What it is called.", required=True)
    items: tuple[ProofItem, ...] = key(
        ListOf(Group(ProofItem, short="item")), "What must hold, in order.", required=True, default=()
    )
    takes: Duration | None = key(Clock(), "Minutes hands on.")
    needs: tuple[Word, ...] = key(_HAZARDS, "Hazards whose power it needs.", default=())
    cautions: tuple[Word, ...] = key(ListOf(Id("caution")), "Cautions shown before it.", default=())
    people: int | None = key(Whole(least=1), "How many people it needs.")

    @property
    def minutes(self) -> float:
        """Minutes hands on; 0 where `takes` is left out."""
        return self.takes.minutes if self.takes else 0.0


@dataclass(slots=True)
class Thing:
    """A piece of equipment, a tool or a spare."""

    place: Place
    name: Word = key(Text(), "What it is called.", required=True)
    price: Number | None = key(Real(least=0), "What one costs, in the library's currency.")
    order_as: Word | None = key(Text(), "How to order it.")


@dataclass(slots=True)
class Equipment:
    """The file equipment.yml."""

    place: Place
    equipment: dict[Word, Thing] = key(MapOf(Group(Thing)), "What the trees are about.", default=None)
    tools: dict[Word, Thing] = key(MapOf(Group(Thing)), "Tools.", default=None)
    spares: dict[Word, Thing] = key(MapOf(Group(Thing)), "What is fitted or used up.", default=None)


@dataclass(slots=True)
class DeskQuestion:
    """One of the support desk's safety questions."""

    place: Place
    ask: Word = key(Text(), "The question.", required=True)
    bad: Word = key(OneOf(("Yes", "No")), "The answer that is bad.", required=True)
    say: Word = key(Text(), "What to say when the answer is bad.", required=True)
    stop_use: Word | None = key(Text(markdown=True), "Advice that stays on the screen when the answer is bad.")


@dataclass(slots=True)
class Settings:
    """The file library.yml."""

    place: Place
    title: Word | None = key(Text(), "The library's title.")
    edition: int | None = key(Whole(least=1), "The number of the edition; raised with each published build.")
    date: Day | None = key(Calendar(), "The date of the edition.")
    max_age: Days | None = key(DaySpan(), "After so many days a carried edition warns that it is old.")
    site_url: Word | None = key(Text(), "Where the site stands, if it has an address.")
    language: Word | None = key(Text(), "The language of the library, as in `en`.")
    note: Word | None = key(Text(markdown=True), "The author's note on this edition.")
    currency: Word | None = key(Text(), "The currency of prices.")
    prior_strength: Number | None = key(
        Real(least=1), "How many visit records the shares of the authors weigh as much as; left out: 20."
    )


@dataclass(slots=True)
class StepCounts:
    """What visit records say of one step."""

    place: Place
    answers: dict[Word, int] = key(
        MapOf(Whole(), ids=False),
        "How often each way on was taken: an answer, a band, `done`, `cannot`, `cured`, `not cured`, `go`.",
        default=None,
    )
    last: dict[Word, Day] = key(MapOf(Calendar(), ids=False), "The day each of them was last taken.", default=None)
    assumed: int = key(Whole(), "How often nobody knew, and the walk went on as if.", default=0)
    back: int = key(Whole(), "How often an answer was taken back.", default=0)
    stopped: int = key(Whole(), "How many walks ended here without a cure.", default=0)
    minutes: tuple[int, ...] = key(
        ListOf(Whole()), "How many took up to 1/4 min, up to 1/2, 1, 2, 4 and so on, each twice as long.", default=()
    )


@dataclass(slots=True)
class TreeCounts:
    """What visit records say of one tree."""

    place: Place
    visits: int = key(Whole(), "How many visits began in it.", default=0)
    last: Day | None = key(Calendar(), "The day of the last one.")
    outcomes: dict[Word, int] = key(
        MapOf(Whole(), ids=False), "What came of them; `open`: the visit was not ended.", default=None
    )
    causes: dict[Word, int] = key(
        MapOf(Whole()), "How often each cause was found, in visits that passed the tree's first step.", default=None
    )
    steps: dict[Word, StepCounts] = key(MapOf(Group(StepCounts)), "Its steps.", default=None)


@dataclass(slots=True)
class Counts:
    """What visit records teach: trees/shared/counts.yml, written by `kb learn`."""

    place: Place
    library: Word | None = key(Text(), "The key of the library that the records come from.")
    records: int = key(Whole(), "How many visit records were counted, each once.", default=0)
    first: Day | None = key(Calendar(), "The day of the oldest.")
    last: Day | None = key(Calendar(), "The day of the newest.")
    doubles: int = key(Whole(), "How many came a second time and were passed over.", default=0)
    set_aside: dict[Word, int] = key(
        MapOf(Whole()), "What could not be counted: `other-library`, `unknown-tree`, `unknown-answers`.", default=None
    )
    searches: dict[Word, int] = key(
        MapOf(Whole(), ids=False),
        "Words that were searched for and found nothing, and in how many visits.",
        default=None,
    )
    trees: dict[Word, TreeCounts] = key(MapOf(Group(TreeCounts)), "What was counted, by tree.", default=None)


@dataclass(slots=True)
class Moved:
    """A tree or step that got another id: walk codes and addresses of earlier editions still answer."""

    place: Place
    was: Word = key(Id(path=True), "The id that it had, of a tree or of a step.", required=True)
    now: Word = key(Id(path=True), "The id that it got.", required=True)


@dataclass(slots=True)
class TableCause:
    """A cause in an evidence table."""

    place: Place
    share: Number | None = key(Real(least=0), "Weight of the cause.")
    fix: Word | None = key(Id("fix"), "A step of the tree, or a shared fix.")


@dataclass(slots=True)
class TableBand:
    """A band of a measurement in an evidence table."""

    place: Place
    answer: Word = key(Text(), "What a reading in this band means.", required=True)
    start: Number | None = key(Real(), "The least reading of the band.", written="from")
    below: Number | None = key(Real(), "Readings are smaller than this.")


@dataclass(slots=True)
class TableCheck:
    """A check in an evidence table."""

    place: Place
    check: Word | None = key(Text(), "A question that is answered in words.")
    measure: Word | None = key(Text(), "What to measure.")
    unit: Word | None = key(Text(), "The unit of the reading.")
    plausible: tuple[Number, ...] | None = key(ListOf(Real(), exactly=2), "Least and most reading that is believed.")
    source: Word | None = key(Text(), "Where the limits come from.")
    takes: Duration | None = key(Clock(), "Minutes hands on; left out: 1.")
    who: Word | None = key(OneOf(("anyone", "technician")), "The least trained person who may do it.")
    say: Word | None = key(Text(), "The support desk's wording.")
    how: Word | None = key(Text(markdown=True), "How to do it.")
    tools: tuple[Word, ...] = key(ListOf(Id("tool")), "Tools that it needs.", default=())
    looks_at: tuple[Word, ...] = key(ListOf(Id("part")), "Parts of the map that it looks at.", default=())
    exposes: tuple[Word, ...] = key(_HAZARDS, "Hazards that it lays open.", default=())
    needs: tuple[Word, ...] = key(_HAZARDS, "Hazards whose power it needs.", default=())
    works_live: tuple[Word, ...] = key(_HAZARDS, "Hazards that are present while it is done.", default=())
    live_because: Word | None = key(Text(), "Why it must be done with the hazard present.")
    controls: Word | None = key(Text(), "What keeps the person safe meanwhile.")
    answers: tuple[Word, ...] = key(ListOf(Text()), "The possible answers.", default=())
    bands: tuple[TableBand, ...] = key(ListOf(Group(TableBand)), "The possible bands.", default=())

    @property
    def minutes(self) -> float:
        """Minutes hands on."""
        return self.takes.minutes if self.takes else ASSUMED_MINUTES["check"]

    @property
    def outcomes(self) -> tuple[Word, ...]:
        """The names of all answers or bands."""
        return self.answers or tuple(band.answer for band in self.bands)


@dataclass(slots=True)
class Table:
    """An evidence table: trees/tables/<id>.yml."""

    place: Place
    title: Word = key(Text(), "What the table is about.", required=True)
    causes: dict[Word, TableCause] = key(
        MapOf(Group(TableCause)), "What can be wrong; `no-fault` is reserved.", required=True, default=None
    )
    checks: dict[Word, TableCheck] = key(
        MapOf(Group(TableCheck)), "What can be looked at.", required=True, default=None
    )
    shows: dict[Word, dict[Word, tuple[Word, ...]]] = key(
        MapOf(MapOf(TextOrList())),
        "What each cause makes each check show; a list: any of these; left out: any answer.",
        required=True,
        default=None,
    )
    tree: Word | None = key(Id("tree"), "The hand-written tree that it judges.")
    id: str = ""
    file: str = ""


@dataclass(slots=True)
class Flow:
    """A way on which power, data or motion passes from part to part."""

    place: Place
    start: Word = key(Id("part"), "The part it comes from.", required=True, written="from")
    to: Word = key(Id("part"), "The part it goes to.", required=True)
    carries: Word = key(OneOf(("power", "data", "motion")), "What passes.", required=True)


@dataclass(slots=True)
class Point:
    """Where a test can be made."""

    place: Place
    id: Word = key(Id(), "The point's id.", required=True)
    at: Word = key(Id("part"), "The part where the test is made.", required=True)
    carries: Word = key(OneOf(("power", "data", "motion")), "What is tested.", required=True)
    check: Word = key(Text(), "The question.", required=True)
    takes: Duration | None = key(Clock(), "Minutes hands on.")


@dataclass(slots=True)
class Part:
    """A part on an equipment map."""

    place: Place
    name: Word = key(Text(), "What it is called.", required=True)
    share: Number | None = key(Real(least=0), "Weight of its failing among all parts.")


@dataclass(slots=True)
class EquipmentMap:
    """An equipment map: trees/maps/<id>.yml."""

    place: Place
    title: Word = key(Text(), "What the map shows.", required=True)
    parts: dict[Word, Part] = key(MapOf(Group(Part)), "The parts.", required=True, default=None)
    flows: tuple[Flow, ...] = key(ListOf(Group(Flow)), "What passes between parts.", default=())
    points: tuple[Point, ...] = key(ListOf(Group(Point)), "Where a test can be made.", default=())
    id: str = ""
    file: str = ""


@dataclass(slots=True)
class FigureColumn:
    """A column in a table of figures."""

    place: Place
    title: Word = key(Text(), "What the column holds.", required=True)
    unit: Word | None = key(Text(), "The unit of its figures, or 1 for plain numbers; left out: a column of words.")
    also: Word | None = key(Text(), "Another unit, in which each figure is shown beside its own.")


@dataclass(slots=True)
class FigureRow:
    """A row in a table of figures."""

    place: Place
    title: Word = key(Text(), "What the figures are of.", required=True)
    values: dict[Word, Word] = key(
        MapOf(Text()),
        "For each column its words, its number or its range, as in `25.6 to 25.8`; `none` where there is none.",
        required=True,
        default=None,
    )
    source: Word = key(Text(markdown=True), "Where the figures come from.", required=True)
    note: Word | None = key(Text(markdown=True), "What to mind with this row.")


@dataclass(slots=True)
class FigureTable:
    """A table of figures: content/figures/<id>.yml. Texts refer to a row as `[words](figure:table/row)`."""

    place: Place
    title: Word = key(Text(), "What the table gives.", required=True)
    head: Word = key(Text(), "The title of the first column, which names the rows.", required=True)
    columns: dict[Word, FigureColumn] = key(
        MapOf(Group(FigureColumn)), "The other columns, in order.", required=True, default=None
    )
    rows: dict[Word, FigureRow] = key(MapOf(Group(FigureRow)), "The rows, in order.", required=True, default=None)
    note: Word | None = key(Text(markdown=True), "How to use it; shown above it.")
    formula: Word | None = key(Text(markdown=True), "How computed figures were computed.")
    disagree: Word | None = key(Text(markdown=True), "Where sources disagree.")
    of_maker: bool = key(
        Flag(), "Whether these are figures of the maker of the equipment, and no fall-backs.", default=False
    )
    id: str = ""
    file: str = ""


@dataclass(slots=True)
class Library:
    """A whole library as read, with the findings of reading it."""

    root: Path
    trees: dict[str, Tree] = field(default_factory=dict)
    hazards: dict[Word, Hazard] = field(default_factory=dict)
    cautions: dict[Word, Caution] = field(default_factory=dict)
    checks: dict[Word, Step] = field(default_factory=dict)
    fixes: dict[Word, Step] = field(default_factory=dict)
    proofs: dict[Word, Proof] = field(default_factory=dict)
    equipment: dict[Word, Thing] = field(default_factory=dict)
    tools: dict[Word, Thing] = field(default_factory=dict)
    spares: dict[Word, Thing] = field(default_factory=dict)
    words: tuple[tuple[Word, ...], ...] = ()
    desk: tuple[DeskQuestion, ...] = ()
    settings: Settings | None = None
    moved: tuple[Moved, ...] = ()
    """Ids that changed, in the order in which they did."""
    counts: Counts | None = None
    """What visit records taught, where that was counted."""
    tables: dict[str, Table] = field(default_factory=dict)
    maps: dict[str, EquipmentMap] = field(default_factory=dict)
    figures: dict[str, FigureTable] = field(default_factory=dict)
    texts: Mapping[str, str | None] = field(default_factory=dict)
    """What was read in place of files that lie there, and with None what was taken as removed."""
    findings: list[Finding] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    """Names of files that could not be read at all: what they would have declared is unknown."""
    doubts: Doubts = field(default_factory=Doubts)
    """What was written but could not be read."""
    tree_files: int = 0
    """How many tree files were found, broken ones too."""

    @property
    def title(self) -> str:
        """The library's title."""
        return str(self.settings.title) if self.settings and self.settings.title else "Fault trees"

    @property
    def language(self) -> str:
        """The language of the library, as in `en`."""
        return str(self.settings.language) if self.settings and self.settings.language else "en"

    @property
    def key(self) -> str:
        """What visits, and what is stored of them, are told by from those of other libraries: 12 hex digits."""
        site_url = self.settings.site_url if self.settings else None
        return hashlib.sha256(str(site_url or self.title).encode()).hexdigest()[:12]

    def steps(self) -> list[tuple[Tree, Word, Step]]:
        """Return every step of every tree with its tree and id."""
        return [(tree, name, step) for tree in self.trees.values() for name, step in tree.steps.items()]

    def cautions_for(self, hazard: str) -> list[Word]:
        """Return the ids of the cautions that warn of a hazard."""
        return [name for name, caution in self.cautions.items() if caution.hazard == hazard]
