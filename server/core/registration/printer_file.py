"""A printer as one JSON file: what ``fit --out`` writes, ``build --printer`` takes, and the page exports and imports.

Format "lampfold-printer", version 1. Lengths in mm, angles in degrees, dates as ISO 8601. Everything is checked on
the way in, because people edit such files and send them to each other.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from server.core.geometry import Edges, Point
from server.core.registration.drift import Drift
from server.core.registration.printer import Confirmation, Printer, check_drift, named
from server.core.registration.readings import Reading, at_point, at_station
from server.core.registration.wander import Wander
from server.core.sizes import PAPERS, paper_named
from server.core.units import mm_text
from server.core.wording import check_text
from server.errors import BadValue, FitError

FORMAT, VERSION, UNIT = "lampfold-printer", 1, "mm"
MOST_BYTES = 1_000_000
_MOST_READINGS = 5000
_FIX = "Export the printer again, or true it up anew."
_DRIFT_FIELDS = ("dx_mm", "dy_mm", "rotation_deg", "scale_x", "scale_y", "squareness_deg")


def printer_to_json(printer: Printer) -> dict[str, Any]:
    """Plain values for JSON; ``printer_from_json`` reads them back to the same printer."""
    paper = printer.paper
    return {
        "format": FORMAT, "version": VERSION, "unit": UNIT, "name": printer.name,
        "paper": paper.name if paper.name in PAPERS else f"{paper.width_mm!r}x{paper.height_mm!r}",
        "flip": printer.flip, "feed": printer.feed,
        "margins_mm": {edge: float(getattr(printer.margins, edge)) for edge in ("left", "top", "right", "bottom")},
        "trued_up": printer.trued_up.isoformat() if printer.trued_up else None,
        "front_scale": {"x": printer.front_scale[0], "y": printer.front_scale[1]},
        "drift": _drift_out(printer.drift),
        "wander": _wander_out(printer.wander),
        "readings": [_reading_out(reading) for reading in printer.readings],
        "confirmed": {
            "on": printer.confirmed.on.isoformat(), "drift": _drift_out(printer.confirmed.drift),
            "wander": _wander_out(printer.confirmed.wander),
            "readings": [_reading_out(reading) for reading in printer.confirmed.readings],
        } if printer.confirmed else None,
    }


def printer_text(printer: Printer) -> str:
    """The file's text; the same printer gives the same bytes."""
    return json.dumps(printer_to_json(printer), indent=2, ensure_ascii=False) + "\n"


def printer_from_text(text: str, label: str = "printer file") -> Printer:
    """The printer in a file's text. Raises BadValue, naming ``label``, the field and the value."""
    if len(text) > MOST_BYTES:
        raise BadValue(f"{label}: {len(text)} characters are more than a printer file has.", _FIX)
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        raise BadValue(f"{label}: not JSON.", _FIX) from None
    check_text(value, label)
    return printer_from_json(value, label)


def printer_from_json(value: object, label: str = "printer file") -> Printer:
    """The printer that ``printer_to_json`` gave. Raises BadValue, naming ``label``, the field and the value."""
    data = _Fields(value, label)
    if data.get("format") != FORMAT:
        raise BadValue(f"{label}: format is {data.get('format')!r}, not {FORMAT!r}.", _FIX)
    if data.get("version") != VERSION:
        raise BadValue(f"{label}: version {data.get('version')!r} is not known here, only {VERSION}.",
                       "Use a newer Lampfold, or export the printer from this one.")
    if data.get("unit") not in (None, UNIT):  # files of version 0.1 don't say it
        raise BadValue(f"{label}: unit is {data.get('unit')!r}, not {UNIT!r}.", _FIX)
    try:
        paper = paper_named(data.text("paper"))
        name = named(data.text("name"))
    except BadValue as error:
        raise BadValue(f"{label}: {error.message}", error.fix) from None
    centre = (paper.width_mm / 2, paper.height_mm / 2)
    flip = data.text("flip")
    if flip not in ("long-edge", "short-edge"):
        raise BadValue(f"{label}: flip: {flip!r} is not known.", "Use long-edge or short-edge.")
    margins, front = data.part("margins_mm"), data.part("front_scale")
    trued_up = data.day("trued_up")
    drift = _drift_in(data.part("drift"), centre) if data.get("drift") is not None else None
    if (drift is None) != (trued_up is None):
        raise BadValue(f"{label}: drift and trued_up come together or not at all.", _FIX)
    return Printer(
        name, paper, "long-edge" if flip == "long-edge" else "short-edge", data.text("feed")[:80],
        Edges(*(margins.number(edge, 0, 60) for edge in ("left", "top", "right", "bottom"))),
        trued_up, drift, _wander_in(data.part("wander")), _readings_in(data),
        (front.number("x", 0.8, 1.2), front.number("y", 0.8, 1.2)),
        _confirmed_in(data.part("confirmed"), centre) if data.get("confirmed") is not None else None,
    )


