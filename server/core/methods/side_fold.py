"""Side fold: backs beside a vertical crease, upright."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.core.geometry import Edges, Rect, ThroughFront
from server.core.methods.protocol import CREASE_CLEARANCE_MM, Frame, Zone, room_on_both_faces
from server.core.plan import Line, MethodName, PlanRequest
from server.core.stock import spine_mm


@dataclass(frozen=True, slots=True)
class SideFold:
    name: MethodName = "side-fold"
    label: str = "Fold with backs beside"
    summary: str = "One printed side. The right half folds behind the left; backs are printed upright."
    papers_per_sheet: int = 1
    uses_flip: bool = False
    has_crease: bool = True
    honours: frozenset[str] = frozenset({"core_mm", "fold_on_cut"})

    def zones(self, request: PlanRequest, frame: Frame) -> Iterable[Zone]:
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


SIDE_FOLD = SideFold()
