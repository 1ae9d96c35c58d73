"""Share a step's body: what several trees ask or mend alike stands once, and the steps use it.

What a step may set itself stays in the tree: where its answers lead, share, cures, not_cured,
stop_use, leave. The lines that move are those that the author wrote, with their comments.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode

from kb_tools.author.rename import shared_words
from kb_tools.author.splice import child, find
from kb_tools.author.yaml_text import mapping
from kb_tools.findings import UsageError
from kb_tools.model.entities import OWN_KEYS_WITH_USE
from kb_tools.model.values import is_id
from kb_tools.source.files import TREES

if TYPE_CHECKING:
    from kb_tools.author.change import Change
    from kb_tools.model.entities import Library, Step, Tree

_FILES = {"check": "checks", "fix": "fixes"}
_STAYS = OWN_KEYS_WITH_USE - {"who", "say"}
"""The words and who may do it are the same wherever the body is used."""


def share_step(change: Change, library: Library, tree: Tree, step_id: str, name: str) -> str:
    """Move a step's body into the shared file.

    Args:
        change: Takes the new texts.
        library: The library as it stands.
        tree: The tree.
        step_id: A step of it that is a check, a measurement or a fix with a body of its own.
        name: The id of the shared item.

    Returns:
        The shared file.

    Raises:
        UsageError: when the step cannot be shared, or the id is taken.

    """
    step = tree.steps[step_id]  # type: ignore[index]
    kind = shared_words(step)
    shelf = library.fixes if kind == "fix" else library.checks
    if not is_id(name) or name in shelf:
        raise UsageError(f"{name!r} is no id, or the shared {kind} is there already; give another with --id")
    sheet = change.sheet(tree.file)
    group = child(sheet.root, "steps", step_id)
    if not isinstance(group, MappingNode) or group.flow_style:
        raise UsageError(f"{tree.file}: write the step {step_id} a key a line first; between braces it cannot be moved")
    lines = [f"{name}:"]
    indent = group.value[0][0].start_mark.column
    for at, (key, value) in enumerate(group.value):
        if key.value in _STAYS:
            continue
        first, *rest = sheet.lines_of(key, value)
        lines += [f"  {first}", *(_shifted(line, 2 - indent) for line in rest)]
        if key.value == step.kind:
            sheet.replace_pair(key, value, [f"{step.kind}: {{use: {name}}}"])
        else:
            sheet.remove_pair(group, at)
    lines += mapping({"answers": _wording(step)}, "  ")
    change.take(sheet)
    known = next(iter(shelf.values()), None)
    file = known.place.file if known else f"{TREES}/shared/{_FILES[kind]}.yml"
    text = change.text(file)
    if text is None:
        change.texts[file] = "\n".join(lines) + "\n"
    else:
        shared = change.sheet(file)
        if not isinstance(shared.root, MappingNode) or shared.root.flow_style or find(shared.root, name) is not None:
            raise UsageError(f"{file} is written in a way that cannot be changed here; add {name} by hand")
        shared.add_lines(shared.root, lines, apart=True)
        change.take(shared)
    return file


def _shifted(line: str, by: int) -> str:
    """Return a line moved to the right, or to the left as far as it is blank there."""
    if by >= 0 or not line.strip():
        return " " * max(0, by) + line if line.strip() else line
    return line[min(-by, len(line) - len(line.lstrip())) :]


def _wording(step: Step) -> list[dict[str, Any]]:
    """Return the answers of a check as the shared item words them."""
    return [
        {"answer": str(answer.answer), "say": str(answer.say) if answer.say else None, "unsure": answer.unsure or None}
        for answer in step.answers or ()
    ]
