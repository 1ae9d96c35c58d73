"""The words of the interface: one file for each language, and figures, dates and lists as the language writes them.

`words.<language>.yaml` beside this module holds every text of pages, walk, pocket file and book. What a
language has for all of them alike, its plural forms, dates and lists, comes from the Unicode CLDR.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import yaml
from babel import Locale, UnknownLocaleError
from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import format_decimal, get_decimal_symbol

from kb_tools.findings import BuildError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date
    from typing import Literal

    from kb_tools.model.entities import Library

Node: TypeAlias = "str | list[str] | dict[str, Node]"
"""A text, a list of texts, or a group of them."""

FOLDER = Path(__file__).parent
FALLBACK = "en"
"""What the interface speaks where it has no words of a library's language; the measure of every other file."""
WALK = "walk"
"""The group whose words go to the browser."""
_FORMS = frozenset(("zero", "one", "two", "few", "many", "other"))
_FIELD = re.compile(r"\{([a-z_]*)\}")
_FORBIDDEN = re.compile('[<>&"]')
_LEAST, _MOST = 0.01, 0.99
_SURE, _TENTHS, _ROUND = 0.95, 0.15, 20


class Words:
    """The words of one language."""

    def __init__(self, language: str, content: Mapping[str, Node]) -> None:
        """Take the content of a file, in which `faults_of` finds nothing.

        Args:
            language: What the file is named by, as in `en`.
            content: What stands in it.

        """
        self.language = language
        self.walk: Node = content[WALK]
        """The words of the scripts, as they stand in the file."""
        self.locale = str(content["locale"])
        """The language tag (BCP 47) by which dates and counts are written."""
        self._locale = _locale(content)
        self._texts: dict[str, str] = {}
        self._forms: dict[str, dict[str, str]] = {}
        for key, node in leaves(content):
            if isinstance(node, dict):
                self._forms[key] = {form: str(text) for form, text in node.items()}
            elif isinstance(node, str):
                self._texts[key] = node
        self._point = get_decimal_symbol(self._locale)

    @property
    def texts(self) -> dict[str, str]:
        """Every text that has one form, by its key: `group.name`."""
        return self._texts

    def say(self, key: str, /, **fields: object) -> str:
        """Return a text with its fields filled in.

        Args:
            key: Where it stands, as in `tree.begin`.
            fields: What stands in place of `{name}`.

        Raises:
            BuildError: when there is no such text, or a field of it is not given.

        """
        try:
            return self._texts[key].format_map(fields)
        except KeyError as error:
            raise self._missing(key, error) from error

    def text(self, key: str) -> str:
        """Return a text that is not filled in; see `say` for what is raised."""
        try:
            return self._texts[key]
        except KeyError as error:
            raise self._missing(key, error) from error

    def form(self, key: str, number: float) -> str:
        """Return the form of a text that goes with a number, not filled in; see `say` for what is raised."""
        try:
            forms = self._forms[key]
        except KeyError as error:
            raise self._missing(key, error) from error
        return forms.get(self._locale.plural_form(number), forms["other"])

    def count(self, key: str, number: int, /, **fields: object) -> str:
        """Return a text in the form that goes with a number, which stands in place of `{n}`; see `say`."""
        try:
            return self.form(key, number).format(n=self.number(number), **fields)
        except KeyError as error:
            raise self._missing(key, error) from error

    def _missing(self, key: str, error: KeyError) -> BuildError:
        return BuildError(f"{file_of(self.language).name}: {key}: there is no {error.args[0]}")

    def number(self, number: int) -> str:
        """Return a whole number as in `1,200`."""
        return str(number) if 0 <= number < 1000 else format_decimal(number, locale=self._locale)  # noqa: PLR2004

    def figure(self, value: float, digits: str = "g") -> str:
        """Return a figure in the digits of a format specification, with the language's decimal sign."""
        return f"{value:{digits}}".replace(".", self._point)

    def minutes(self, value: float) -> str:
        """Return a span of time, given in minutes, as in `30 s`, `5 min` or `1 h 20 min`."""
        seconds = round(value * 60)
        if seconds < 60:  # noqa: PLR2004 - seconds of a minute
            return self.say("figures.seconds", n=seconds)
        whole = round(value)
        if whole < 60:  # noqa: PLR2004 - minutes of an hour
            return self.say("walk.minutes", n=whole)
        hours, rest = divmod(whole, 60)
        return self.say("walk.hours", h=hours, m=rest) if rest else self.say("walk.whole_hours", h=hours)

    def minutes_and_tenths(self, value: float) -> str:
        """Return minutes with a tenth, where a few of them are compared."""
        return self.say("figures.minutes_and_tenths", n=self.figure(value, ".1f"))

    def day(self, value: date) -> str:
        """Return a date as in `14 October 2026`."""
        return format_date(value, "long", locale=self._locale)

    def listed(self, items: Iterable[str], style: Literal["standard", "or"] = "standard") -> str:
        """Return a list in words, as in `a, b and c`, or with `or`."""
        return format_list(list(items), style, self._locale)

    def percent(self, chance: float) -> str:
        """Return a chance as a figure."""
        if 0 < chance < _LEAST:
            return self.say("figures.percent_least")
        if _MOST < chance < 1:
            return self.say("figures.percent_most")
        return self.say("figures.percent", n=f"{100 * chance:.0f}")

    def in_ten(self, chance: float) -> str:
        """Return a chance in the words that the walk uses, as in `about 8 in 10`."""
        if chance >= _SURE:
            return self.say("figures.nearly_all" if chance < 1 else "figures.all")
        if chance >= _TENTHS:
            return self.say("walk.odds_tenths", n=f"{chance * 10:.0f}")
        if chance < _LEAST:
            return self.say("figures.very_few" if chance else "figures.none")
        one = 1 / chance
        return self.say("walk.odds_one_in", n=f"{one:.0f}" if one < _ROUND else round(one / 10) * 10)


