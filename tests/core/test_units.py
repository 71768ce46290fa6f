"""Lengths as people type them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.units import MM_PER_INCH, POINTS_PER_MM, mm_text, parse_length, parse_size
from server.errors import BadValue


def test_the_two_fixed_ratios() -> None:
    assert MM_PER_INCH == 25.4  # international yard and pound agreement, 1959: exact
    assert pytest.approx(72) == POINTS_PER_MM * 25.4  # ISO 32000-1, 8.3.2.3: a unit is 1/72 in


@pytest.mark.parametrize(("text", "mm"), [
    ("3", 3.0), ("3 mm", 3.0), ("3MM", 3.0), (" 3.5mm ", 3.5), ("0,5", 0.5), (".5", 0.5), ("3.", 3.0), ("1.2cm", 12.0),
    ("1in", 25.4), ("0.125 in", 3.175), ("0,125in", 3.175), ('2.5"', 63.5), ("72pt", 25.4), ("1 inch", 25.4),
    ("3.5 inches", 88.9), ("-1.2mm", -1.2), ("+2", 2.0),
])
def test_lengths(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize("text", ["", "mm", "three", "3 ft", "1e3", "nan", "inf", "1 2", "3mm mm", "0x10", "9" * 400])
def test_what_is_no_length_is_refused_by_name(text: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_length(text, "bleed")
    assert caught.value.message.startswith("bleed: ")
    assert "0.125in" in caught.value.fix


@pytest.mark.parametrize(("text", "size"), [
    ("63x88", (63, 88)), ("63 X 88", (63, 88)), ("63×88mm", (63, 88)), ("2.5x3.5in", (63.5, 88.9)),
    ("2.5in x 88.9mm", (63.5, 88.9)), ('8.5 x 11"', (215.9, 279.4)), ("63*88", (63, 88)), ("6.3x8.8 cm", (63, 88)),
])
def test_sizes(text: str, size: tuple[float, float]) -> None:
    assert parse_size(text) == pytest.approx(size, abs=1e-9)


@pytest.mark.parametrize("text", ["63", "63x", "x88", "63x88x2", "0x88", "63x-88", "axb", ""])
def test_what_is_no_size_is_refused_by_name(text: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_size(text, "card")
    assert caught.value.message.startswith("card: ")
    assert caught.value.fix


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
