"""Tolerance factors against the published table, and the radial promise against simulated printers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from server.core.registration import Drift, Reading, fit_drift
from server.core.registration.tolerance import (
    UNEQUAL,
    chi2_beyond,
    chi2_quantile,
    f_beyond,
    howe_factor,
    radius_factor,
    tolerance_factor,
)
from server.errors import BadValue
from tests.simulated_printers import trials

CENTRE = (105.0, 148.5)
STATIONS = [(30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0)]

# Two-sided 95 % / 95 %: Statistics for Environmental Engineers, Table 21.1 (n = 4 to 10), and scipy 1.17 (n = 3).
EXACT = {3: 9.789, 4: 6.341, 5: 5.077, 6: 4.422, 7: 4.020, 8: 3.746, 9: 3.546, 10: 3.393}
# Howe's approximation, computed with scipy 1.17.
HOWE = {3: 9.993, 4: 6.399, 5: 5.094, 6: 4.423, 7: 4.013, 8: 3.736, 9: 3.535, 10: 3.382}


@pytest.mark.parametrize(("count", "factor"), EXACT.items())
def test_exact_factors(count, factor):
    assert tolerance_factor(count) == pytest.approx(factor, abs=0.00051)


@pytest.mark.parametrize(("count", "factor"), HOWE.items())
def test_howes_factors(count, factor):
    assert howe_factor(count) == pytest.approx(factor, abs=0.00051)


def test_nist_worked_case():
    # NIST/SEMATECH e-Handbook 7.2.6.3: N = 43, 90 % of the population, 99 % confidence: k2 = 2.2173 by Howe's formula
    assert howe_factor(43, 0.90, 0.99) == pytest.approx(2.2173, abs=5e-5)
    assert tolerance_factor(43, 0.90, 0.99) == pytest.approx(2.2173, abs=0.01)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 9, 42])
def test_chi_squared_agrees_with_scipy(dof):
    for value in (0.001, 0.5, 3.0, 20.0, 80.0):
        assert chi2_beyond(value, dof) == pytest.approx(stats.chi2.sf(value, dof), abs=1e-12)
    assert chi2_quantile(0.05, dof) == pytest.approx(stats.chi2.ppf(0.05, dof), rel=1e-9)


@pytest.mark.parametrize(("value", "over", "under"), [(1.3, 8, 30), (2.2, 2, 5), (0.4, 10, 1), (0.0, 4, 4)])
def test_f_agrees_with_scipy(value, over, under):
    assert f_beyond(value, over, under) == pytest.approx(stats.f.sf(value, over, under), abs=1e-12)


@pytest.mark.parametrize("count", [3, 5, 10])
def test_the_radius_factor_keeps_its_own_definition(count):
    """Drawn by numpy: with axes UNEQUAL to 1, r covers 95 % around the estimated mean in 95 of 100 samples.

    A share within r of a mean that is off by m is taken from 4,000 points; 2,000 samples allow 95 % less 3 s.d.
    """
    rng, axes = np.random.default_rng(count), np.array([UNEQUAL, 1.0])
    points = rng.normal(size=(4000, 2)) * axes
    kept = 0
    for _ in range(2000):
        sample = rng.normal(size=(count, 2)) * axes
        radius = radius_factor(count) * math.sqrt(sample.var(axis=0, ddof=1).sum())
        kept += np.mean(np.hypot(*(points - sample.mean(axis=0)).T) <= radius) >= 0.95
    assert 0.935 <= kept / 2000 <= 0.975


def test_the_statement_is_true_and_not_idle():
    done = list(trials(240, seed=1))
    assert np.mean([one.kept for one in done]) >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / 240)
    assert np.median([one.ratio for one in done]) <= 2.0


@pytest.mark.parametrize("bad", [(1, 0.95, 0.95), (5, 1.0, 0.95), (5, 0.95, 0.0)])
def test_what_has_no_factor(bad):
    with pytest.raises(BadValue):
        tolerance_factor(*bad)


def printed(rng, count: int, sx: float, sy: float, turn_deg: float) -> list[Reading]:
    readings = []
    for number in range(count):
        own = Drift.of(CENTRE, 1.0 + rng.normal(0, sx), 0.4 + rng.normal(0, sy), rng.normal(0, turn_deg))
        readings += [Reading(str(number), *point, *own.at(point)) for point in STATIONS]
    return readings


@pytest.mark.parametrize(("count", "sx", "sy", "turn_deg"), [
    (5, 0.2, 0.2, 0.0), (5, 0.3, 0.0, 0.0), (5, 0.05, 0.25, 0.02), (3, 0.2, 0.1, 0.03), (10, 0.1, 0.3, 0.03),
])
def test_nineteen_of_twenty_is_true_at_the_stated_confidence(count, sx, sy, turn_deg):
    """The promise is kept by at least 95 of 100 printers that were measured so.

    For every simulated true-up the share of further sheets within r, at the worst place, of where the fit says is
    computed from 3,000 sheets; 300 true-ups allow 95 % less 3 s.d. (0.912) by chance alone.
    """
    rng = np.random.default_rng(count)
    further = rng.normal(size=(3000, 3)) * (sx, sy, math.radians(turn_deg))
    kept = 0
    for _ in range(300):
        fit = fit_drift(printed(rng, count, sx, sy, turn_deg), CENTRE)
        at = fit.wander.at
        assert at is not None
        x, y = at[0] - CENTRE[0], at[1] - CENTRE[1]
        told = fit.drift.at(at)
        left = np.hypot(1.0 + further[:, 0] - further[:, 2] * y - told[0],
                        0.4 + further[:, 1] + further[:, 2] * x - told[1])
        kept += int(np.mean(left <= fit.wander.radius_mm) >= 0.95)
    assert kept / 300 >= 0.912


def test_one_sheet_cannot_know():
    fit = fit_drift(printed(np.random.default_rng(1), 1, 0.2, 0.2, 0.0), CENTRE)
    assert fit.wander.radius_mm is None
    assert "One sheet can't show" in fit.wander.says() and "5 or more" in fit.wander.says()


def test_three_sheets_say_why_five_are_better():
    fit = fit_drift(printed(np.random.default_rng(1), 3, 0.2, 0.2, 0.0), CENTRE)
    assert "5.4 times" in fit.wander.says() and "5 or more" in fit.wander.says()


def test_five_sheets_promise():
    fit = fit_drift(printed(np.random.default_rng(1), 5, 0.1, 0.1, 0.0), CENTRE)
    says = fit.wander.says()
    assert says.startswith("19 sheets of 20 land within ") and "95 % confidence, from 5 sheets" in says
    # by hand: the radius' factor for five sheets (computed, see below) times the root of both variances
    offs = np.array([[r.dx_mm, r.dy_mm] for r in printed(np.random.default_rng(1), 5, 0.1, 0.1, 0.0)[::5]])
    total = math.sqrt(np.var(offs, axis=0, ddof=1).sum())
    assert fit.wander.radius_mm == pytest.approx(3.629 * total, rel=1e-3)


def test_a_sheet_with_one_station_counts_as_a_shift():
    readings = printed(np.random.default_rng(2), 4, 0.1, 0.1, 0.0)
    fit = fit_drift(readings[:16], CENTRE)  # the last sheet has one station only
    assert fit.sheets == 4 and fit.wander.radius_mm is not None and 0 < fit.wander.radius_mm < 3
