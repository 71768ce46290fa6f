"""A deck's printed sheet in a photograph against the light: how far this very sheet is off.

Its marks are read as a test sheet's stations are, in units of their own size. Where they lie on the sheet is told by
the plan; without one it is worked out from the rings themselves, each of which shows the picture's scale and turn at
its place: good enough for the sheet's turn, and no matter for the numbers, which are each ring's own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import (
    DECK_CORNERS,
    DECK_SIZES,
    STATION_WORDS,
    DeckSheet,
    deck_mark,
    deck_place,
    ring_points,
)
from server.core.geometry import Point, bounds
from server.core.plan import Flip
from server.core.sighting import SheetSight, Sight, SightProblem, off_of
from server.core.sizes import Paper
from server.core.units import mm_text
from server.photo.discs import REACH_MM, Back, flip_seen
from server.photo.lens import Array, Lens, carried
from server.photo.rings import Ring, find_rings
from server.photo.sight import (
    NO_SHEET,
    Found,
    backs_of,
    fitted,
    measured,
    placed,
    read_test_sheet,
    refused,
    sights_of,
    unmirrored,
)

_DECK_PLACES = range(len(STATION_WORDS), len(STATION_WORDS) + DECK_CORNERS * len(DECK_SIZES))
_TURNS = 30
_LEAST_POINTER = 0.2  # of a disc's darkness: through paper small pointers are hardly darker than its grain

NO_MARKS = SightProblem("no-sheet", "No sheet with marks for a photograph is to be seen.",
                        "Have the whole sheet in the picture, sharp, in front of a bright window, and tap on its white "
                        "edge so that it isn't burnt out. The smallest marks take 12 megapixels.")
_TEST_SHEET = SightProblem("other-sheet", "This is a test sheet, not a sheet of the deck.",
                           "Read it without the deck's plan.")
_OTHER = SightProblem("other-sheet", "The marks don't lie as this deck's plan has them.",
                      "Give the plan that the sheet was printed by, and have one flat sheet in the picture.")


def read_sheet(grey: NDArray[np.uint8], photo: str, paper: Paper, flip: Flip, deck: DeckSheet | None = None) -> Found:
    """Read a picture of a test sheet on ``paper`` for ``flip``, or of a sheet of a deck, of ``deck`` where one is
    given; never raises for what it shows."""
    rings = find_rings(grey)
    marks = sum(ring.place in _DECK_PLACES for ring in rings)
    if deck is None and marks <= len(rings) - marks:
        return read_test_sheet(grey, photo, paper, flip, rings)
    if marks < len(rings) - marks:
        return refused(photo, _TEST_SHEET)
    return _read_deck(grey, photo, rings, deck)


def _read_deck(grey: NDArray[np.uint8], photo: str, rings: Sequence[Ring], deck: DeckSheet | None) -> Found:
    plain = unmirrored(rings, _DECK_PLACES)
    if isinstance(plain, SightProblem):
        return refused(photo, NO_MARKS if plain is NO_SHEET else plain)
    size = deck.size if deck else Counter(_size(ring) for ring in plain).most_common(1)[0][0]
    plain = [ring for ring in plain if _size(ring) == size]
    points = ({deck_place(mark.corner, mark.size): _scaled(mark.centre, 1 / size) for mark in deck.marks} if deck
              else _points_of(plain, grey.shape))
    found = placed([ring for ring in plain if ring.place in points], points, grey.shape) if plain else None
    front = measured(grey, points, *found) if found else None
    if front is None:
        return refused(photo, _OTHER if deck else NO_MARKS)
    backs = backs_of(grey, front, size)
    problem = _whole(backs, size, deck)
    if problem:
        return refused(photo, problem)
    sights = tuple(_in_mm(sight, size) for sight in sights_of(front, backs, size))
    fronts = tuple((_corner(place) + 1, _scaled(front.points[place], size)) for place in front.places)
    # Of all rings, not of the backs that were read: three of four corners have their mean aside.
    middle = deck.middle if deck else bounds(point for _, point in fronts).centre
    sheet = SheetSight(photo, sights, (), "deck sheet", off_of(sights, middle))
    seen = tuple((_corner(place) + 1, _scaled(back.middle, size))
                 for place, back in zip(front.places, backs, strict=True) if back.seen)
    return Found(sheet, _for_mm(front.lens, size), fronts, seen, size)


def _size(ring: Ring) -> float:
    return (deck_mark(ring.place) or (0, 0.0))[1]


def _corner(place: int) -> int:
    return (deck_mark(place) or (0, 0.0))[0]


def _scaled(point: Point, by: float) -> Point:
    return point[0] * by, point[1] * by


def _for_mm(lens: Lens, size: float) -> Lens:
    """The lens of units as one of millimetres."""
    return replace(lens, homography=lens.homography @ np.diag([1 / size, 1 / size, 1.0]))


def _in_mm(sight: Sight, size: float) -> Sight:
    dx, dy, sigma = (None if value is None else value * size for value in (sight.dx_mm, sight.dy_mm, sight.sigma_mm))
    return replace(sight, station=_corner(sight.station - 1) + 1, at=_scaled(sight.at, size), dx_mm=dx, dy_mm=dy,
                   sigma_mm=sigma)


def _points_of(rings: Sequence[Ring], shape: tuple[int, ...]) -> dict[int, Point]:
    """Where rings lie to each other, in units, the first one's middle being (0, 0): first by the two ends' own scales
    and turns, then by turns through the lens that fits them all."""
    first = rings[0]
    centres = [np.array(ring.centre) for ring in rings]
    found = [np.zeros(2)]
    for ring, centre in zip(rings[1:], centres[1:], strict=True):
        found.append((_from(first, centre - centres[0]) + _from(ring, centre - centres[0])) / 2)
    dots = np.array(ring_points())
    for _ in range(_TURNS):
        points = {ring.place: (float(at[0]), float(at[1])) for ring, at in zip(rings, found, strict=True)}
        lens, _off = fitted(rings, points, shape)
        if lens is None:
            break
        found = [at + (lens.to_sheet(carried(ring.to_picture, dots)) - dots - at).mean(axis=0)
                 for ring, at in zip(rings, found, strict=True)]
        found = [at - found[0] for at in found]
    return points


def _from(ring: Ring, pixels: Array) -> Array:
    """A way in the picture as one in the ring's own units, as its middle has them."""
    h = ring.to_picture / ring.to_picture[2, 2]
    way: Array = np.linalg.solve(h[:2, :2] - np.outer(h[:2, 2], h[2, :2]), pixels)
    return way


def _whole(backs: Sequence[Back], size: float, deck: DeckSheet | None) -> SightProblem | None:
    """What is wrong with the whole sheet, seen at its back marks."""
    if not any(back.seen for back in backs):
        reach = mm_text(size * REACH_MM, 1)
        return SightProblem(
            "one-side", f"No ring shows a mark of the back within {reach} mm.",
            f"Have a brighter light behind the sheet; thinner paper lets more through. Backs that are off by more than "
            f"{reach} mm are seen by eye and read on a test sheet.")
    made, right = flip_seen(backs, _LEAST_POINTER)
    if made is None:
        return None
    words = made.replace("-", " ")
    if not right:
        return SightProblem("wrong-flip", "The back is upside down.",
                            "Two sheets are laid back to back with both heads up; a sheet printed on both sides was "
                            f"made for a flip on the {words}: choose it in the print dialog.")
    if deck and made != deck.flip:
        return SightProblem("other-flip", f"This sheet is made for a flip on the {words}, and the plan is for the "
                            f"{deck.flip.replace('-', ' ')}.", "Give the plan that it was printed by.")
    return None
