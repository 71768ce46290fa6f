"""Readings: what a person saw against the light, one line for each station of each sheet.

A reading says where it was taken on the front (mm from the page's top-left corner) and how far the back's mark lay
from the front's there: ``dx_mm`` above zero is right, ``dy_mm`` above zero is low.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from server.core.geometry import Point
from server.core.registration.vernier import read_at_mm
from server.core.units import Unit, parse_length
from server.errors import BadValue

Unread = Literal["", "dx", "dy"]
COLUMNS = ("sheet", "station", "x", "y", "dx", "dy")
_LARGEST_MM = 2000.0  # the longest paper there is here; anything above is a slip of the keyboard
_MOST_LINES = 5000
_WAY_OUT = "Use the columns sheet,station,dx_mm,dy_mm or sheet,x_mm,y_mm,dx_mm,dy_mm."


@dataclass(frozen=True, slots=True)
class Reading:
    """One station of one sheet. Lengths in mm, through the front.

    ``station`` is its number on our test sheet, None for a point anywhere. ``dx_at`` and ``dy_at`` are where each
    number was really read, as ways from (x_mm, y_mm): on a vernier that is the pair of lines that coincide.
    ``unread`` names the one of the two numbers that couldn't be read; until ``fit.completed`` it stands at 0.
    """

    sheet: str
    x_mm: float
    y_mm: float
    dx_mm: float
    dy_mm: float
    station: int | None = None
    dx_at: Point = (0.0, 0.0)
    dy_at: Point = (0.0, 0.0)
    unread: Unread = ""

    @property
    def point(self) -> Point:
        return self.x_mm, self.y_mm

    @property
    def name(self) -> str:
        where = f"station {self.station}" if self.station is not None else f"x {self.x_mm:g}, y {self.y_mm:g}"
        return f"sheet {self.sheet}, {where}"


    @property
    def numbers(self) -> tuple[float | None, float | None]:
        """dx and dy in mm as they were read, None for the one that wasn't."""
        return None if self.unread == "dx" else self.dx_mm, None if self.unread == "dy" else self.dy_mm


def at_station(sheet: str, station: int, point: Point, dx_mm: float | None, dy_mm: float | None) -> Reading:
    """A reading from our test sheet: each number belongs to the place where its vernier lines coincide.

    None is a number that couldn't be read. Raises ValueError where neither was.
    """
    return replace(at_point(sheet, point, dx_mm, dy_mm), station=station,
                   dx_at=(read_at_mm(dx_mm or 0.0), 0.0), dy_at=(0.0, read_at_mm(dy_mm or 0.0)))


