"""From readings to drift: least squares in closed form, pooled over sheets.

Points are complex numbers, z = x + iy. A similarity without mirroring is w = a z + c with complex a and c, so its
least-squares fit is a straight line's (S. Umeyama, IEEE TPAMI 13(4), 1991, gives the same optimum with matrices; here
a mirrored answer can't even be written down). Any real affine map is w = a z + b conj(z) + c, so one more coefficient
b carries all that a similarity lacks: the difference of x and y scale, and squareness.

**When b is believed.** An F-test for two more parameters (extra sum of squares; F distribution: NIST/SEMATECH
e-Handbook 1.3.6.6.5), each sheet being allowed a shift, turn and scale of its own so that wander can't pass for drift.
The chance of so great an improvement without cause must be below 1 % (common practice), the stations must be spread
both ways, and b must move some station by at least half of the vernier's least count.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from server.core.geometry import Affine, Point
from server.core.registration.drift import READING_MM, Drift, Motion, Pooled, chance_of
from server.core.registration.outliers import Suspect, find_suspects
from server.core.registration.readings import Reading
from server.core.registration.vernier import LEAST_COUNT_MM
from server.core.registration.wander import Wander, measure_wander
from server.core.units import mm_text
from server.errors import BadValue, FitError

Model = Literal["similarity", "affine"]

LEAST_STATIONS = 3
AFFINE_LEVEL = 0.01
_LEAST_EFFECT_MM = LEAST_COUNT_MM / 2
_MOST_STRETCH = 0.05  # |b| above this is no printer's; a mirrored set asks for |b| > |a|
_LEAST_BREADTH = 0.02  # stations whose breadth is under this share of their length lie on a line
_LEAST_SPREAD = 0.1  # share of conj(z) that a similarity leaves unexplained: 0 on a line, 1 on a square
_PASSES = 6
_FILLINGS = 200
MOST_ON_A_SHEET = 60
MOST_READINGS = 1000  # twenty sheets of nine stations are 180
_POOR_RMS_MM = 0.3


@dataclass(frozen=True, slots=True)
class Residual:
    """What the fit leaves of one reading, in mm: read minus fitted."""

    reading: Reading
    dx_mm: float
    dy_mm: float

    @property
    def length_mm(self) -> float:
        return math.hypot(self.dx_mm, self.dy_mm)


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted drift and what speaks for it. ``chance`` is the F-test's, None where the stations don't allow it.

    ``residuals`` are those of every reading; ``rms_mm`` is the root mean square of their lengths without the
    suspects, which the fit leaves out.
    """

    drift: Drift
    model: Model
    rms_mm: float
    residuals: tuple[Residual, ...]
    suspects: tuple[Suspect, ...]
    wander: Wander
    chance: float | None = None

    @property
    def sheets(self) -> int:
        return self.wander.sheets

    def notes(self) -> tuple[str, ...]:
        """What a person should know before trusting the numbers."""
        notes = [suspect.says() for suspect in self.suspects]
        drift = self.drift
        if max(abs(drift.scale_x - 1), abs(drift.scale_y - 1)) > 0.05 or abs(drift.rotation_deg) > 3:
            notes.append("No printer drifts like this: check the signs, the unit and the paper.")
        elif self.rms_mm > _POOR_RMS_MM:
            notes.append(f"The readings agree only to {mm_text(self.rms_mm)} mm; read the sheets again, or look for "
                         "two slips on one sheet.")
        return (*notes, self.wander.says())


def fit_drift(readings: Sequence[Reading], centre: Point) -> Fit:
    """The drift behind ``readings``; dx and dy are told at ``centre``, the paper's centre in mm.

    Raises FitError where the stations are too few or lie on one line.
    """
    check_count(readings)
    check_stations(readings)
    readings = completed(readings)
    suspects = find_suspects(readings)
    doubted = {suspect.reading for suspect in suspects}
    kept = [reading for reading in readings if reading not in doubted]
    try:
        check_stations(kept)
    except FitError:
        kept = list(readings)
    matrix, model, chance = _fit(kept)
    drift = Drift(matrix, centre)
    residuals = tuple(_residual(reading, matrix) for reading in readings)
    trusted = set(kept)
    used = [residual for residual in residuals if residual.reading in trusted]
    rms = math.sqrt(math.fsum(one.length_mm**2 for one in used) / len(used))
    wander = measure_wander([(reading, _left(reading, matrix)) for reading in kept])
    return Fit(drift, model, rms, residuals, suspects, wander, chance)


