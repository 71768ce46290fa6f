"""Two sheets: fronts and backs printed apart, aligned against a light, hinged with tape on waste, glued."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.core.geometry import Rect, ThroughFront
from server.core.methods.protocol import Frame, Zone, room_on_both_faces
from server.core.plan import MethodName, PlanRequest

# A target is a cross in a ring; this much waste is kept above and below, or at the sides, so that it has a place.
TARGET_STRIP_MM = 7.0


@dataclass(frozen=True, slots=True)
class TwoSheet:
    name: MethodName = "two-sheet"
    label: str = "Two sheets, glued"
    summary: str = "Fronts and backs on separate sheets. Align them against a light, hinge with tape, glue, cut."
    papers_per_sheet: int = 2
    uses_flip: bool = False
    has_crease: bool = False
    honours: frozenset[str] = frozenset({"hinge_mm"})

    def zones(self, request: PlanRequest, frame: Frame) -> Iterable[Zone]:
        """The hinge strip lies on the left or the top of the sheet as it is read; targets on the other pair of sides.

        Laid back to back with both heads up, the sheets meet like a page turned about its upright edge. That holds
        for the page, so it is stated for the page whatever the arrangement.
        """
        through = frame.through_from_page(ThroughFront("vertical", request.paper.width_mm / 2))
        size = frame.size
        room = room_on_both_faces(request, frame, through)
        # A corrected sheet moves within the headroom, and the strip shall stay whole.
        headroom = request.headroom_mm
        left = max(room.x, request.hinge_mm + headroom)
        top = max(room.y, request.hinge_mm + headroom)
        strip = TARGET_STRIP_MM
        yield Zone(
            Rect(left, room.y + strip, room.right - left, room.height - 2 * strip), through,
            hinge=Rect(0, 0, left - headroom, size.height), hinge_side="left",
        )
        yield Zone(
            Rect(room.x + strip, top, room.width - 2 * strip, room.bottom - top), through,
            hinge=Rect(0, 0, size.width, top - headroom), hinge_side="top",
        )


TWO_SHEET = TwoSheet()