def at_point(sheet: str, point: Point, dx_mm: float | None, dy_mm: float | None) -> Reading:
    """A reading taken anywhere. None is a number that couldn't be read; raises ValueError where neither was."""
    if dx_mm is None and dy_mm is None:
        raise ValueError("a reading holds dx, dy or both")
    unread: Unread = "dx" if dx_mm is None else "dy" if dy_mm is None else ""
    return Reading(sheet, *point, dx_mm or 0.0, dy_mm or 0.0, unread=unread)


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: what it holds, and the unit of its bare numbers."""

    name: str
    unit: Unit


def parse_readings(text: str, stations: Mapping[int, Point], unit: Unit = "mm") -> tuple[Reading, ...]:
    """Readings from CSV text with a heading line; commas, semicolons or tabs between the fields.

    Columns are ``sheet,station,dx_mm,dy_mm`` or ``sheet,x_mm,y_mm,dx_mm,dy_mm``; ``_in`` instead of ``_mm`` makes a
    column inches, without either it is in ``unit``, and a single field may carry its own, as ``0.05in``. A line
    without dx and dy is a station that wasn't read and is passed over; with one of them it counts for that axis.
    ``stations`` says where each number lies.
    Raises BadValue, naming the line, the value and what would do.
    """
    rows = _rows(text)
    if not rows:
        raise BadValue("readings: the file is empty.", _WAY_OUT)
    columns = _columns(rows[0][1], unit)
    readings: list[Reading] = []
    seen: dict[tuple[str, object], int] = {}
    for line, cells in rows[1:]:
        reading = _reading(line, cells, columns, stations)
        if reading is None:
            continue
        key = (reading.sheet, reading.station if reading.station is not None else reading.point)
        if key in seen:
            raise BadValue(f"readings, line {line}: {reading.name} was already read in line {seen[key]}.",
                           "Delete one of the two, or number the sheets apart.")
        seen[key] = line
        readings.append(reading)
    if not readings:
        raise BadValue("readings: no line holds a dx and a dy.", "Enter what you read at three stations or more.")
    return tuple(readings)


def readings_csv(readings: Iterable[Reading]) -> str:
    """The same as CSV text that ``parse_readings`` reads back: by station where all have one, by point otherwise."""
    kept = tuple(readings)
    if all(reading.station is not None for reading in kept):
        lines = [f"{one.sheet},{one.station},{_cells(one)}" for one in kept]
        return "\n".join(["sheet,station,dx_mm,dy_mm", *lines]) + "\n"
    lines = [f"{one.sheet},{one.x_mm:g},{one.y_mm:g},{_cells(one)}" for one in kept]
    return "\n".join(["sheet,x_mm,y_mm,dx_mm,dy_mm", *lines]) + "\n"


def _cells(reading: Reading) -> str:
    return ",".join("" if number is None else f"{number:g}" for number in reading.numbers)


_PLAIN = re.compile(
    r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)\s*(?:mm|cm|in|inch|inches|\")?)\s*(?:to\s+the\s+)?"
    r"(right|left|low|lower|down|high|higher|up)\b", re.IGNORECASE)
_WAYS: dict[str, tuple[int, int]] = {
    "right": (0, 1), "left": (0, -1), "low": (1, 1), "lower": (1, 1), "down": (1, 1), "high": (1, -1),
    "higher": (1, -1), "up": (1, -1),
}


def parse_plain(text: str, unit: Unit = "mm") -> tuple[float, float]:
    """(dx_mm, dy_mm) from ``"1.2 right 0.8 low"``, ``"0.3 mm left"`` or a bare pair ``"1.2,0.8"``.

    Raises BadValue, naming the text.
    """
    ways = _PLAIN.findall(text)
    if ways:
        found: list[float | None] = [None, None]
        for number, way in ways:
            axis, sign = _WAYS[way.lower()]
            if found[axis] is not None:
                raise BadValue(f"shift: {text!r} says twice how far it lies {way.lower()}.",
                               "Write it as 1.2 right 0.8 low.")
            found[axis] = sign * _length(number, unit, "shift")
        return found[0] or 0.0, found[1] or 0.0
    parts = text.split(";") if ";" in text else text.split() if " " in text.strip() and "," not in text \
        else text.split(",")
    try:
        across, down = parts
        return _length(across, unit, "shift"), _length(down, unit, "shift")
    except ValueError:  # what isn't two parts, and what isn't a length
        raise BadValue(f"shift: {text!r} is no pair of lengths.",
                       "Write it as 1.2,0.8 or as 1.2 right 0.8 low.") from None


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """(line number, fields) of every line that holds something."""
    lines = text.removeprefix("\ufeff").splitlines()
    if len(lines) > _MOST_LINES:
        raise BadValue(f"readings: {len(lines)} lines are more than {_MOST_LINES}.", "Split the file.")
    first = next((line for line in lines if line.strip() and not line.startswith("#")), "")
    delimiter = max(";\t,", key=first.count)
    try:
        cells = list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise BadValue(f"readings: not a CSV table ({error}).", _WAY_OUT) from None
    rows = [(number, [cell.strip() for cell in row]) for number, row in enumerate(cells, 1)]
    return [row for row in rows if any(row[1]) and not row[1][0].startswith("#")]


def _columns(heading: Sequence[str], unit: Unit) -> tuple[Column, ...]:
    columns: list[Column] = []
    for cell in heading:
        name = cell.lower().replace(" ", "_")
        inch, metric = name.endswith("_in"), name.endswith("_mm")
        columns.append(Column(name[:-3] if inch or metric else name, "in" if inch else "mm" if metric else unit))
    names = [column.name for column in columns]
    unknown = [cell for cell, name in zip(heading, names, strict=True) if name not in COLUMNS]
    if unknown:
        raise BadValue(f"readings: the column {unknown[0]!r} is not known.", _WAY_OUT)
    by_station, by_point = "station" in names, "x" in names and "y" in names
    if len(set(names)) != len(names) or not {"sheet", "dx", "dy"} <= set(names) or by_station == by_point:
        raise BadValue(f"readings: the columns {','.join(heading)} don't say where and how far.", _WAY_OUT)
    return tuple(columns)


def _reading(line: int, cells: Sequence[str], columns: Sequence[Column],
             stations: Mapping[int, Point]) -> Reading | None:
    if len(cells) > len(columns) and any(cells[len(columns):]):
        raise BadValue(f"readings, line {line}: {len(cells)} fields under {len(columns)} headings.",
                       "Use a point in numbers, or semicolons between fields.")
    filled = [*cells, *[""] * len(columns)]
    texts = {column.name: filled[at] for at, column in enumerate(columns)}
    if not texts["dx"] and not texts["dy"]:
        return None
    for name in (name for name, text in texts.items() if not text and name not in ("dx", "dy")):
        raise BadValue(f"readings, line {line}: {name} is empty.", "Every reading has its sheet and its place.")
    mm = {column.name: _length(texts[column.name], column.unit, f"readings, line {line}, {column.name}")
          for column in columns if column.name not in ("sheet", "station") and texts[column.name]}
    if "x" in mm:
        return at_point(texts["sheet"], (mm["x"], mm["y"]), mm.get("dx"), mm.get("dy"))
    station = _station(line, texts["station"], stations)
    return at_station(texts["sheet"], station, stations[station], mm.get("dx"), mm.get("dy"))


def _station(line: int, text: str, stations: Mapping[int, Point]) -> int:
    if not text.isdecimal() or int(text) not in stations:
        raise BadValue(f"readings, line {line}: there is no station {text!r}.",
                       f"Stations of this paper's test sheet are {min(stations)} to {max(stations)}; "
                       "name the paper that it was printed on.")
    return int(text)


def _length(text: str, unit: Unit, argument: str) -> float:
    """Millimetres; a bare number is in ``unit``."""
    value = parse_length(text, argument, unit)
    if abs(value) > _LARGEST_MM:
        raise BadValue(f"{argument}: {text!r} is beyond {_LARGEST_MM:g} mm.", "Give it in mm or inch.")
    return value