def check_count(readings: Sequence[Reading]) -> None:
    """Raises BadValue for more readings than anybody takes by eye; a fit's work grows with their number, and with the
    square of a sheet's own."""
    if len(readings) > MOST_READINGS:
        raise BadValue(f"readings: {len(readings)} are more than {MOST_READINGS}.",
                       "Keep the sheets that were printed last; twenty tell all that sheets can.")
    sheet, count = max(Counter(one.sheet for one in readings).items(), key=lambda one: one[1], default=("", 0))
    if count > MOST_ON_A_SHEET:
        raise BadValue(f"readings: sheet {sheet[:40]} has {count}, more than {MOST_ON_A_SHEET}.",
                       "Keep those that lie farthest apart; nine tell all that a sheet can.")


def completed(readings: Sequence[Reading]) -> list[Reading]:
    """Readings, sheet by sheet, with each number that couldn't be read put in as its own sheet's motion has it.

    Filling in what the fit says and fitting again, until nothing changes, ends at the least squares of the numbers
    that are there (Healy and Westmacott, Applied Statistics 5, 1956, for missing plots; from memory), so half a
    reading counts for the axis that was read and for nothing else.
    """
    if not any(reading.unread for reading in readings):
        return list(readings)
    means = [_mean([number for one in readings if (number := one.numbers[axis]) is not None]) for axis in (0, 1)]
    return [one for sheet in by_sheet(readings).values() for one in _completed_sheet(sheet, means)]


def _completed_sheet(sheet: Sequence[Reading], means: Sequence[float]) -> list[Reading]:
    """One sheet, completed; ``means`` are what a number is taken for where the sheet itself says nothing of it."""
    if not any(one.unread for one in sheet):
        return list(sheet)
    offs = [complex(*(mean if number is None else number for number, mean in zip(one.numbers, means, strict=True)))
            for one in sheet]
    for _ in range(_FILLINGS):
        motion = Motion.of([(complex(*one.point), off) for one, off in zip(sheet, offs, strict=True)])
        before = offs
        fitted = [motion.at(complex(*one.point)) for one in sheet]
        offs = [complex(fits.real if one.unread == "dx" else off.real, fits.imag if one.unread == "dy" else off.imag)
                for one, off, fits in zip(sheet, offs, fitted, strict=True)]
        if max(abs(now - then) for now, then in zip(offs, before, strict=True)) < 1e-6:
            break
    return [replace(one, dx_mm=off.real, dy_mm=off.imag) for one, off in zip(sheet, offs, strict=True)]


def _mean(numbers: Sequence[float]) -> float:
    return math.fsum(numbers) / len(numbers) if numbers else 0.0


def similarity(points: Sequence[Point], landed: Sequence[Point]) -> Affine:
    """The shift, turn and scale that carry ``points`` nearest to ``landed`` by least squares; never a mirror.

    Raises FitError where all points are one.
    """
    z, w, z_mean, w_mean = _centred(points, landed)
    size = math.fsum(abs(one) ** 2 for one in z)
    if size < 1e-12:
        raise FitError("stations: all readings are from one point.", _MORE)
    a = sum((one.conjugate() * other for one, other in zip(z, w, strict=True)), 0j) / size
    return _affine(a, 0j, w_mean - a * z_mean)


def affine(points: Sequence[Point], landed: Sequence[Point]) -> Affine:
    """The affine map that carries ``points`` nearest to ``landed`` by ordinary least squares.

    Raises FitError where the points lie on one line.
    """
    z, w, z_mean, w_mean = _centred(points, landed)
    size = math.fsum(abs(one) ** 2 for one in z)
    lean = sum((one * one for one in z), 0j)  # sum z^2: how far the points are from being spread evenly both ways
    det = size * size - abs(lean) ** 2
    if det < 1e-12 * size * size or size < 1e-12:
        raise FitError("stations: all readings are from one line.", _MORE)
    first = sum((one.conjugate() * other for one, other in zip(z, w, strict=True)), 0j)
    second = sum((one * other for one, other in zip(z, w, strict=True)), 0j)
    a = (size * first - lean.conjugate() * second) / det
    b = (size * second - lean * first) / det
    return _affine(a, b, w_mean - a * z_mean - b * z_mean.conjugate())


_MORE = "Read three or more stations that don't lie on one line, or enter one plain shift instead."


