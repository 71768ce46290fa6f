"""Readings that do not fit the others: found before the fit, named, with the value that would fit.

The test is that of the externally studentised residual, taken for a pair of numbers: a reading is left out, everything
is fitted anew, and the sum of squares must fall so far that it could hardly have done so by chance, counted over all
readings (Bonferroni, 5 % in all; outlier tests of this kind: NIST/SEMATECH e-Handbook 1.3.5.17, here with the F
distribution's closed tail). The worst goes first, and the rest is judged again. Each sheet has a motion of its own, so
that wander can't make a good reading look bad.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from server.core.registration.drift import READING_MM, Motion, Pooled, chance_of
from server.core.registration.readings import Reading
from server.core.units import mm_text

LEVEL = 0.05
# Under this a slip does less harm than dropping a good reading would (four least counts of the vernier).
_LEAST_SLIP_MM = 0.4
_MOST = 50  # where more are wrong, nothing is known of the printer
_LEAST_READINGS = 4  # on its sheet: three outvote one


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading that does not fit, the (dx, dy) in mm that would, and the likely slip in words."""

    reading: Reading
    fits_dx_mm: float
    fits_dy_mm: float
    why: str

    def says(self) -> str:
        read = self.reading
        was = ", ".join("not read" if number is None else mm_text(number) for number in read.numbers)
        fits = zip((self.fits_dx_mm, self.fits_dy_mm), read.numbers, strict=True)
        would = [mm_text(number) for number, read_as in fits if read_as is not None]
        return (f"{read.name[0].upper()}{read.name[1:]}: {was} mm does not fit the others; {', '.join(would)} would "
                f"({self.why}). It is left out of the fit.")


def find_suspects(readings: Sequence[Reading]) -> tuple[Suspect, ...]:
    """Every reading that the others speak against, in the order given; at most a quarter of them, and
    no more than anybody would look up."""
    by_name: dict[str, list[Reading]] = {}
    for reading in readings:
        by_name.setdefault(reading.sheet, []).append(reading)
    sheets = {name: _Sheet.of(sheet) for name, sheet in by_name.items()}
    found: list[Reading] = []
    for _ in range(min(_MOST, max(1, len(readings) // 4))):
        worst = _worst(sheets)
        if worst is None:
            break
        left = [one for one in sheets[worst.sheet].readings if one != worst]
        sheets[worst.sheet] = _Sheet.of(left)
        found.append(worst)
    if not found:
        return ()
    motions = {name: sheet.motion for name, sheet in sheets.items()}
    pooled = Pooled.of(motions.values())
    shared = len(motions) > 1
    deviation = math.sqrt(_variance(pooled, shared))
    b = pooled.b if shared else 0j
    return tuple(_explained(reading, motions[reading.sheet].at(complex(*reading.point), b), deviation)
                 for reading in readings if reading in found)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A sheet's readings, its motion, and its motion without each of them: kept, since most sheets never change."""

    readings: tuple[Reading, ...]
    motion: Motion
    without: tuple[Motion, ...]

    @classmethod
    def of(cls, readings: Sequence[Reading]) -> _Sheet:
        spots = [(complex(*one.point), complex(one.dx_mm, one.dy_mm)) for one in readings]
        enough = len(spots) >= _LEAST_READINGS
        return cls(tuple(readings), Motion.of(spots),
                   tuple(Motion.of([*spots[:at], *spots[at + 1:]]) for at in range(len(spots))) if enough else ())


def _variance(pooled: Pooled, shared: bool) -> float:
    """Of one number that was read, in mm2; not below what anybody's eye can do."""
    rss, dof = (pooled.rss, pooled.dof - 2) if shared else (pooled.plain, pooled.dof)
    return max(READING_MM**2, rss / dof if dof > 0 else 0.0)


def _worst(sheets: Mapping[str, _Sheet]) -> Reading | None:
    """The reading whose leaving helps most, if that can't be chance and its slip is worth a word."""
    pooled = Pooled.of(sheet.motion for sheet in sheets.values())
    shared = len(sheets) > 1  # on one sheet there are too few readings to ask for b as well
    count = sum(len(sheet.readings) for sheet in sheets.values())
    floor = READING_MM**2
    best: tuple[float, Reading] | None = None
    for sheet in sheets.values():
        for reading, without in zip(sheet.readings, sheet.without, strict=False):
            rest = pooled.swapped(sheet.motion, without)
            dof = rest.dof - (2 if shared else 0)
            if dof < 1:
                continue
            less, more = (rest.rss, pooled.rss) if shared else (rest.plain, pooled.plain)
            chance = chance_of(less + dof * floor, more + (dof + 2) * floor, dof)
            if chance * count >= LEVEL or (best is not None and chance >= best[0]):
                continue
            fits = without.at(complex(*reading.point), rest.b if shared else 0j)
            if abs(complex(reading.dx_mm, reading.dy_mm) - fits) > _LEAST_SLIP_MM:
                best = chance, reading
    return best[1] if best else None


def _explained(reading: Reading, fits: complex, deviation: float) -> Suspect:
    """The likeliest slip that turns what would fit into what was typed."""
    close = max(0.2, 3 * deviation)
    for dx, dy, why in _slips(reading.dx_mm, reading.dy_mm, fits):
        if abs(dx - fits.real) <= close and abs(dy - fits.imag) <= close:
            return Suspect(reading, round(dx, 3), round(dy, 3), why)
    return Suspect(reading, round(fits.real, 1), round(fits.imag, 1), "no slip that we know explains it")


def _slips(dx: float, dy: float, fits: complex) -> Iterator[tuple[float, float, str]]:
    yield -dx, dy, "the sign of dx"
    yield dx, -dy, "the sign of dy"
    yield -dx, -dy, "both signs"
    yield dy, dx, "dx and dy changed places"
    for factor in (10.0, 0.1, 100.0, 0.01):
        yield dx * factor, dy, "the decimal point of dx"
        yield dx, dy * factor, "the decimal point of dy"
        yield dx * factor, dy * factor, "both decimal points"
    dx_digit, dy_digit = _one_digit(dx, fits.real), _one_digit(dy, fits.imag)
    if dx_digit is not None:
        yield dx_digit, dy, "a digit of dx"
    if dy_digit is not None:
        yield dx, dy_digit, "a digit of dy"


def _one_digit(typed: float, fits: float) -> float | None:
    """The number nearest to ``fits`` that differs from ``typed`` in one of its digits; None where none comes nearer."""
    text = f"{abs(typed):.3f}".rstrip("0")
    text = text + "0" if text.endswith(".") else text
    options = [float(text[:at] + digit + text[at + 1:]) for at, old in enumerate(text) if old.isdigit()
               for digit in "0123456789" if digit != old]
    nearest = min((math.copysign(option, typed) for option in options), key=lambda option: abs(option - fits))
    return nearest if abs(nearest - fits) < abs(typed - fits) else None
