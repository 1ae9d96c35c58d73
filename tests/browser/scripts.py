"""How a test's expression is run in a page, alike in every engine."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from browser.browsing import ScriptError

_WRAPPER = """(async () => {
  try {
    const value = await (%s
    );
    return JSON.stringify({value: value === undefined ? null : value, truthy: Boolean(value)});
  } catch (error) {
    const text = error instanceof Error ? `${error.name}: ${error.message}` : JSON.stringify(error);
    return JSON.stringify({error: error && error.code ? `${error.code}: ${text}` : text});
  }
})()"""

VISIBLE = (
    "(element => Boolean(element && element.checkVisibility({visibilityProperty: true})))(document.querySelector(%s))"
)
"""Whether the first element that matches is shown; holds a selector as a JavaScript literal."""

BLANK = Path(__file__).parent / "probe" / "blank.html"
FORGET = """(async () => {
  localStorage.clear();
  sessionStorage.clear();
  for (const {name} of await indexedDB.databases()) {
    await new Promise((resolve, reject) => {
      const request = indexedDB.deleteDatabase(name);
      request.onsuccess = resolve;
      request.onerror = request.onblocked = () => reject(new Error(`database ${name} is in use`));
    });
  }
  return true;
})()"""
"""Empties what the open page can reach of its device's storage."""


def wrapped(expression: str) -> str:
    """Return an expression for a promise of a JSON text that `unwrapped` reads."""
    return _WRAPPER % expression.strip().rstrip(";")


def unwrapped(answer: str) -> Any:  # noqa: ANN401 - whatever JSON the page returns
    """Return the value of a wrapped expression.

    Raises:
        ScriptError: The expression threw.

    """
    return judged(answer)[1]


def judged(answer: str) -> tuple[bool, Any]:
    """Return whether the value of a wrapped expression is true to JavaScript, and the value.

    Raises:
        ScriptError: The expression threw.

    """
    result = json.loads(answer)
    if "error" in result:
        raise ScriptError(result["error"])
    return result["truthy"], result["value"]


def literal(text: str) -> str:
    """Return a text as a JavaScript literal."""
    return json.dumps(text)