def check_stations(readings: Sequence[Reading]) -> None:
    """Raises FitError where ``readings`` come from fewer than three places or from places on one line."""
    points = {complex(*reading.point) for reading in readings}
    if len(points) < LEAST_STATIONS:
        places = "place" if len(points) == 1 else "places"
        raise FitError(f"stations: readings are from {len(points)} {places}, and a drift needs three.", _MORE)
    mean = sum(points, 0j) / len(points)
    size = math.fsum(abs(point - mean) ** 2 for point in points)
    lean = abs(sum((point - mean) ** 2 for point in points))
    # Eigenvalues of the scatter are (size +- |lean|) / 2; their ratio is that of breadth and length, squared.
    if size - lean < _LEAST_BREADTH**2 * (size + lean):
        raise FitError("stations: all readings are from one line, so what happens beside it can't be told.", _MORE)


def by_sheet(readings: Iterable[Reading]) -> Mapping[str, list[Reading]]:
    """Readings by their sheet, in the order in which sheets first come."""
    sheets: dict[str, list[Reading]] = {}
    for reading in readings:
        sheets.setdefault(reading.sheet, []).append(reading)
    return sheets


def _fit(readings: Sequence[Reading]) -> tuple[Affine, Model, float | None]:
    """Fit, then bring each number from where it was read to its station's point by that fit, and fit again."""
    matrix = Affine()
    chance: float | None = None
    model: Model = "similarity"
    for _ in range(_PASSES):
        before = matrix
        points = [reading.point for reading in readings]
        landed = [_landed(reading, matrix) for reading in readings]
        chance = _stretch_chance(readings, landed)
        believed = chance is not None and chance < AFFINE_LEVEL
        model = "affine" if believed else "similarity"
        matrix = affine(points, landed) if believed else similarity(points, landed)
        if max(math.dist(matrix(point), before(point)) for point in points) < 1e-9:
            break
    return matrix, model, chance


def _landed(reading: Reading, matrix: Affine) -> Point:
    """Where the back lands at the station's own point: each number less what ``matrix`` adds on the way to it."""
    (ux, uy), (vx, vy) = reading.dx_at, reading.dy_at
    dx = reading.dx_mm - (matrix.a - 1) * ux - matrix.c * uy
    dy = reading.dy_mm - matrix.b * vx - (matrix.d - 1) * vy
    return reading.x_mm + dx, reading.y_mm + dy


def _left(reading: Reading, matrix: Affine) -> Point:
    """What the fit leaves of a reading, in mm."""
    x, y = _landed(reading, matrix)
    at_x, at_y = matrix(reading.point)
    return x - at_x, y - at_y


def _residual(reading: Reading, matrix: Affine) -> Residual:
    """The same for people: nothing is left of a number that wasn't read."""
    dx, dy = _left(reading, matrix)
    return Residual(reading, 0.0 if reading.unread == "dx" else dx, 0.0 if reading.unread == "dy" else dy)


def _stretch_chance(readings: Sequence[Reading], landed: Sequence[Point]) -> float | None:
    """The chance that b is nothing; None where the stations can't tell, 1 where b is too small or too great to be."""
    where = dict(zip(readings, landed, strict=True))
    pooled = Pooled.of(
        Motion.of([(complex(*one.point), complex(*where[one]) - complex(*one.point)) for one in sheet])
        for sheet in by_sheet(readings).values())
    dof = pooled.dof - 2
    if dof < 2 or pooled.size < _LEAST_SPREAD * pooled.spread or len({one.point for one in readings}) < 4:
        return None
    mean = sum((complex(*one.point) for one in readings), 0j) / len(readings)
    reach = max(abs(complex(*one.point) - mean) for one in readings)
    if abs(pooled.b) * reach < _LEAST_EFFECT_MM or abs(pooled.b) > _MOST_STRETCH:
        return 1.0
    # Readings that happen to agree better than a vernier can be read prove nothing.
    floor = READING_MM**2
    return chance_of(pooled.rss + dof * floor, pooled.plain + (dof + 2) * floor, dof)


def _centred(points: Sequence[Point], landed: Sequence[Point]
             ) -> tuple[list[complex], list[complex], complex, complex]:
    """Both sets as complex numbers about their means, and the means."""
    if len(points) != len(landed) or not points:
        raise FitError(f"stations: {len(points)} points and {len(landed)} places don't pair.", _MORE)
    z, w = [complex(*point) for point in points], [complex(*point) for point in landed]
    z_mean, w_mean = sum(z, 0j) / len(z), sum(w, 0j) / len(w)
    return [one - z_mean for one in z], [one - w_mean for one in w], z_mean, w_mean


def _affine(a: complex, b: complex, c: complex) -> Affine:
    """w = a z + b conj(z) + c as a matrix."""
    return Affine(a.real + b.real, a.imag + b.imag, b.imag - a.imag, a.real - b.real, c.real, c.imag)
