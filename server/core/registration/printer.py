"""A printer as True-up knows it: one printer, one paper, one flip, one way of feeding."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from server.core.geometry import Edges, Point, Rect
from server.core.plan import DEFAULT_MARGIN_MM, Flip
from server.core.registration.drift import Drift
from server.core.registration.fit import Fit, fit_drift
from server.core.registration.readings import Reading
from server.core.registration.wander import NEVER_MEASURED, Wander
from server.core.sizes import Paper
from server.core.units import mm_text
from server.errors import BadValue, FitError

State = Literal["trued up", "old", "not trued up"]
# Rollers wear, paper and weather change; half a year is common practice for a check, no standard found.
OLD_AFTER_DAYS = 180
# No printer that is worth correcting is further off; beyond, a sign, a unit or a paper is wrong.
MOST_SHIFT_MM, MOST_TURN_DEG, MOST_SCALE, MOST_SQUARENESS_DEG = 10.0, 3.0, 0.05, 1.0
_LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Readings of a sheet that was printed with the correction, and what drift they leave."""

    on: date
    readings: tuple[Reading, ...]
    drift: Drift
    wander: Wander


@dataclass(frozen=True, slots=True)
class Printer:
    """A named printer. ``drift`` is None until it is trued up; ``trued_up`` is the day of its readings.

    ``front_scale`` is the front's own scale across and down: what its printed ruler measures over what it says.
    ``margins`` are the strips of the page that this printer can't reach, in mm; ``feed`` is the tray in the user's
    words.
    """

    name: str
    paper: Paper
    flip: Flip = "long-edge"
    feed: str = ""
    margins: Edges = Edges.all(DEFAULT_MARGIN_MM)
    trued_up: date | None = None
    drift: Drift | None = None
    wander: Wander = NEVER_MEASURED
    readings: tuple[Reading, ...] = ()
    front_scale: tuple[float, float] = (1.0, 1.0)
    confirmed: Confirmation | None = None

    @property
    def page(self) -> Rect:
        return Rect(0.0, 0.0, self.paper.width_mm, self.paper.height_mm)

    @property
    def centre(self) -> Point:
        return self.page.centre

    @property
    def note(self) -> str:
        """What a sheet's label says."""
        if self.trued_up is None or self.drift is None:
            return f"made for {self.name}, not trued up"
        return f"made for {self.name}, trued up {self.trued_up.isoformat()}"

    def state(self, today: date) -> State:
        if self.drift is None or self.trued_up is None:
            return "not trued up"
        return "old" if (today - self.trued_up).days > OLD_AFTER_DAYS else "trued up"

    def fitted(self, readings: Sequence[Reading], on: date) -> tuple[Printer, Fit]:
        """The printer trued up by ``readings``, and the fit. Raises FitError, also for what no printer can do."""
        fit = fit_drift(readings, self.centre)
        return self.trued(fit.drift, on, fit.wander, tuple(readings)), fit

    def shifted(self, dx_mm: float, dy_mm: float, on: date) -> Printer:
        """The plain way: one pair of numbers, right and low, in mm. Raises FitError for what no printer can do."""
        return self.trued(Drift.of(self.centre, dx_mm, dy_mm), on)

    def trued(self, drift: Drift, on: date, wander: Wander = NEVER_MEASURED,
              readings: tuple[Reading, ...] = ()) -> Printer:
        """With that drift. Raises FitError where it is beyond any printer's."""
        check_drift(drift)
        return replace(self, drift=drift, wander=wander, readings=readings, trued_up=on, confirmed=None)

    def confirmed_by(self, readings: Sequence[Reading], on: date) -> tuple[Printer, Fit]:
        """With what a sheet shows that was printed with the correction. Raises FitError, as ``fitted`` does."""
        fit = fit_drift(readings, self.centre)
        check_drift(fit.drift)
        return replace(self, confirmed=Confirmation(on, tuple(readings), fit.drift, fit.wander)), fit

    def refined(self) -> Printer:
        """With what the confirming sheet left taken into the drift. Raises BadValue where there is no such sheet."""
        if self.confirmed is None or self.drift is None:
            raise BadValue(f"printer: {self.name!r} has no confirming sheet.",
                           "Print the test sheet with the correction, and enter what you read.")
        left = self.confirmed
        wander = max((self.wander, left.wander), key=lambda one: one.sheets)
        whole = self.drift.then(left.drift)
        check_drift(whole)
        return replace(self, drift=whole, trued_up=left.on, wander=wander, confirmed=None)


def named(name: str) -> str:
    """A printer's name, cleaned. Raises BadValue where nothing is left of it or it is too long for a label."""
    text = " ".join(name.split())
    if not text or len(text) > _LONGEST_NAME or not text.isprintable():
        raise BadValue(f"printer: {name[:40]!r} is no name.", f"Give it 1 to {_LONGEST_NAME} letters.")
    return text


def check_drift(drift: Drift) -> None:
    """Raises FitError, naming the number, where a drift is beyond any printer that is worth correcting."""
    shift = math.hypot(drift.dx_mm, drift.dy_mm)
    limits = (
        ("shift", shift, MOST_SHIFT_MM, " mm"),
        ("rotation", abs(drift.rotation_deg), MOST_TURN_DEG, "°"),
        ("scale", max(abs(drift.scale_x - 1), abs(drift.scale_y - 1)) * 100, MOST_SCALE * 100, " %"),
        ("squareness", abs(drift.squareness_deg), MOST_SQUARENESS_DEG, "°"),
    )
    for name, value, most, unit in limits:
        if not value <= most:  # also refuses what isn't a number
            raise FitError(f"{name}: {mm_text(value)}{unit} is more than the {mm_text(most)}{unit} that any printer "
                           "drifts.", "Check the signs, the unit and the paper, and read the sheet again.")
    if drift.matrix.determinant <= 0:
        raise FitError("drift: it mirrors the back.", "Check the signs of the readings.")
