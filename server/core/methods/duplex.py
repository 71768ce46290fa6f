"""Duplex: one sheet printed on both sides, turned on its long or its short edge."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.core.geometry import ThroughFront
from server.core.methods.protocol import Frame, Zone, room_on_both_faces
from server.core.paper import Paper
from server.core.plan import Flip, MethodName, PlanRequest


def turn_of(flip: Flip, paper: Paper) -> ThroughFront:
    """How a portrait page turns: on its long edge about the upright axis, on its short edge about the level one."""
    if flip == "long-edge":
        return ThroughFront("vertical", paper.width_mm / 2)
    return ThroughFront("horizontal", paper.height_mm / 2)


@dataclass(frozen=True, slots=True)
class Duplex:
    name: MethodName = "duplex"
    label: str = "Both sides of one sheet"
    summary: str = "The printer, or you, turn the sheet; backs are mirrored to meet their fronts."
    papers_per_sheet: int = 1
    uses_flip: bool = True
    has_crease: bool = False
    honours: frozenset[str] = frozenset({"flip"})

    def zones(self, request: PlanRequest, frame: Frame) -> Iterable[Zone]:
        through = frame.through_from_page(turn_of(request.flip, request.paper))
        yield Zone(room_on_both_faces(request, frame, through), through)


DUPLEX = Duplex()
