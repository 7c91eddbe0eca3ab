"""Short columns of the map page: what is packed is read back the same."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maps.packing import ALPHABET, packed_numbers, packed_run, packed_texts


def unpacked(text: str) -> list[int | None]:
    """Read back by the rules of the module's docstrings, not by its code."""
    plain = re.sub(r"(.)\{(\d+)\}", lambda run: run[1] * int(run[2]), text)
    values: list[int | None] = []
    letters = iter(plain)
    for letter in letters:
        count = {"~": 2, "|": 4}.get(letter, 0)
        digits = [next(letters) for _ in range(count)] or [letter]
        number = 0
        for digit in digits:
            number = number * len(ALPHABET) + ALPHABET.find(digit)
        values.append(None if letter == " " else number)
    return values


@given(st.lists(st.one_of(st.none(), st.integers(0, 90), st.integers(0, 10_000_000))))
def test_numbers_and_blanks_come_back(values: list[int | None]) -> None:
    packed = packed_numbers(float("nan") if value is None else value for value in values)
    assert unpacked(packed) == values


def test_the_alphabet_needs_no_escape_and_has_no_sign_of_its_own() -> None:
    assert len(set(ALPHABET)) == len(ALPHABET)
    assert set(ALPHABET) & set("\"\\<>&{}~|' ") == set()


def test_a_long_run_is_short() -> None:
    assert packed_run("o" * 10_000) == "o{10000}"


@pytest.mark.parametrize("value", [-1, 0.5, len(ALPHABET) ** 4])
def test_what_cannot_be_packed_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match=rf"values must be whole numbers.*Got {value}"):
        packed_numbers([value])


def test_texts_keep_their_rows() -> None:
    texts, places = packed_texts(["a", "b", "a"])
    assert texts == ["a", "b"]
    assert unpacked(str(places)) == [0, 1, 0]
