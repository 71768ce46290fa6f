"""Slips of the pen are named with the value that would fit; honest readings are left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.core.registration import Drift, Reading, fit_drift
from server.core.registration.outliers import find_suspects

CENTRE = (105.0, 148.5)
STATIONS = [(30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0)]
DRIFT = Drift.of(CENTRE, 1.8, -1.0, 0.05, 0.999, 0.999)


def sheets(count: int, seed: int = 1, drift: Drift = DRIFT) -> list[Reading]:
    """Readings to a tenth, with a wander of 0.2 mm and 0.03 degrees, as a person would write them down."""
    rng = np.random.default_rng(seed)
    readings = []
    for number in range(1, count + 1):
        own = Drift.of(CENTRE, rng.normal(0, 0.2), rng.normal(0, 0.2), rng.normal(0, 0.03))
        for station, point in enumerate(STATIONS, 1):
            (dx, dy), (wx, wy), noise = drift.at(point), own.at(point), rng.normal(0, 0.03, 2)
            readings.append(Reading(str(number), *point, round(dx + wx + noise[0], 1),
                                    round(dy + wy + noise[1], 1), station))
    return readings


@pytest.mark.parametrize("count", [1, 2, 3, 5])
@pytest.mark.parametrize(("slip", "why"), [
    (lambda r: replace(r, dx_mm=-r.dx_mm), "the sign of dx"),
    (lambda r: replace(r, dy_mm=-r.dy_mm), "the sign of dy"),
    (lambda r: replace(r, dx_mm=-r.dx_mm, dy_mm=-r.dy_mm), "both signs"),
    (lambda r: replace(r, dx_mm=r.dx_mm * 10), "the decimal point of dx"),
    (lambda r: replace(r, dx_mm=r.dy_mm, dy_mm=r.dx_mm), "dx and dy changed places"),
    (lambda r: replace(r, dx_mm=r.dx_mm + 3), "a digit of dx"),
])
def test_one_slip_is_named_with_what_would_fit(count, slip, why):
    for at in range(5):
        readings = sheets(count, seed=at)
        right, readings[at] = readings[at], slip(readings[at])
        suspects = find_suspects(readings)
        assert [suspect.reading for suspect in suspects] == [readings[at]]
        assert (suspects[0].fits_dx_mm, suspects[0].fits_dy_mm) == pytest.approx((right.dx_mm, right.dy_mm), abs=0.11)
        assert suspects[0].why == why


def test_a_slip_does_not_bend_the_fit():
    readings = sheets(5)
    clean = fit_drift(readings, CENTRE)
    readings[7] = replace(readings[7], dy_mm=-readings[7].dy_mm)
    fit = fit_drift(readings, CENTRE)
    assert len(fit.suspects) == 1 and fit.rms_mm == pytest.approx(clean.rms_mm, abs=0.02)
    assert fit.drift.dy_mm == pytest.approx(clean.drift.dy_mm, abs=0.03)
    assert len(fit.residuals) == 25  # the suspect's too


def test_honest_readings_are_rarely_doubted():
    # The level is 5 % for all readings of a set together: of 200 sets ten may be doubted by chance, and the 0.4 mm
    # floor leaves far fewer.
    rng = np.random.default_rng(11)
    doubted = 0
    for seed in range(200):
        drift = Drift.of(CENTRE, rng.uniform(-3, 3), rng.uniform(-3, 3), rng.uniform(-0.5, 0.5),
                         rng.uniform(0.996, 1.004), rng.uniform(0.996, 1.004))
        doubted += bool(find_suspects(sheets(int(rng.integers(1, 6)), seed, drift)))
    assert doubted <= 3


def test_two_slips_on_different_sheets():
    readings = sheets(5, seed=4)
    readings[2] = replace(readings[2], dx_mm=-readings[2].dx_mm)
    readings[16] = replace(readings[16], dy_mm=readings[16].dy_mm * 10)
    assert [suspect.reading for suspect in find_suspects(readings)] == [readings[2], readings[16]]


def test_three_stations_outvote_nobody():
    readings = sheets(1)[:3]
    readings[0] = replace(readings[0], dx_mm=-9.0)
    assert find_suspects(readings) == ()
