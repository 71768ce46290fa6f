"""The one geometry, against matrices worked by numpy and against a sheet of paper turned in the hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.geometry import Affine, Edges, Rect, ThroughFront, bounds

NUMBER = st.floats(-500, 500)
AFFINE = st.builds(Affine, *(st.floats(-3, 3) for _ in range(4)), NUMBER, NUMBER)
POINT = st.tuples(NUMBER, NUMBER)


def as_numpy(matrix: Affine) -> np.ndarray:
    """ISO 32000-1, 8.3.4: [a b c d e f] stands for x' = a x + c y + e, y' = b x + d y + f."""
    return np.array([[matrix.a, matrix.c, matrix.e], [matrix.b, matrix.d, matrix.f], [0, 0, 1]])


@given(AFFINE, POINT)
def test_affine_is_the_matrix_of_the_pdf_standard(matrix: Affine, point: tuple[float, float]) -> None:
    assert matrix(point) == pytest.approx(tuple((as_numpy(matrix) @ [*point, 1])[:2]))


@given(AFFINE, AFFINE)
def test_after_is_the_matrix_product(second: Affine, first: Affine) -> None:
    assert np.allclose(as_numpy(second.after(first)), as_numpy(second) @ as_numpy(first), atol=1e-9)


@given(AFFINE.filter(lambda matrix: abs(matrix.determinant) > 0.05))
def test_inverse_undoes(matrix: Affine) -> None:
    assert np.allclose(as_numpy(matrix.inverse()), np.linalg.inv(as_numpy(matrix)), atol=1e-6)


def test_a_positive_turn_is_clockwise_on_the_page() -> None:
    """y points down: the clock's hand at twelve, (0, -1), stands at three, (1, 0), a quarter later."""
    assert Affine.turn(90)((0, -1)) == (1, 0)
    assert Affine.turn(30)((0, -1)) == pytest.approx((math.sin(math.pi / 6), -math.cos(math.pi / 6)))


@given(POINT, st.floats(-360, 360))
def test_a_turn_about_a_point_keeps_it(about: tuple[float, float], degrees: float) -> None:
    assert Affine.turn(degrees, about)(about) == pytest.approx(about, abs=1e-9)


def test_scaling_about_a_point_keeps_it() -> None:
    assert Affine.scaling(1.01, 0.99, (105, 148.5))((105, 148.5)) == pytest.approx((105, 148.5))


# A sheet in the hand (common experience, and section 2 of the design): turned on its upright axis, what lies 20 mm
# from the left of the back lies 20 mm from the right of the front, at the same height, heads still up.
def test_turning_about_the_upright_axis() -> None:
    through = ThroughFront("vertical", 105)
    assert through((20, 30)) == (190, 30)
    assert through.rotation(0) == 0
    assert through.rotation(90) == 270


# Turned on its level axis, the heights swap and the head of the back is at the foot of the front.
def test_turning_about_the_level_axis() -> None:
    through = ThroughFront("horizontal", 148.5)
    assert through((20, 30)) == (20, 267)
    assert through.rotation(0) == 180
    assert through.rotation(90) == 90


@given(st.sampled_from(["vertical", "horizontal"]), NUMBER, st.sampled_from([0, 90, 180, 270]))
def test_the_back_rotation_carries_head_behind_head(axis: str, at: float, degrees: int) -> None:
    """The head's direction on the back page, reflected, is the head's direction on the front page."""
    through = ThroughFront(axis, at)  # type: ignore[arg-type]
    front_head = np.array(Affine.turn(degrees)((0, -1)))
    back_head = np.array(Affine.turn(through.rotation(degrees))((0, -1)))
    seen = np.array(through(tuple(back_head))) - np.array(through((0, 0)))
    assert np.allclose(seen, front_head)


@given(st.sampled_from(["vertical", "horizontal"]), NUMBER, POINT)
def test_through_is_its_own_inverse_and_agrees_with_its_matrix(axis: str, at: float,
                                                               point: tuple[float, float]) -> None:
    through = ThroughFront(axis, at)  # type: ignore[arg-type]
    assert through(through(point)) == pytest.approx(point)
    assert through.affine(point) == pytest.approx(through(point))


def test_through_carries_rectangles_and_edges() -> None:
    through = ThroughFront("vertical", 100)
    assert through.rect(Rect(10, 20, 30, 40)) == Rect(160, 20, 30, 40)
    assert through.edges(Edges(1, 2, 3, 4)) == Edges(3, 2, 1, 4)
    assert ThroughFront("horizontal", 100).edges(Edges(1, 2, 3, 4)) == Edges(1, 4, 3, 2)


def test_rectangles() -> None:
    rect = Rect(10, 20, 30, 40)
    assert rect.grown(Edges(1, 2, 3, 4)) == Rect(9, 18, 34, 46)
    assert rect.shared(Rect(0, 0, 15, 100)) == Rect(10, 20, 5, 40)
    assert rect.overlaps(Rect(39, 59, 5, 5)) and not rect.overlaps(Rect(40, 20, 5, 5))
    assert rect.contains(Rect(10, 20, 30, 40)) and not rect.contains(Rect(9, 20, 30, 40))
    assert bounds([(1, 5), (-2, 7), (3, 6)]) == Rect(-2, 5, 5, 2)
