"""The fit against published and independent answers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.core.geometry import Affine
from server.core.registration import Drift, Reading, fit_drift
from server.core.registration.fit import affine, similarity
from server.errors import FitError

A4_CENTRE = (105.0, 148.5)
CORNERS = [(30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0)]
SHEET = [(20.0, 20.0), (190.0, 20.0), (190.0, 277.0), (20.0, 277.0)]
SHEET_LANDED = [(20.6, 19.5), (190.3, 19.9), (189.6, 276.4), (20.0, 276.0)]

coordinate = st.floats(0, 420, allow_nan=False).map(lambda value: round(value, 3))
small = st.floats(-3, 3, allow_nan=False).map(lambda value: round(value, 3))


def read(points, landed, sheet="1"):
    return [Reading(sheet, x, y, u - x, v - y) for (x, y), (u, v) in zip(points, landed, strict=True)]


def on_sheet(drift: Drift, sheet: str = "1", points=CORNERS) -> list[Reading]:
    return [Reading(sheet, x, y, *drift.at((x, y))) for x, y in points]


def test_umeyama_published_example():
    # S. Umeyama, IEEE TPAMI 13(4), 1991: R = [[.832, .555], [-.555, .832]], c = .721, t = (-.8, .4); mean square .5333
    points, landed = [(0, 0), (1, 0), (0, 2)], [(0, 0), (-1, 0), (0, 2)]
    found = similarity(points, landed)
    scale = math.hypot(found.a, found.b)
    assert scale == pytest.approx(0.72111, abs=5e-6)
    turn = [[found.a / scale, found.c / scale], [found.b / scale, found.d / scale]]
    assert np.allclose(turn, [[0.83205, 0.55470], [-0.55470, 0.83205]], atol=5e-6)
    assert (found.e, found.f) == pytest.approx((-0.8, 0.4), abs=1e-12)
    square = sum(math.dist(found(point), there) ** 2 for point, there in zip(points, landed, strict=True)) / 3
    assert square == pytest.approx(0.53333, abs=5e-6)


def test_umeyama_through_readings_is_not_refused():
    fit = fit_drift(read([(0, 0), (1, 0), (0, 2)], [(0, 0), (-1, 0), (0, 2)]), (0.0, 0.0))
    assert (fit.drift.scale_x, fit.drift.scale_y) == pytest.approx((0.72111, 0.72111), abs=5e-6)
    assert fit.drift.rotation_deg == pytest.approx(-math.degrees(math.asin(0.5547)), abs=1e-3)
    assert fit.rms_mm == pytest.approx(math.sqrt(0.53333), abs=5e-6)
    assert "check the signs" in fit.notes()[0]


def test_worked_sheet_similarity():
    # scikit-image 0.26, SimilarityTransform fitted to these points; rms from its residuals.
    fit = fit_drift(read(SHEET, SHEET_LANDED), A4_CENTRE)
    assert fit.model == "similarity"
    assert fit.drift.scale_x == fit.drift.scale_y == pytest.approx(0.99802306, abs=5e-9)
    assert math.radians(fit.drift.rotation_deg) == pytest.approx(0.00248045, abs=5e-9)
    assert (fit.drift.matrix.e, fit.drift.matrix.f) == pytest.approx((0.700519, -0.515900), abs=5e-7)
    assert fit.rms_mm == pytest.approx(0.029080, abs=5e-7)


def test_worked_sheet_affine():
    # Ordinary least squares on these points, by numpy.linalg.lstsq outside this project.
    found = affine(SHEET, SHEET_LANDED)
    assert (found.a, found.c, found.e) == pytest.approx((0.99794118, -0.00252918, 0.71676013), abs=5e-9)
    assert (found.b, found.d, found.f) == pytest.approx((0.00235294, 0.99805447, -0.50814832), abs=5e-9)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(coordinate, coordinate, small, small), min_size=3, max_size=12))
def test_fits_agree_with_numpy(rows):
    points = np.array([row[:2] for row in rows])
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    assume(spread[1] > 1.0)
    landed = points + np.array([row[2:] for row in rows])
    # Independent solver: numpy.linalg.lstsq on the real design matrix of each model.
    design = np.array([part for x, y in points for part in ([x, -y, 1, 0], [y, x, 0, 1])])
    a, b, e, f = np.linalg.lstsq(design, landed.ravel(), rcond=None)[0]
    pairs = [tuple(point) for point in points.tolist()], [tuple(point) for point in landed.tolist()]
    found = similarity(*pairs)
    assert np.allclose([found.a, found.b, found.c, found.d], [a, b, -b, a], atol=1e-8)
    assert np.allclose([found.e, found.f], [e, f], atol=1e-5)
    design = np.column_stack([points, np.ones(len(points))])
    columns = np.linalg.lstsq(design, landed, rcond=None)[0]
    found = affine(*pairs)
    assert np.allclose([[found.a, found.b], [found.c, found.d]], columns[:2], atol=1e-6)
    assert np.allclose([found.e, found.f], columns[2], atol=1e-4)


@given(st.lists(st.tuples(coordinate, coordinate), min_size=5, max_size=9, unique=True))
@settings(max_examples=60, deadline=None)
def test_a_mirrored_set_is_not_matched_by_mirroring(points):
    spread = np.linalg.svd(np.array(points) - np.mean(points, axis=0), compute_uv=False)
    assume(spread[1] > 20)
    fit = fit_drift(read(points, [(200 - x, y) for x, y in points]), (100.0, 100.0))
    assert fit.model == "similarity"
    assert fit.drift.matrix.determinant > -1e-12
    assert fit.rms_mm > 1.0  # a mirror would leave nothing


def test_separate_scales_where_the_data_speak_for_them():
    drift = Drift.of(A4_CENTRE, 1.1, -0.4, 0.1, 1.003, 0.998, 0.05)
    readings = [Reading("1", x, y, round(u, 1), round(v, 1))
                for (x, y), (u, v) in ((point, drift.at(point)) for point in CORNERS)]
    fit = fit_drift(readings, A4_CENTRE)
    assert fit.model == "affine" and fit.chance is not None and fit.chance < 0.01
    assert fit.drift.scale_x - fit.drift.scale_y == pytest.approx(0.005, abs=0.0008)
    exact = fit_drift(on_sheet(drift), A4_CENTRE).drift
    assert (exact.dx_mm, exact.dy_mm, exact.rotation_deg) == pytest.approx((1.1, -0.4, 0.1), abs=1e-9)
    assert (exact.scale_x, exact.scale_y, exact.squareness_deg) == pytest.approx((1.003, 0.998, 0.05), abs=1e-9)


def test_a_plain_similarity_rarely_passes_for_more():
    # The F-test's level is 1 %; 400 sheets of noisy readings may show it about 4 times (binomial: 12 is beyond 4 s.d.).
    rng = np.random.default_rng(3)
    drift = Drift.of(A4_CENTRE, 1.0, 0.5, 0.2, 1.001, 1.001)
    taken = 0
    for _ in range(400):
        noise = rng.normal(0, 0.08, (5, 2))
        readings = [Reading("1", r.x_mm, r.y_mm, r.dx_mm + n[0], r.dy_mm + n[1])
                    for r, n in zip(on_sheet(drift), noise, strict=True)]
        taken += fit_drift(readings, A4_CENTRE).model == "affine"
    assert taken <= 12


def test_three_stations_never_ask_for_two_scales():
    fit = fit_drift(on_sheet(Drift.of(A4_CENTRE, scale_x=1.004, scale_y=0.998), points=CORNERS[:3]), A4_CENTRE)
    assert fit.model == "similarity" and fit.chance is None


@pytest.mark.parametrize("points", [
    CORNERS[:2], CORNERS[:1], [(30, 30), (30, 150), (30, 267)], [(0, 0), (105, 148.5), (210, 297)],
])
def test_too_few_or_collinear_stations(points):
    with pytest.raises(FitError) as caught:
        fit_drift(on_sheet(Drift.of(A4_CENTRE, 1.0, 1.0), points=points), A4_CENTRE)
    assert "plain shift" in caught.value.fix and "stations" in caught.value.message


def test_pooled_over_sheets_and_missing_stations():
    drift = Drift.of(A4_CENTRE, 0.9, -1.4, -0.15, 0.999, 0.999)
    off = [(0.2, 0.0), (-0.2, 0.1), (0.0, -0.1)]
    readings = [Reading(str(number), x, y, u + dx, v + dy)
                for number, (dx, dy) in enumerate(off)
                for (x, y), (u, v) in ((point, drift.at(point)) for point in CORNERS)]
    fit = fit_drift(readings, A4_CENTRE)
    assert fit.sheets == 3
    assert (fit.drift.dx_mm, fit.drift.dy_mm) == pytest.approx((0.9, -1.4), abs=1e-9)
    assert fit_drift(readings[1:-1], A4_CENTRE).drift.rotation_deg == pytest.approx(-0.15, abs=0.05)


def test_numbers_belong_to_where_they_are_read():
    drift = Drift.of(A4_CENTRE, 0.4, 0.9, 0.4, 0.992, 1.008)
    readings = []
    for x, y in CORNERS:
        dx, dy = drift.at((x + 9.0, y))[0], drift.at((x, y - 12.0))[1]
        readings.append(Reading("1", x, y, dx, dy, None, (9.0, 0.0), (0.0, -12.0)))
    found = fit_drift(readings, A4_CENTRE).drift
    assert found.matrix.a == pytest.approx(drift.matrix.a, abs=1e-8)
    assert (found.dx_mm, found.dy_mm) == pytest.approx((0.4, 0.9), abs=1e-6)


def test_drift_says_signs_as_they_are_seen():
    drift = Drift.of(A4_CENTRE, 1.2, 0.8, 0.12, 1.001, 1.001)
    assert drift.says() == "lands 1.2 mm right and 0.8 mm low, turned 0.12° clockwise, 0.10 % larger across, " \
                           "0.10 % larger down"
    # y points down, so a clockwise turn carries the middle of the right edge downwards.
    assert Drift.of(A4_CENTRE, rotation_deg=0.5).at((210.0, 148.5))[1] > 0
    assert Drift(Affine(), A4_CENTRE).says() == "lands where it should"


@given(small, small, st.floats(-2, 2), st.floats(0.96, 1.04), st.floats(0.96, 1.04), st.floats(-0.8, 0.8))
def test_drift_numbers_go_in_and_out(dx, dy, turn, across, down, square):
    drift = Drift.of(A4_CENTRE, dx, dy, turn, across, down, square)
    assert (drift.dx_mm, drift.dy_mm) == pytest.approx((dx, dy), abs=1e-9)
    assert (drift.rotation_deg, drift.squareness_deg) == pytest.approx((turn, square), abs=1e-9)
    assert (drift.scale_x, drift.scale_y) == pytest.approx((across, down), abs=1e-12)
