"""Readings as people type them: both tables, mm and inch, and what is refused by line and value."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.registration import Reading, parse_plain, parse_readings, readings_csv
from server.core.registration.readings import at_station
from server.errors import BadValue

STATIONS = {1: (30.0, 30.0), 2: (180.0, 30.0), 3: (105.0, 148.5), 4: (30.0, 267.0), 5: (180.0, 267.0)}


def test_by_station():
    readings = parse_readings("sheet,station,dx_mm,dy_mm\n1,1,1.2,-0.8\n1,3,1.1,-0.7\n", STATIONS)
    assert [(r.sheet, r.station, r.point, r.dx_mm, r.dy_mm) for r in readings] == [
        ("1", 1, (30.0, 30.0), 1.2, -0.8), ("1", 3, (105.0, 148.5), 1.1, -0.7)]


def test_by_point_in_inches():
    # 1 in = 25.4 mm exactly
    reading, = parse_readings("sheet,x_in,y_in,dx_in,dy_in\nA,1,2,0.05,-0.02\n", STATIONS)
    assert (reading.x_mm, reading.y_mm) == pytest.approx((25.4, 50.8))
    assert (reading.dx_mm, reading.dy_mm) == pytest.approx((1.27, -0.508))
    assert reading.station is None


@pytest.mark.parametrize("text", [
    "\ufeffSheet;Station;dx mm;dy mm\r\n1;1;1,2;−0,8\r\n",  # a spreadsheet where the decimal sign is a comma
    "sheet\tstation\tdx\tdy\n1\t1\t1.2mm\t-0.8\n",
    "# read by daylight\nsheet,station,dx_mm,dy_mm\n\n1,1,1.2,-0.8\n1,2,,\n",
    "dy_mm,dx_mm,station,sheet\n-0.8,1.2,1,1\n",
])
def test_spreadsheets_of_all_kinds(text):
    reading, = parse_readings(text, STATIONS)
    assert (reading.station, reading.dx_mm, reading.dy_mm) == (1, 1.2, -0.8)


def test_bare_columns_take_the_unit_asked_for():
    reading, = parse_readings("sheet,station,dx,dy\n1,1,0.1,0.25mm\n", STATIONS, unit="in")
    assert (reading.dx_mm, reading.dy_mm) == pytest.approx((2.54, 0.25))


@pytest.mark.parametrize(("text", "says"), [
    ("", "empty"),
    ("sheet,station,dx_mm,dy_mm\n", "no line holds"),
    ("sheet,place,dx_mm,dy_mm\n1,1,1,1\n", "'place'"),
    ("sheet,station,dx_mm\n1,1,1\n", "don't say where"),
    ("sheet,station,x_mm,y_mm,dx_mm,dy_mm\n1,1,1,1,1,1\n", "don't say where"),
    ("sheet,station,dx_mm,dy_mm\n1,9,1.0,1.0\n", "line 2: there is no station '9'"),
    ("sheet,station,dx_mm,dy_mm\n1,1,1.0,abc\n", "line 2, dy: 'abc'"),
    ("sheet,station,dx_mm,dy_mm\n1,,1.0,\n", "line 2: station is empty"),
    ("sheet,station,dx_mm,dy_mm\n1,1,1.0,1\n1,1,1.1,1\n", "line 3: sheet 1, station 1 was already read in line 2"),
    ("sheet,station,dx_mm,dy_mm\n1,1,1,2,0,8\n", "line 2: 6 fields under 4 headings"),
    ("sheet,station,dx_mm,dy_mm\n1,1,1e400,0\n", "line 2, dx"),
    ("sheet,x_mm,y_mm,dx_mm,dy_mm\n1,99999,0,0,0\n", "line 2, x"),
    ('sheet,station,dx_mm,dy_mm\n1,"1,1,1\n', "not a CSV table"),
])
def test_what_is_refused_names_line_and_value(text, says):
    with pytest.raises(BadValue) as caught:
        parse_readings(text, STATIONS)
    assert says in caught.value.message and caught.value.fix


def test_half_a_reading_counts_for_its_axis():
    found = parse_readings("sheet,station,dx_mm,dy_mm\n1,1,1.2,\n1,2,,0.8\n1,3,,\n", STATIONS)
    assert [one.numbers for one in found] == [(1.2, None), (None, 0.8)]
    assert parse_readings(readings_csv(found), STATIONS) == found


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text):
    try:
        parse_readings("sheet,station,dx_mm,dy_mm\n" + text, STATIONS)
    except BadValue as error:
        assert error.message and error.fix


@given(st.lists(st.tuples(st.sampled_from("123"), st.sampled_from(sorted(STATIONS)), st.integers(-40, 40),
                          st.integers(-40, 40)), min_size=1, max_size=12, unique_by=lambda row: row[:2]))
def test_csv_round_trip(rows):
    by_station = tuple(at_station(sheet, number, STATIONS[number], dx / 10, dy / 10) for sheet, number, dx, dy in rows)
    assert parse_readings(readings_csv(by_station), STATIONS) == by_station
    by_point = tuple(Reading(r.sheet, *r.point, r.dx_mm, r.dy_mm) for r in by_station)
    assert parse_readings(readings_csv(by_point), STATIONS) == by_point


@pytest.mark.parametrize(("text", "shift"), [
    ("the back lands 1.2 mm right and 0.8 mm low", (1.2, 0.8)),
    ("1.2 right 0.8 low", (1.2, 0.8)), ("0.5 left, 1 high", (-0.5, -1.0)), ("1,5 mm to the left", (-1.5, 0.0)),
    ("0.05in down", (0.0, 1.27)), ("1.2,0.8", (1.2, 0.8)), ("-1.2, 0.8", (-1.2, 0.8)), ("1,2;-0,8", (1.2, -0.8)),
    ("1.2 0.8", (1.2, 0.8)), ("−1.2 mm, 0.8 mm", (-1.2, 0.8)),
])
def test_the_plain_way(text, shift):
    assert parse_plain(text) == pytest.approx(shift)


@pytest.mark.parametrize("text", ["", "1.2", "right", "1 right 2 left", "a,b", "1,2,3"])
def test_no_plain_pair(text):
    with pytest.raises(BadValue) as caught:
        parse_plain(text)
    assert repr(text) in caught.value.message
