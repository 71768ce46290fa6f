"""What was seen on a picture of a sheet: each station's numbers or why there are none. Pure records and their text."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from server.core.geometry import Point
from server.core.registration.drift import Drift

Kind = Literal["test sheet", "deck sheet", ""]


@dataclass(frozen=True, slots=True)
class Sight:
    """One station as a picture shows it: where it lies on the front and how far the back is off there, all in mm.

    ``sigma_mm`` is the standard deviation of dx and of dy; the numbers are None where ``read`` is false, and ``why``
    says what to do.
    """

    station: int
    at: Point
    dx_mm: float | None = None
    dy_mm: float | None = None
    sigma_mm: float | None = None
    why: str = ""

    @property
    def read(self) -> bool:
        return self.dx_mm is not None and self.dy_mm is not None


@dataclass(frozen=True, slots=True)
class SightProblem:
    """Why a whole picture isn't taken, or what to look at; ``code`` is stable."""

    code: str
    message: str
    fix: str


@dataclass(frozen=True, slots=True)
class SheetOff:
    """How far a deck's sheet is off as a whole: shift in mm at the paper's middle, or without its plan at the
    middle between its marks; clockwise turn, scale; None for what one mark, or two, can't tell."""

    dx_mm: float
    dy_mm: float
    rotation_deg: float | None = None
    scale: float | None = None

    def says(self) -> str:
        """As ``Drift.says``: lands 0.3 mm right, turned 0.05 degrees clockwise."""
        return Drift.of((0.0, 0.0), self.dx_mm, self.dy_mm, self.rotation_deg or 0.0, self.scale or 1.0,
                        self.scale or 1.0).says()


@dataclass(frozen=True, slots=True)
class SheetSight:
    """One sheet as its picture, or its pictures, show it. A problem with no station read is a refusal. ``off`` is told
    of a deck's sheet only: what is left over of a drift once the sheet was corrected for it."""

    photo: str
    stations: tuple[Sight, ...] = ()
    problems: tuple[SightProblem, ...] = ()
    kind: Kind = ""
    off: SheetOff | None = None

    @property
    def read(self) -> tuple[Sight, ...]:
        return tuple(one for one in self.stations if one.read)


def off_of(sights: Iterable[Sight], middle: Point) -> SheetOff | None:
    """A shift, turn and scale by least squares (as ``registration.fit`` has it: w = a z + c), told at ``middle``; None
    where nothing was read."""
    read = [(complex(*one.at), complex(one.dx_mm, one.dy_mm)) for one in sights
            if one.dx_mm is not None and one.dy_mm is not None]
    if not read:
        return None
    centre = sum(at for at, _ in read) / len(read)
    mean = sum(off for _, off in read) / len(read)
    spread = sum(abs(at - centre) ** 2 for at, _ in read)
    if spread < 1.0:
        return SheetOff(mean.real, mean.imag)
    change = sum((at - centre).conjugate() * (off - mean) for at, off in read) / spread
    scale = abs(1 + change) if len(read) > 2 else None
    if scale is None:  # two marks tell it along their own line alone
        change = (1 + change) / abs(1 + change) - 1
    told = mean + change * (complex(*middle) - centre)
    return SheetOff(told.real, told.imag, math.degrees(cmath.phase(1 + change)), scale)


def sheets_json(sheets: Iterable[SheetSight]) -> dict[str, Any]:
    """As ``lampfold read --json`` prints it."""
    return {"sheets": [
        {"photo": sheet.photo, "kind": sheet.kind or None,
         "stations": [{"station": one.station, "dx_mm": _round(one.dx_mm), "dy_mm": _round(one.dy_mm),
                       "sigma_mm": _round(one.sigma_mm), "read": one.read, "why": one.why or None}
                      for one in sheet.stations],
         **({"off": _off_json(sheet.off)} if sheet.kind == "deck sheet" else {}),
         "problems": [{"code": one.code, "message": one.message, "fix": one.fix} for one in sheet.problems]}
        for sheet in sheets]}


def _off_json(off: SheetOff | None) -> dict[str, Any] | None:
    if off is None:
        return None
    return {"dx_mm": _round(off.dx_mm), "dy_mm": _round(off.dy_mm), "rotation_deg": _round(off.rotation_deg),
            "scale": None if off.scale is None else round(off.scale, 6), "says": off.says()}


def sheets_csv(sheets: Sequence[SheetSight]) -> str:
    """``sheet,station,dx_mm,dy_mm`` as ``lampfold fit`` takes it: what was read of test sheets, numbered from 1."""
    rows = ["sheet,station,dx_mm,dy_mm"]
    for number, sheet in enumerate((one for one in sheets if one.kind == "test sheet"), 1):
        rows += [f"{number},{one.station},{one.dx_mm:.3f},{one.dy_mm:.3f}" for one in sheet.read]
    return "\n".join(rows) + "\n"


def together(photo: str, parts: Sequence[SheetSight]) -> SheetSight:
    """Several pictures of one sheet as one: each station by all that saw it, weighed by their certainty."""
    if len(parts) == 1:
        return replace(parts[0], photo=photo)
    found: dict[int, list[Sight]] = {}
    for part in parts:
        for one in part.stations:
            found.setdefault(one.station, []).append(one)
    read = any(part.read for part in parts)
    problems = {one.message: one for part in parts for one in part.problems if not (read and not part.stations)}
    kind: Kind = next((part.kind for part in parts if part.kind), "")
    stations = tuple(_pooled(found[number]) for number in sorted(found))
    off = max(parts, key=lambda part: len(part.read)).off  # places may be told from another mark in each picture
    return SheetSight(photo, stations, tuple(problems.values()), kind, off)


def _pooled(sights: Sequence[Sight]) -> Sight:
    read = [one for one in sights if one.read]
    if not read:
        return sights[0]
    weights = [1 / (one.sigma_mm or 1.0) ** 2 for one in read]
    whole = sum(weights)
    dx, dy = (sum(weight * (getattr(one, name) or 0.0) for weight, one in zip(weights, read, strict=True)) / whole
              for name in ("dx_mm", "dy_mm"))
    return replace(read[0], dx_mm=dx, dy_mm=dy, sigma_mm=whole**-0.5)


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 4) + 0.0
