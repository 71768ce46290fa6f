"""Wander: what is left from sheet to sheet once drift is taken out, and how much of it one may promise away.

**The statement.** "19 sheets of 20 land within r mm of where they should, with 95 % confidence", at that place of the
sheet where the scatter is greatest.

**How r is found.** Each sheet's own deviation from the pooled drift is a shift, the mean of its stations; and a turn
and scale with it where these differ from sheet to sheet by more than reading errors explain (F-test). At a place p that
is a vector with standard deviations sx and sy over n sheets. Then r = K(n) sqrt(sx^2 + sy^2 + 2 u^2): both axes and all
stations tell of one scatter, and K is the factor for a radius (``tolerance.radius_factor``).

**What readings can't tell.** Numbers read in steps d leave u = 0.29 d unknown, however often they agree (JCGM 100:2008,
F.2.2.1); without it the promise is broken where five sheets happen to read alike. u is the same for both axes, so that
with it K has less to make up for.

**Where one axis has it all.** K reckons with axes that differ up to about twofold, which is what a feed does. Where
the readings show one axis to scatter five times the other or more, the distance is that axis, and r takes the wider
factor of one axis (``tolerance.tolerance_factor``). The bench prints how often the promise is kept, by printers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.core.geometry import Point
from server.core.registration.drift import READING_MM, Motion
from server.core.registration.readings import Reading
from server.core.registration.tolerance import f_beyond, radius_factor, tolerance_factor
from server.core.units import mm_text

SHARE = 0.95
CONFIDENCE = 0.95
ENOUGH_SHEETS = 5
_LEAST_TURNING = 3  # stations of a sheet, for its turn to be told from its readings' errors
_TURN_LEVEL = 0.05
_ONE_AXIS = 5.0
# The vernier is read to a tenth or half of one; a picture gives hundredths, which are far below any printer's wander.
_STEPS_MM = (0.1, 0.05)
# Found by simulation (tests/simulated_printers.py): with u this keeps the promise for axes up to twofold.
_UNEQUAL_IN_STEPS = 1.3


@dataclass(frozen=True, slots=True)
class Wander:
    """The scatter of ``sheets`` sheets. Lengths in mm, None where one sheet can't tell.

    ``sx_mm`` and ``sy_mm`` are standard deviations at ``at``, the worst place; ``radius_mm`` is the promise's r.
    """

    sheets: int
    sx_mm: float | None = None
    sy_mm: float | None = None
    radius_mm: float | None = None
    at: Point | None = None
    share: float = SHARE
    confidence: float = CONFIDENCE

    def says(self) -> str:
        """The statement in words, or why there is none."""
        if self.radius_mm is None:
            how = "Nobody has measured how" if self.sheets == 0 else "One sheet can't show how"
            return (f"{how} far sheets differ from each other. Print and read {ENOUGH_SHEETS} or more "
                    "to learn the wander.")
        text = (f"{round(self.share * 20)} sheets of 20 land within {_up(self.radius_mm)} mm "
                f"({round(self.confidence * 100)} % confidence, from {self.sheets} sheets).")
        if self.sheets >= ENOUGH_SHEETS:
            return text
        factor = radius_factor(self.sheets, self.share, self.confidence)
        return (f"{text} So few sheets know their own scatter badly, and the bound is {factor:.1f} times it: "
                f"read {ENOUGH_SHEETS} or more for one of {radius_factor(ENOUGH_SHEETS):.1f} times or less.")


NEVER_MEASURED = Wander(0)


def measure_wander(left: Sequence[tuple[Reading, Point]]) -> Wander:
    """Wander from what the pooled fit leaves of each reading, (dx, dy) in mm; two sheets or more."""
    sheets: dict[str, list[tuple[complex, complex]]] = {}
    for reading, (dx, dy) in left:
        sheets.setdefault(reading.sheet, []).append((complex(*reading.point), complex(dx, dy)))
    count = len(sheets)
    if count < 2:
        return Wander(count)
    motions = [Motion.of(spots) for spots in sheets.values()]
    turning = [one for one in motions if one.count >= _LEAST_TURNING]
    turns = _turns_differ(turning)
    places = sorted({reading.point for reading, _ in left}) if turns else [_middle(left)]
    worst: tuple[float, float, float, Point] | None = None
    for place in places:
        moved = [one.at(complex(*place)) if turns and one.count >= _LEAST_TURNING else one.shift for one in motions]
        sx, sy = _deviation([one.real for one in moved]), _deviation([one.imag for one in moved])
        if worst is None or sx * sx + sy * sy > worst[0]:
            worst = (sx * sx + sy * sy, sx, sy, place)
    assert worst is not None  # two sheets hold at least one place
    total, sx, sy, place = worst
    one_axis = max(sx, sy) > _ONE_AXIS * min(sx, sy)
    step = _step_mm(reading for reading, _ in left)
    radius = radius_factor(count, unequal=_UNEQUAL_IN_STEPS) if step else radius_factor(count)
    factor, unknown = tolerance_factor(count) if one_axis else radius, step / math.sqrt(12)
    return Wander(count, sx, sy, factor * math.sqrt(total + 2 * unknown**2), place)


def _step_mm(readings: Iterable[Reading]) -> float:
    """The step in which numbers were read: of those that people use the widest that they all are whole numbers of."""
    values = [value for one in readings for name, value in (("dx", one.dx_mm), ("dy", one.dy_mm)) if name != one.unread]
    return next((step for step in _STEPS_MM if all(abs(value / step - round(value / step)) < 1e-6 for value in values)),
                0.0)


def _middle(left: Sequence[tuple[Reading, Point]]) -> Point:
    """The middle of all places that were read."""
    count = len(left)
    return math.fsum(one.x_mm for one, _ in left) / count, math.fsum(one.y_mm for one, _ in left) / count


def _turns_differ(sheets: Sequence[Motion]) -> bool:
    """Whether turn and scale differ from sheet to sheet by more than readings scatter about each sheet's own motion.

    An F-test of the turns' variance, weighted by how far apart the stations lie (NIST/SEMATECH e-Handbook, 1.3.6.6.5).
    """
    dof = 2 * (len(sheets) - 1)
    rest = sum(2 * one.count - one.parameters for one in sheets)
    spread = math.fsum(one.spread for one in sheets)
    if dof < 2 or rest < 1 or spread < 1e-9:
        return False
    mean = sum((one.turn * one.spread for one in sheets), 0j) / spread
    between = math.fsum(abs(one.turn - mean) ** 2 * one.spread for one in sheets)
    within = max(math.fsum(one.rss for one in sheets), rest * READING_MM**2)
    return f_beyond(between / dof / (within / rest), dof, rest) < _TURN_LEVEL


def _deviation(values: Sequence[float]) -> float:
    """The sample standard deviation, n - 1."""
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _up(value_mm: float) -> str:
    """Rounded up to a hundredth: a bound that is rounded down is none."""
    return mm_text(math.ceil(value_mm * 100 - 1e-9) / 100)
