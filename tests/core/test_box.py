"""The box, folded once in numpy: a rigid turn about each crease, from what the JSON says and nothing else."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from server.core.box import Box, box_for, box_to_json
from server.core.sizes import PAPERS, Paper
from server.errors import BadValue, DoesNotFit

Solid = dict[str, NDArray[np.float64]]
LARGE = Paper("own", "own", 900, 1200, "test")
DECK = (63.0, 88.0, 12.3)


def about(start: NDArray[np.float64], end: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    """The rigid turn about the line from ``start`` to ``end`` (Rodrigues' formula), as a 4 x 4 matrix."""
    axis = (end - start) / np.linalg.norm(end - start)
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    angle = np.radians(degrees)
    turn = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, start - turn @ start
    return matrix


def folded(values: dict[str, Any]) -> Solid:
    """Where each panel's corners end, in mm. The page is z = 0, x right, y down; each net keeps its first panel."""
    flat = {panel["name"]: np.array([[x, y, 0.0] for x, y in panel["corners_mm"]]) for panel in values["panels"]}
    placed: dict[str, NDArray[np.float64]] = {}
    left = list(values["creases"])
    while left:
        ready = [crease for crease in left if crease["between"][0] in placed]
        if not ready:
            placed[left[0]["between"][0]] = np.eye(4)
            continue
        for crease in ready:
            base = placed[crease["between"][0]]
            ends = [base @ np.array([*point, 0.0, 1.0]) for point in (crease["from_mm"], crease["to_mm"])]
            placed[crease["between"][1]] = about(ends[0][:3], ends[1][:3], crease["turn_deg"]) @ base
            left.remove(crease)
    return {name: (np.c_[corners, np.ones(len(corners))] @ placed[name].T)[:, :3] for name, corners in flat.items()}


def extent(solid: Solid, names: list[str]) -> list[float]:
    points = np.vstack([solid[name] for name in names])
    return sorted(float(side) for side in points.max(axis=0) - points.min(axis=0))


def assert_closes(values: dict[str, Any], names: list[str], inside: list[float], open_top: bool) -> None:
    """Panels of ``names`` are the faces of a cuboid of those sides, each edge of one meeting an edge of another."""
    solid = folded(values)
    assert extent(solid, names) == pytest.approx(sorted(inside), abs=0.05)
    low = np.vstack([solid[name] for name in names]).min(axis=0)
    high = np.vstack([solid[name] for name in names]).max(axis=0)
    corners = {tuple(np.round(corner, 3)) for name in names for corner in solid[name]}
    whole = [np.array([x, y, z]) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    for corner in whole:  # every corner of the cuboid is one of panels, and no panel's corner lies elsewhere
        assert min(np.linalg.norm(corner - np.array(found)) for found in corners) < 0.05
    for found in corners:
        assert min(np.linalg.norm(corner - np.array(found)) for corner in whole) < 0.05
    area = sum(np.linalg.norm(np.cross(solid[name][1] - solid[name][0], solid[name][2] - solid[name][1]))
               for name in names)
    sides = high - low
    faces = [sides[0] * sides[1], sides[1] * sides[2], sides[0] * sides[2]]
    open_face = inside[0] * inside[1] if open_top else 0.0
    assert area == pytest.approx(2 * sum(faces) - open_face, rel=1e-3)
    for name, points in solid.items():  # flaps and tabs end inside, or on, the walls
        if any(name.startswith(one) for one in names):
            assert (points >= low - 0.05).all() and (points <= high + 0.05).all(), name


SIZES = st.tuples(st.integers(300, 1200), st.integers(300, 1500), st.integers(5, 900)).map(
    lambda tenths: (tenths[0] / 10, tenths[1] / 10, tenths[2] / 10))


@settings(max_examples=30, deadline=None)
@given(SIZES, st.integers(0, 50))
def test_a_tuck_box_closes_to_a_cuboid_around_the_deck(deck: tuple[float, float, float], tenths: int) -> None:
    values = box_to_json(box_for("tuck", deck, LARGE, clearance_mm=tenths / 10))
    assert values["deck_mm"] == pytest.approx(list(deck)) and values["clearance_mm"] == tenths / 10
    assert values["inside_mm"] == pytest.approx([side + tenths / 10 for side in deck])
    assert_closes(values, ["back", "left", "front", "right", "lid", "bottom"], values["inside_mm"], False)
    solid = folded(values)
    for flap, wall in (("glue tab", "right"), ("lid flap", "front"), ("bottom flap", "front"),
                       ("left dust flap above", "lid"), ("right dust flap below", "bottom")):
        normal = np.cross(solid[wall][1] - solid[wall][0], solid[wall][2] - solid[wall][0])
        off = (solid[flap] - solid[wall][0]) @ (normal / np.linalg.norm(normal))
        assert np.abs(off).max() < 0.05, flap  # lies flat against its wall


@settings(max_examples=20, deadline=None)
@given(SIZES)
def test_base_and_lid_close_and_the_lid_goes_over(deck: tuple[float, float, float]) -> None:
    values = box_to_json(box_for("lid", deck, LARGE, caliper_mm=0.4))
    width, height, depth = values["inside_mm"]
    walls = ["", " left", " right", " top", " bottom"]
    assert_closes(values, [f"base{wall}" for wall in walls], [width, height, depth], True)
    lid = next(panel for panel in values["panels"] if panel["name"] == "lid")["corners_mm"]
    across = sorted(max(axis) - min(axis) for axis in zip(*lid, strict=True))
    for inner, outer in zip(sorted((width, height)), across, strict=True):
        assert outer >= inner + 2 * 0.4 + 0.3


def inside_of(point: NDArray[np.float64], polygon: NDArray[np.float64]) -> bool:
    """Ray casting: how often a level ray crosses the polygon's edges."""
    hits = 0
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if (y0 > point[1]) != (y1 > point[1]) and point[0] < x0 + (point[1] - y0) * (x1 - x0) / (y1 - y0):
            hits += 1
    return hits % 2 == 1


@pytest.mark.parametrize("kind", ["tuck", "lid"])
@pytest.mark.parametrize("deck", [DECK, (57.0, 88.0, 2.0), (70.0, 120.0, 40.0)])
def test_flat_nothing_overlaps_and_all_of_it_is_printed(kind: str, deck: tuple[float, float, float]) -> None:
    box = box_for(kind, deck, LARGE)
    polygons = {panel.name: np.array(panel.corners) for panel in box.panels}
    rng = np.random.default_rng(7)
    for (one, first), (other, second) in combinations(polygons.items(), 2):
        low = np.maximum(first.min(axis=0), second.min(axis=0))
        high = np.minimum(first.max(axis=0), second.max(axis=0))
        if (high - low > 1e-6).all():
            points = rng.uniform(low, high, (200, 2))
            assert not any(inside_of(point, first) and inside_of(point, second) for point in points), (one, other)


def test_all_creases_turn_the_same_way_and_lie_where_two_panels_meet() -> None:
    for box in (box_for("tuck", DECK, PAPERS["a4"]), box_for("lid", DECK, PAPERS["a4"])):
        values = box_to_json(box)
        corners = {panel["name"]: np.array(panel["corners_mm"]) for panel in values["panels"]}
        assert {crease["turn_deg"] for crease in values["creases"]} == {90.0}
        for crease in values["creases"]:
            start, end = np.array(crease["from_mm"]), np.array(crease["to_mm"])
            for name, side in zip(crease["between"], (-1, 1), strict=True):
                for spot in (start, end):
                    assert np.abs(corners[name] - spot).sum(axis=1).min() < 1e-4
                middle = corners[name].mean(axis=0) - start
                assert np.sign((end - start)[0] * middle[1] - (end - start)[1] * middle[0]) == side
        assert len(corners) == len(values["creases"]) + (1 if box.kind == "tuck" else 2)
        for panel in box.panels:  # nothing beyond the margins of 5 mm
            assert panel.rect.x >= 5 - 1e-6 and panel.rect.right <= 205 + 1e-6
            assert panel.rect.y >= 5 - 1e-6 and panel.rect.bottom <= 292 + 1e-6


@settings(max_examples=20, deadline=None)
@given(SIZES, st.sampled_from(sorted(PAPERS)), st.sampled_from(["tuck", "lid"]))
def test_refused_with_the_paper_that_would_take_it(deck: tuple[float, float, float], paper: str, kind: str) -> None:
    try:
        box_for(kind, deck, PAPERS[paper])
    except DoesNotFit as error:
        assert "mm flat" in error.message and PAPERS[paper].label in error.message
        takes = [one for one in PAPERS.values() if f"Use {one.label}" in error.fix]
        assume(bool(takes))
        assert isinstance(box_for(kind, deck, takes[0]), Box)


def test_what_cannot_be_meant_is_named() -> None:
    with pytest.raises(BadValue, match=r"kind: 'bag' is not known\. Use tuck or lid\."):
        box_for("bag", DECK, PAPERS["a4"])
    with pytest.raises(BadValue, match=r"clearance: -1 mm is too little\. Use 0 to 30 mm"):
        box_for("tuck", DECK, PAPERS["a4"], clearance_mm=-1)
