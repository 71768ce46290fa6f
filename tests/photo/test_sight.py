"""Photographs by the virtual photographer, whose drift is known: what is read, how sure it is, and what is refused."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from server.core.sighting import SheetSight
from server.core.sizes import paper_named
from server.photo.deck import read_sheet
from tests.photo.conftest import Faces
from tests.photographer import PX, Conditions, drift_at, photograph

DRIFT = (1.3, -0.8, 0.25, 1.002, 0.998)
PLAIN = Conditions(drift=DRIFT, megapixels=3.0, turn=7.0, seed=4)
HARD = Conditions(
    drift=(-2.1, 1.9, -0.4, 0.997, 1.003), placed=(2.5, -3.0, 0.5), transmission=0.17, grain=0.08, paper_blur=0.25,
    ink_spread=0.1, veil=0.12, uneven=0.7, spot=0.7, bar=0.5, megapixels=4.0, tilt=24.0, tilt_way=70.0, turn=203.0,
    barrel=0.03, lens_blur=1.1, motion=1.5, motion_way=0.7, noise=0.015, sharpen=0.9, tones=0.4, quality=70, seed=11)
SHOTS = {
    "plain": PLAIN,
    "everything at once": HARD,
    "upside down, aslant": replace(HARD, turn=90.0, tilt=25.0, tilt_way=200.0, motion=0.6, seed=12),
    "a finger over a corner": replace(PLAIN, finger=(10.0, 30.0, 30.0), turn=181.0, seed=13),
    "a window's bar": replace(PLAIN, bar=0.75, drift=(2.7, 2.5, 0.0, 1.0, 1.0), seed=14),
    "small and turned": replace(PLAIN, megapixels=2.0, turn=45.0, fills=0.8, seed=15),
}


def grey(jpeg: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(jpeg)).convert("L"))


def read(pair: Faces, how: Conditions, paper: str = "a4", flip: str = "long-edge") -> SheetSight:
    picture = grey(photograph(*pair, how).jpeg)
    return read_sheet(picture, "window.jpg", paper_named(paper), flip).sight  # type: ignore[arg-type]


def errors(sight: SheetSight, how: Conditions, size_mm: tuple[float, float]) -> np.ndarray:
    """What was read less what is true, (n, 2)."""
    found = np.array([(one.dx_mm, one.dy_mm) for one in sight.read])
    return found - drift_at(how.drift, size_mm, np.array([one.at for one in sight.read]))


@pytest.mark.parametrize("shot", SHOTS)
def test_every_station_in_view_is_read(a4: Faces, shot: str) -> None:
    how = SHOTS[shot]
    sight = read(a4, how)
    assert sight.kind == "test sheet" and not sight.problems
    unread = [one for one in sight.stations if not one.read]
    assert len(sight.stations) == 9
    assert [one.station for one in unread] == ([1] if how.finger else [])
    assert all(one.why and one.sigma_mm is None for one in unread)
    off = errors(sight, how, (210.0, 297.0))
    assert np.hypot(*off.T).max() < 0.06
    sigma = np.array([one.sigma_mm for one in sight.read])
    assert (np.abs(off) < 5 * sigma[:, None]).all() and sigma.max() < 0.06


def test_a_short_edge_sheet_on_other_paper(a5_short: Faces) -> None:
    how = replace(PLAIN, turn=120.0)
    sight = read(a5_short, how, "a5", "short-edge")
    assert len(sight.read) == len(sight.stations) == 5
    assert np.hypot(*errors(sight, how, (148.0, 210.0)).T).max() < 0.05


def test_half_a_sheet_tells_what_it_shows(a4: Faces) -> None:
    picture = grey(photograph(*a4, replace(PLAIN, turn=0.0)).jpeg)
    sight = read_sheet(picture[:picture.shape[0] // 2], "half.jpg", paper_named("a4"), "long-edge").sight
    assert {1, 2, 6} <= {one.station for one in sight.read}
    below = [one for one in sight.stations if one.station in (4, 5, 9)]
    assert all("Outside the picture" in one.why for one in below)


def upside_down(pair: Faces) -> Faces:
    return pair[0], np.ascontiguousarray(pair[1][::-1, ::-1])


REFUSED = {
    "one-side": (lambda pair: (pair[0], np.zeros_like(pair[1])), PLAIN, "a4", "long-edge"),
    "wrong-flip": (upside_down, PLAIN, "a4", "long-edge"),
    "mirrored": (lambda pair: pair, replace(PLAIN, mirrored=True), "a4", "long-edge"),
    "other-flip": (lambda pair: pair, PLAIN, "a4", "short-edge"),
    "other-sheet": (lambda pair: pair, replace(PLAIN, tilt=15.0), "letter", "long-edge"),
}


@pytest.mark.parametrize("code", REFUSED)
def test_what_is_wrong_with_the_print_or_the_picture_is_named(a4: Faces, code: str) -> None:
    change, how, paper, flip = REFUSED[code]
    sight = read(change(a4), how, paper, flip)
    problem, = sight.problems
    assert problem.code == code and problem.message and problem.fix
    assert not sight.read


def test_no_sheet_is_no_sheet() -> None:
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:900, 0:1200]
    halftone = (127 + 120 * np.sin(x / 5) * np.sin(y / 5)).astype(np.uint8)
    noise = rng.integers(0, 256, (900, 1200), np.uint8)
    for picture in (halftone, noise, np.zeros((900, 1200), np.uint8), np.full((40, 30), 255, np.uint8)):
        sight = read_sheet(picture, "cat.jpg", paper_named("a4"), "long-edge").sight
        assert [problem.code for problem in sight.problems] == ["no-sheet"] and not sight.stations


def test_a_ring_alone_without_its_back_is_no_reading(a4: Faces) -> None:
    """A shape without contrast is no evidence: blank paper in a ring gives nothing."""
    back = a4[1].copy()
    row, column = round(31 * PX), round(31 * PX)
    back[row - 60:row + 60, column - 60:column + 60] = 0
    sight = read((a4[0], back), PLAIN)
    first = next(one for one in sight.stations if one.station == 1)
    assert not first.read and "back's mark" in first.why and len(sight.read) == 8
