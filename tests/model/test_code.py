"""Walk codes against published examples, and what a code must hold."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb_tools.model import code as codes
from kb_tools.model.code import ALPHABET, LONGEST, Parts, WalkProblem

CODES = st.builds(Parts, st.integers(0, 1 << 500), st.integers(0, (1 << 20) - 1), st.integers(0, (1 << 20) - 1))
DIGITS = st.lists(st.integers(2, 40).flatmap(lambda radix: st.tuples(st.integers(1, radix - 1), st.just(radix))))


def test_symbols_of_a_known_number() -> None:
    """1234 is 16J with check symbol D, as in common examples of Crockford's base 32 (from memory)."""
    assert codes.write(Parts(0, 0, 1234)) == "0000-016J-D"
    assert ALPHABET.index("D") == 1234 % 37


@pytest.mark.parametrize("written", ["0000-016J-D", "0000016jd", "oOo0 0I6j d", " ooool6J\u2013D\n", "0000 0L6J D"])
def test_as_it_may_be_typed(written: str) -> None:
    """Case, hyphens and spaces do not matter; I and L are read as 1, O as 0."""
    assert codes.read(written) == Parts(0, 0, 1234)


@given(CODES)
def test_a_code_leads_back(parts: Parts) -> None:
    """Writing and reading a code gives back what stands in it; groups are of four, nine symbols at least."""
    text = codes.write(parts)
    assert codes.read(text) == parts
    assert codes.read(text.lower()) == parts
    *whole, last = text.split("-")
    assert all(len(group) == 4 for group in whole)
    assert 1 <= len(last) <= 4
    assert len(text.replace("-", "")) >= 9


@given(DIGITS)
def test_digits_come_back_in_their_order(digits: list[tuple[int, int]]) -> None:
    """A packed row of digits is taken apart again from its first digit on, and nothing is left."""
    number = codes.pack(digits)
    for digit, radix in digits:
        number, found = divmod(number, radix)
        assert found == digit
    assert number == 0


def test_the_longest_code() -> None:
    """A code of 120 symbols is read, one of 121 is refused, however it is spaced."""
    fits = "A" * (LONGEST - 1)
    value = int("01010" * (LONGEST - 1), 2)
    check = codes.CHECK_SYMBOLS[value % 37]
    assert codes.read(fits + check).number == value >> 40
    for text in ("A" + fits + check, "-".join("A" + fits + check), "-" * 1000):
        with pytest.raises(WalkProblem) as caught:
            codes.read(text)
        assert caught.value.code == "too-long"


def test_fingerprints_are_folded_by_fnv_1a() -> None:
    """FNV-1a of `foob` is 3f5076ef (test vectors of the FNV specification, from memory), folded by exclusive or."""
    whole = 0x3F5076EF
    assert codes.fold([int.from_bytes(b"foob", "big")]) == (whole ^ whole >> 20) & 0xFFFFF
    assert codes.fold([]) == (0x811C9DC5 ^ 0x811C9DC5 >> 20) & 0xFFFFF
    assert codes.fold([1, 2]) != codes.fold([2, 1])


def test_a_tree_is_named_by_its_hash() -> None:
    """The tag is the first 20 bits of SHA-256: of `abc` that is ba7816bf... (FIPS 180-4 example)."""
    assert codes.tag_of("abc") == 0xBA781
