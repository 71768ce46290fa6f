"""Vertical fold: backs below a horizontal crease, printed upside down so that they end upright."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.core.geometry import Edges, Rect, ThroughFront
from server.core.methods.protocol import CREASE_CLEARANCE_MM, Frame, Zone, room_on_both_faces
from server.core.plan import Line, MethodName, PlanRequest
from server.core.stock import spine_mm


@dataclass(frozen=True, slots=True)
class VerticalFold:
    name: MethodName = "vertical-fold"
    label: str = "Fold with backs below"
    summary: str = "One printed side. The bottom half folds up behind the top; backs are printed upside down."
    papers_per_sheet: int = 1
    uses_flip: bool = False
    has_crease: bool = True
    honours: frozenset[str] = frozenset({"core_mm", "fold_on_cut"})

    def zones(self, request: PlanRequest, frame: Frame) -> Iterable[Zone]:
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


VERTICAL_FOLD = VerticalFold()
