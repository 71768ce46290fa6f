"""Lengths as people type them."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.units import MM_PER_INCH, POINTS_PER_MM, mm_text, parse_length, parse_size
from server.errors import BadValue

# One list for the server and the pages' script; tests/browser/test_lengths.py holds the script to it.
LENGTHS = json.loads((Path(__file__).parent.parent / "lengths.json").read_text(encoding="utf-8"))


def test_the_two_fixed_ratios() -> None:
    assert MM_PER_INCH == 25.4  # international yard and pound agreement, 1959: exact
    assert pytest.approx(72) == POINTS_PER_MM * 25.4  # ISO 32000-1, 8.3.2.3: a unit is 1/72 in


@pytest.mark.parametrize(("text", "mm"), LENGTHS["lengths"])
def test_lengths(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(("text", "mm"), LENGTHS["inches"])
def test_lengths_where_a_bare_number_is_inches(text: str, mm: float) -> None:
    assert parse_length(text, unit="in") == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(("text", "why", "fix"), LENGTHS["refused_lengths"])
def test_what_is_no_length_is_refused_by_name(text: str, why: str, fix: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_length(text, "bleed")
    assert (caught.value.message, caught.value.fix) == (f"bleed: '{text}' {why}", fix)


@pytest.mark.parametrize("text", ["9" * 400, "9" * 400 + "/1in", "1/" + "0" * 400 + "in", "3 ın", "3 incheſ", "\ud800"])
def test_what_no_hand_types_is_refused_alike(text: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_length(text, "bleed")
    assert "is no length" in caught.value.message and len(caught.value.message) < 90
    caught.value.message.encode()


@pytest.mark.parametrize(("text", "width", "height"), LENGTHS["sizes"])
def test_sizes(text: str, width: float, height: float) -> None:
    assert parse_size(text) == pytest.approx((width, height), abs=1e-9)


@pytest.mark.parametrize(("text", "why", "fix"), LENGTHS["refused_sizes"])
def test_what_is_no_size_is_refused_by_name(text: str, why: str, fix: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_size(text, "card")
    assert caught.value.message.startswith("card: ") and caught.value.message.endswith(why)
    assert caught.value.fix == fix


@pytest.mark.parametrize(("value", "text"), [
    (63.0, "63"), (88.9, "88.9"), (0.0, "0"), (-0.001, "0"), (-1.5, "-1.5"), (100.0, "100"),
])
def test_lengths_for_people(value: float, text: str) -> None:
    assert mm_text(value) == text


@given(st.floats(-1000, 1000, allow_nan=False))
def test_what_is_written_is_read_back(value: float) -> None:
    assert math.isclose(parse_length(mm_text(value, 4)), value, abs_tol=0.00006)


@given(st.floats(0.01, 500), st.floats(0.01, 500))
def test_inches_and_millimetres_agree(width: float, height: float) -> None:
    by_inch = parse_size(f"{width / 25.4:.9f}x{height / 25.4:.9f}in")
    assert by_inch == pytest.approx(parse_size(f"{width:.9f}x{height:.9f}"), abs=1e-6)
