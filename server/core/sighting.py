"""What was seen on a picture of a sheet: each station's numbers or why there are none. Pure records and their text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from server.core.geometry import Point

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
class SheetSight:
    """One sheet as its picture, or its pictures, show it. A problem with no station read is a refusal."""

    photo: str
    stations: tuple[Sight, ...] = ()
    problems: tuple[SightProblem, ...] = ()
    kind: Kind = ""

    @property
    def read(self) -> tuple[Sight, ...]:
        return tuple(one for one in self.stations if one.read)


def sheets_json(sheets: Iterable[SheetSight]) -> dict[str, Any]:
    """As ``lampfold read --json`` prints it."""
    return {"sheets": [
        {"photo": sheet.photo, "kind": sheet.kind or None,
         "stations": [{"station": one.station, "dx_mm": _round(one.dx_mm), "dy_mm": _round(one.dy_mm),
                       "sigma_mm": _round(one.sigma_mm), "read": one.read, "why": one.why or None}
                      for one in sheet.stations],
         "problems": [{"code": one.code, "message": one.message, "fix": one.fix} for one in sheet.problems]}
        for sheet in sheets]}


def sheets_csv(sheets: Sequence[SheetSight]) -> str:
    """``sheet,station,dx_mm,dy_mm`` as ``lampfold fit`` takes it: what was read of test sheets, numbered from 1."""
    rows = ["sheet,station,dx_mm,dy_mm"]
    for number, sheet in enumerate(sheets, 1):
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
    return SheetSight(photo, tuple(_pooled(found[number]) for number in sorted(found)), tuple(problems.values()), kind)


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
