"""The vernier: 1.0 mm divisions on the front, 0.9 mm on the back, so that the pair that coincides tells the tenths.

Ten vernier divisions take nine main ones; the least count is the main division / 10 = 0.1 mm (vernier principle).
Each station has four arms, outwards from its centre: right and left tell dx, bottom and top tell dy. An arm starts
``GAP_MM`` from the centre. When the back has moved outwards along an arm by ``whole + tenth / 10`` mm, its zero line
has passed main line ``whole``, and vernier line ``tenth`` coincides with main line ``whole + tenth``. So a person
reads the arm whose zero line has moved outwards: its sign is printed on it, and there is nothing to subtract.
"""

from __future__ import annotations

from dataclasses import dataclass

MAIN_PITCH_MM = 1.0
VERNIER_PITCH_MM = 0.9
VERNIER_LINES = 10  # 0 to 9
WHOLE_MM = 4  # the coarse ruler goes this far
MAIN_LINES = VERNIER_LINES + WHOLE_MM  # 0 to 13
LEAST_COUNT_MM = MAIN_PITCH_MM / 10
RANGE_MM = WHOLE_MM - LEAST_COUNT_MM  # read to a tenth up to here, either way
GAP_MM = 7.5


@dataclass(frozen=True, slots=True)
class Seen:
    """What one number looks like against the light: which arm, how many whole mm, which vernier line coincides."""

    outwards: int  # +1 right or bottom, -1 left or top
    whole: int
    tenth: int

    @property
    def value_mm(self) -> float:
        return self.outwards * (self.whole + self.tenth * LEAST_COUNT_MM)

    @property
    def vernier_line_mm(self) -> float:
        """Where the line that coincides was meant to lie, along the axis from the station's centre."""
        return self.outwards * (GAP_MM + self.tenth * VERNIER_PITCH_MM)

    @property
    def main_line(self) -> int:
        return self.whole + self.tenth


def seen(value_mm: float) -> Seen:
    """The nearest tenth to ``value_mm`` as it is seen; 0 shows on both arms and is told as the right or bottom one."""
    tenths = round(abs(value_mm) / LEAST_COUNT_MM)
    return Seen(-1 if value_mm < 0 and tenths else 1, *divmod(tenths, 10))


def read_at_mm(value_mm: float) -> float:
    """How far from the station's centre, along the axis, that number is read.

    With a back that is larger or smaller than its front this matters: 1 % over 10 mm is 0.1 mm. A reading beyond the
    vernier's range comes from the coarse ruler, at the zero line; 0 is seen on both arms alike. A number finer than
    eyes read a vernier (halves of its least count) was measured at the station's middle, as a photograph is.
    """
    halves = 2 * value_mm / LEAST_COUNT_MM
    if abs(halves - round(halves)) > 0.01:
        return 0.0
    found = seen(value_mm)
    if found.value_mm == 0:
        return 0.0
    return found.vernier_line_mm if abs(found.value_mm) <= RANGE_MM + 1e-9 else found.outwards * GAP_MM
