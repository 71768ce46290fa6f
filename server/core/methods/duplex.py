"""Duplex: one sheet printed on both sides, turned on its long or its short edge."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.geometry import ThroughFront
from server.core.methods.protocol import BuildMethod, Frame, Zone, room_on_both_faces
from server.core.methods.steps import Step, Work, finish, light
from server.core.plan import Flip, Layout, PlanRequest
from server.core.sizes import Paper


def turn_of(flip: Flip, paper: Paper) -> ThroughFront:
    """How a portrait page turns: on its long edge about the upright axis, on its short edge about the level one."""
    if flip == "long-edge":
        return ThroughFront("vertical", paper.width_mm / 2)
    return ThroughFront("horizontal", paper.height_mm / 2)


def _zones(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    through = frame.through_from_page(turn_of(request.flip, request.paper))
    yield Zone(room_on_both_faces(request, frame, through), through)


def _print_step(layout: Layout) -> Step:
    edge, other = ("long", "short") if layout.flip == "long-edge" else ("short", "long")
    return Step(
        f"Both sides, flip on the {edge} edge",
        f"If the dialog offers the {other} edge instead, change it. Without a duplexer, print the odd pages, turn the "
        f"stack over on its {edge} edge, put it back and print the even pages.",
        f"The backs are laid out for this turn; on the {other} edge they land "
        + ("upside down and behind the wrong cards." if len(layout.slots) > 1 else "upside down."),
    )


def _steps(work: Work) -> Iterator[Step]:
    yield light(work)
    yield from finish(work)


DUPLEX = BuildMethod(
    name="duplex",
    label="Both sides of one sheet",
    summary="The printer, or you, turn the sheet; backs are mirrored to meet their fronts.",
    prints="Both sides of every sheet.",
    turns="On the long or the short edge, as the deck says.",
    faces=("front", "back"),
    zones=_zones,
    steps=_steps,
    print_step=_print_step,
    suits="For printers that take card on both sides, and backs that forgive a millimetre or two.",
    honours=frozenset({"flip", "back_flood", "camera_marks"}),
    drift="back page",
)
