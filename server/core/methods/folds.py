"""Folds of the whole sheet: one printed side, the backs beyond a crease across the middle."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.geometry import Edges, Rect, ThroughFront
from server.core.methods.protocol import CREASE_CLEARANCE_MM, BuildMethod, Frame, Zone, room_on_both_faces
from server.core.methods.steps import Step, Work, finish, fold
from server.core.plan import Line, PlanRequest
from server.core.stock import spine_mm

FOLD_HONOURS = frozenset({"fold_on_cut", "core_mm", "back_flood"})


def fold_steps(work: Work) -> Iterator[Step]:
    """Fold and glue the whole sheet, then cut it."""
    yield from fold(work)
    yield from finish(work)


def _below(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    size = frame.size
    middle = size.height / 2
    spine = spine_mm(request.core_mm, request.caliper_mm)
    through = ThroughFront("horizontal", middle)
    room = room_on_both_faces(request, frame, through)
    room = Rect(room.x, room.y, room.width, middle - spine / 2 - room.y)
    at = (middle,) if spine == 0 else (middle - spine / 2, middle + spine / 2)
    yield Zone(
        room, through, snug="bottom",
        clearance=Edges(bottom=0.0 if request.fold_on_cut else CREASE_CLEARANCE_MM),
        no_bleed="bottom" if request.fold_on_cut else None,
        creases=tuple(Line((0, y), (size.width, y)) for y in at),
    )


def _beside(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    size = frame.size
    middle = size.width / 2
    spine = spine_mm(request.core_mm, request.caliper_mm)
    through = ThroughFront("vertical", middle)
    room = room_on_both_faces(request, frame, through)
    room = Rect(room.x, room.y, middle - spine / 2 - room.x, room.height)
    at = (middle,) if spine == 0 else (middle - spine / 2, middle + spine / 2)
    yield Zone(
        room, through, snug="right",
        clearance=Edges(right=0.0 if request.fold_on_cut else CREASE_CLEARANCE_MM),
        no_bleed="right" if request.fold_on_cut else None,
        creases=tuple(Line((x, 0), (x, size.height)) for x in at),
    )


VERTICAL_FOLD = BuildMethod(
    name="vertical-fold",
    label="Fold with backs below",
    summary="One printed side. The lower half folds up behind the upper; backs are turned so that they end upright.",
    prints="One side: fronts and backs are on the same side of the sheet, nothing is printed behind.",
    turns="Fold the backs up behind the fronts, on a level crease.",
    faces=("spread",),
    zones=_below,
    steps=fold_steps,
    papers_per_card=2,
    glued=True,
    honours=FOLD_HONOURS,
)
SIDE_FOLD = BuildMethod(
    name="side-fold",
    label="Fold with backs beside",
    summary="One printed side. The right half folds behind the left; backs are turned so that they end upright.",
    prints="One side: fronts and backs are on the same side of the sheet, nothing is printed behind.",
    turns="Fold the backs sideways behind the fronts, on an upright crease.",
    faces=("spread",),
    zones=_beside,
    steps=fold_steps,
    papers_per_card=2,
    glued=True,
    honours=FOLD_HONOURS,
)
