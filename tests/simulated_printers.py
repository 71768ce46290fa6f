"""Simulated printers: how often the statement of wander is kept, and how wide it is beside the truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import integrate, optimize, stats

from server.core.registration import Drift, Reading, fit_drift

CENTRE = (105.0, 148.5)
STATIONS = ((30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0))
AXES = {"alike": (1.0, 1.0), "x twice y": (1.0, 0.5), "y twice x": (0.5, 1.0)}
_LATER = 2000


@dataclass(frozen=True, slots=True)
class Trial:
    """One printer: whether at least 95 % of its later sheets land within r, and r over the true 95 % radius."""

    axes: str
    kept: bool
    ratio: float


def true_radius(sx: float, sy: float) -> float:
    """The radius that holds 95 % of a centred normal point, by scipy's quadrature."""
    def beyond(radius: float) -> float:
        def part(x: float) -> float:
            return stats.norm.pdf(x / sx) / sx * (2 * stats.norm.cdf(np.sqrt(radius**2 - x * x) / sy) - 1)
        return 2 * integrate.quad(part, 0, radius)[0] - 0.95
    return float(optimize.brentq(beyond, 0.1 * max(sx, sy), 5 * max(sx, sy)))


def trials(count: int, seed: int, sheets: int = 5) -> Iterator[Trial]:
    """``count`` printers that wander by 0.05 to 0.2 mm, each trued up by readings rounded to 0.1 mm."""
    rng = np.random.default_rng(seed)
    relative = {name: true_radius(*axes) for name, axes in AXES.items()}
    for number in range(count):
        axes = list(AXES)[number % len(AXES)]
        size = rng.uniform(0.05, 0.2)
        sx, sy = (size * axis for axis in AXES[axes])
        dx, dy, turn = rng.uniform(-2, 2), rng.uniform(-2, 2), rng.uniform(-0.3, 0.3)
        readings = []
        for sheet in range(sheets):
            own = Drift.of(CENTRE, dx + rng.normal(0, sx), dy + rng.normal(0, sy), turn)
            for place in STATIONS:
                read_dx, read_dy = own.at(place)
                readings.append(Reading(str(sheet), *place, round(read_dx, 1), round(read_dy, 1)))
        fit = fit_drift(readings, CENTRE)
        assert fit.wander.at is not None and fit.wander.radius_mm is not None
        told, true = fit.drift.at(fit.wander.at), Drift.of(CENTRE, dx, dy, turn).at(fit.wander.at)
        off = np.hypot(true[0] - told[0] + rng.normal(0, sx, _LATER), true[1] - told[1] + rng.normal(0, sy, _LATER))
        radius = fit.wander.radius_mm
        yield Trial(axes, bool(np.mean(off <= radius) >= 0.95), radius / (size * relative[axes]))


def wander_table(count: int = 500, seed: int = 1) -> str:
    """The statement's table for ``tests.bench``."""
    done = list(trials(count, seed))
    lines = [f"Statement of wander, {count} simulated printers, 5 sheets each: kept, and r over the true 95 % radius"]
    for name in ("all", *AXES):
        some = [one for one in done if name in ("all", one.axes)]
        kept = 100 * np.mean([one.kept for one in some])
        lines.append(f"  axes {name:<10} kept by {kept:5.1f} % (95 or more)   "
                     f"median {np.median([one.ratio for one in some]):.2f} (2.00 or less)")
    return "\n".join(lines)