def words_of(library: Library) -> Words:
    """Return the words of a library's language; English where there is no file for it."""
    language = library.language
    known = languages()
    return words_in(next((name for name in (language, language.partition("-")[0]) if name in known), FALLBACK))


@cache
def languages() -> frozenset[str]:
    """Return the languages that there are words of."""
    return frozenset(path.name.split(".")[1] for path in FOLDER.glob("words.*.yaml"))


def file_of(language: str) -> Path:
    """Return the file that holds the words of a language."""
    return FOLDER / f"words.{language}.yaml"


@cache
def words_in(language: str) -> Words:
    """Return the words of a language.

    Raises:
        BuildError: when its file cannot be read, or does not hold what the English one holds.

    """
    content = content_of(language)
    if faults := faults_of(content, content if language == FALLBACK else content_of(FALLBACK)):
        raise BuildError(f"{file_of(language).name}: {'; '.join(faults)}")
    return Words(language, content)


def content_of(language: str) -> dict[str, Node]:
    """Return what stands in the file of a language, all of it as text.

    Raises:
        BuildError: when it cannot be read.

    """
    try:
        content = yaml.load(file_of(language).read_text("utf-8"), yaml.CBaseLoader)  # noqa: S506 - texts only
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
        raise BuildError(f"{file_of(language).name}: {error}") from error
    if not isinstance(content, dict):
        raise BuildError(f"{file_of(language).name} holds no words")
    return content


def _locale(content: Mapping[str, Node]) -> Locale:
    return Locale.parse(str(content.get("locale")), sep="-")


def faults_of(content: Mapping[str, Node], english: Mapping[str, Node]) -> list[str]:
    """Return what is wrong with the words of a language, in words.

    Args:
        content: What stands in its file.
        english: What stands in the English one, the measure: the same keys with the same fields.

    """
    try:
        forms = {"other", *_locale(content).plural_form.tags}
    except (UnknownLocaleError, ValueError) as error:
        return [f"locale: {error}"]
    own, meant = dict(leaves(content)), dict(leaves(english))
    faults = [f"{key} is missing" for key in meant if not own.get(key)]
    faults += [f"{key} stands for nothing" for key in own if key not in meant]
    for key, node in own.items():
        if any(_FORBIDDEN.search(text) for text in _texts_in(node)):
            faults.append(f'{key} holds one of < > & "')
        if not node or isinstance(node, list) or key not in meant:
            continue
        if type(node) is not type(meant[key]) or (isinstance(node, dict) and "other" not in node):
            faults.append(f"{key} is not of the form that English has")
        elif odd := _fields(node) ^ _fields(meant[key]):
            faults.append(f"{key} differs in {', '.join(f'{{{name}}}' for name in sorted(odd))}")
        elif isinstance(node, dict) and (never := node.keys() - forms):
            faults.append(f"{key} has a form that no number takes: {', '.join(sorted(never))}")
    return faults


def leaves(node: Mapping[str, Node], at: str = "") -> Iterator[tuple[str, Node]]:
    """Yield each text, list or set of plural forms with its key."""
    for name, inside in node.items():
        if isinstance(inside, dict) and not (inside and inside.keys() <= _FORMS):
            yield from leaves(inside, f"{at}{name}.")
        else:
            yield f"{at}{name}", inside


def _texts_in(node: Node) -> list[str]:
    return (
        [node] if isinstance(node, str) else [str(text) for text in (node.values() if isinstance(node, dict) else node)]
    )


def _fields(node: Node) -> set[str]:
    """Return the fields of a text, or of any form of it."""
    return {name for text in _texts_in(node) for name in _FIELD.findall(text)}
