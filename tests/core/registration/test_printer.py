"""A printer's record: its states, its file, and what a hand-edited file is told."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.geometry import Edges
from server.core.registration import Drift, Reading
from server.core.registration.printer import Printer, named
from server.core.registration.printer_file import printer_from_text, printer_text, printer_to_json
from server.core.sizes import paper_named
from server.errors import BadValue, FitError

TODAY = date(2026, 11, 25)
STATIONS = [(30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0)]
PLAIN = Printer("Harbour office", paper_named("a4"), margins=Edges(4, 4, 4, 12), feed="tray 2")


def readings(drift: Drift, sheets: int = 1) -> tuple[Reading, ...]:
    found = []
    for sheet in range(sheets):
        for x, y in STATIONS:
            dx, dy = drift.at((x, y))
            found.append(Reading(str(sheet), x, y, dx + 0.1 * sheet, dy + 0.1 * sheet))
    return tuple(found)


DRIFT = Drift.of(PLAIN.centre, 1.2, 0.8, 0.1, 0.998, 0.998)
TRUED, _ = PLAIN.fitted(readings(DRIFT, 3), TODAY)
CONFIRMED, _ = TRUED.confirmed_by(readings(Drift.of(PLAIN.centre, 0.1, -0.1)), TODAY)


def test_states():
    assert PLAIN.state(TODAY) == "not trued up"
    assert TRUED.state(TODAY) == "trued up"
    assert TRUED.state(date(2027, 5, 24)) == "trued up"  # 180 days on
    assert TRUED.state(date(2027, 5, 25)) == "old"
    assert TRUED.note == "made for Harbour office, trued up 2026-11-25"
    assert PLAIN.note == "made for Harbour office, not trued up"


def test_the_plain_way():
    shifted = PLAIN.shifted(1.2, 0.8, TODAY)
    assert shifted.drift is not None
    assert (shifted.drift.dx_mm, shifted.drift.dy_mm) == pytest.approx((1.2, 0.8), abs=1e-9)
    assert shifted.wander.radius_mm is None and "Nobody has measured" in shifted.wander.says()


@pytest.mark.parametrize("printer", [PLAIN, TRUED, CONFIRMED, PLAIN.shifted(-2, 3, TODAY),
                                     replace(PLAIN, paper=paper_named("8.3x11.7in"), flip="short-edge"),
                                     replace(TRUED, front_scale=(0.997, 0.999))])
def test_file_round_trip(printer):
    back = printer_from_text(printer_text(printer))
    assert printer_to_json(back) == printer_to_json(printer)
    same = {"drift": None, "confirmed": None, "paper": PLAIN.paper}
    assert replace(back, **same) == replace(printer, **same)  # type: ignore[arg-type]
    if printer.drift:
        assert back.drift is not None
        assert all(back.drift.at(corner) == pytest.approx(printer.drift.at(corner), abs=1e-5)
                   for corner in printer.page.corners)
    assert printer_text(back) == printer_text(printer)


def test_the_file_says_what_it_is():
    data = printer_to_json(TRUED)
    assert (data["format"], data["version"], data["paper"]) == ("lampfold-printer", 1, "a4")
    assert data["trued_up"] == "2026-11-25" and len(data["readings"]) == 15


@pytest.mark.parametrize(("field", "value", "says"), [
    ("format", "other", "format is 'other'"), ("version", 2, "version 2"), ("paper", "a11", "a11"),
    ("name", " ", "' '"), ("unit", "in", "unit is 'in'"),
    ("flip", "sideways", "flip: 'sideways'"), ("trued_up", "yesterday", "trued_up: 'yesterday'"),
    ("trued_up", None, "come together"), ("margins_mm", {"left": -1}, "margins_mm: left: -1"),
    ("margins_mm", 5, "5 where"),
    ("readings", "1,2", "readings: '1,2'"), ("readings", [{"sheet": 1}], "readings 1: sheet: 1"),
    ("drift", {"dx_mm": float("nan")}, "drift: dx_mm: nan"), ("drift", {"dx_mm": True}, "drift: dx_mm: True"),
    ("front_scale", {"x": 10 ** 400, "y": 1}, "front_scale: x"),
    ("wander", {"sheets": 1, "at_mm": [1, "2"]}, "at_mm"),
])
def test_what_a_bad_file_is_told(field, value, says):
    data = printer_to_json(TRUED) | {field: value}
    with pytest.raises(BadValue) as caught:
        printer_from_text(json.dumps(data), "printer.json")
    assert says in caught.value.message and caught.value.message.startswith("printer.json")


def test_a_drift_beyond_any_printer_is_refused():
    data = printer_to_json(TRUED)
    data["drift"]["dx_mm"] = 40
    with pytest.raises(BadValue, match="shift"):
        printer_from_text(json.dumps(data))
    with pytest.raises(FitError, match="scale: 10 %"):
        PLAIN.fitted(readings(Drift.of(PLAIN.centre, scale_x=0.9, scale_y=0.9)), TODAY)


@given(st.text(max_size=200))
def test_any_text_is_a_printer_or_refused(text):
    with pytest.raises(BadValue):
        printer_from_text(text)


def test_a_confirming_sheet_shows_before_and_after():
    assert CONFIRMED.confirmed is not None
    assert CONFIRMED.confirmed.drift.dx_mm == pytest.approx(0.1, abs=1e-9)
    refined = CONFIRMED.refined()
    whole = refined.drift
    assert whole is not None
    # what the corrected sheet still shows comes on top of the first drift
    assert (whole.dx_mm, whole.dy_mm) == pytest.approx((1.3 + 0.1, 0.9 - 0.1), abs=1e-9)
    assert refined.confirmed is None and refined.wander.sheets == 3
    with pytest.raises(BadValue, match="no confirming sheet"):
        TRUED.refined()


def test_a_new_true_up_forgets_the_old_confirmation():
    assert CONFIRMED.shifted(0.5, 0.5, TODAY).confirmed is None


def test_names():
    assert named("  Office   laser ") == "Office laser"
    for bad in ("", "  ", "x" * 81, "a\x00b"):
        with pytest.raises(BadValue):
            named(bad)