class _Fields:
    """A JSON object whose fields are asked for by kind."""

    def __init__(self, value: object, label: str) -> None:
        if not isinstance(value, Mapping):
            raise BadValue(f"{label}: {_short(value)} where an object should be.", _FIX)
        self._value, self._label = value, label

    def get(self, name: str) -> object:
        return self._value.get(name)

    def bad(self, name: str, what: str) -> BadValue:
        return BadValue(f"{self._label}: {name}: {_short(self.get(name))} is no {what}.", _FIX)

    def part(self, name: str) -> _Fields:
        return _Fields(self.get(name), f"{self._label}: {name}")

    def parts(self, name: str) -> list[_Fields]:
        found = self.get(name)
        if not isinstance(found, Sequence) or isinstance(found, str) or len(found) > _MOST_READINGS:
            raise self.bad(name, f"list of {_MOST_READINGS} or fewer")
        return [_Fields(one, f"{self._label}: {name} {number}") for number, one in enumerate(found, 1)]

    def text(self, name: str) -> str:
        found = self.get(name)
        if not isinstance(found, str):
            raise self.bad(name, "text")
        return found

    def number(self, name: str, low: float, high: float) -> float:
        found = self.get(name)
        if isinstance(found, bool) or not isinstance(found, (int, float)):
            raise self.bad(name, "number")
        if not low <= found <= high:  # not a number lies nowhere, and is refused here
            raise self.bad(name, f"number from {mm_text(low)} to {mm_text(high)}")
        return float(found)

    def optional(self, name: str, low: float, high: float) -> float | None:
        return None if self.get(name) is None else self.number(name, low, high)

    def day(self, name: str) -> date | None:
        if self.get(name) is None:
            return None
        try:
            return date.fromisoformat(self.text(name))
        except ValueError:
            raise self.bad(name, "date such as 2026-01-31") from None

    def check(self, drift: Drift) -> Drift:
        try:
            check_drift(drift)
        except FitError as error:
            raise BadValue(f"{self._label}: {error.message}", error.fix) from None
        return drift


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _drift_out(drift: Drift | None) -> dict[str, float] | None:
    return {name: round(getattr(drift, name), 9) for name in _DRIFT_FIELDS} if drift else None


def _drift_in(data: _Fields, centre: Point) -> Drift:
    return data.check(Drift.of(centre, *(data.number(name, -360, 360) for name in _DRIFT_FIELDS)))


def _wander_out(wander: Wander) -> dict[str, Any]:
    return {"sheets": wander.sheets, "sx_mm": wander.sx_mm, "sy_mm": wander.sy_mm, "radius_mm": wander.radius_mm,
            "at_mm": list(wander.at) if wander.at else None, "share": wander.share, "confidence": wander.confidence}


def _wander_in(data: _Fields) -> Wander:
    at = data.get("at_mm")
    if at is not None and not (isinstance(at, list) and len(at) == 2
                               and all(isinstance(one, (int, float)) and -2000 <= one <= 2000 for one in at)):
        raise data.bad("at_mm", "pair of mm")
    return Wander(int(data.number("sheets", 0, _MOST_READINGS)), data.optional("sx_mm", 0, 1000),
                  data.optional("sy_mm", 0, 1000), data.optional("radius_mm", 0, 100_000),
                  (float(at[0]), float(at[1])) if at else None, data.number("share", 0.5, 0.999),
                  data.number("confidence", 0.5, 0.999))


def _reading_out(reading: Reading) -> dict[str, Any]:
    dx, dy = reading.numbers
    return {"sheet": reading.sheet, "station": reading.station, "x_mm": reading.x_mm, "y_mm": reading.y_mm,
            "dx_mm": dx, "dy_mm": dy}


def _readings_in(data: _Fields) -> tuple[Reading, ...]:
    readings = []
    for one in data.parts("readings"):
        sheet, station = one.text("sheet"), one.optional("station", 1, 99)
        x, y = one.number("x_mm", -2000, 2000), one.number("y_mm", -2000, 2000)
        dx, dy = one.optional("dx_mm", -2000, 2000), one.optional("dy_mm", -2000, 2000)
        if dx is None and dy is None:
            raise one.bad("dx_mm", "number, where dy_mm is none")
        readings.append(at_point(sheet, (x, y), dx, dy) if station is None
                        else at_station(sheet, int(station), (x, y), dx, dy))
    return tuple(readings)


def _confirmed_in(data: _Fields, centre: Point) -> Confirmation:
    on = data.day("on")
    if on is None:
        raise data.bad("on", "date such as 2026-01-31")
    return Confirmation(on, _readings_in(data), _drift_in(data.part("drift"), centre), _wander_in(data.part("wander")))
