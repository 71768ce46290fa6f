"""Folds: one printed side, the backs beyond a crease.

The whole sheet is folded across its middle, with the backs below or beside; or each card by itself, about a crease that
is the edge between its front and its back.
"""

from __future__ import annotations

from collections.abc import Iterator

from server.core.geometry import Edges, Rect, ThroughFront
from server.core.methods.protocol import (
    CREASE_CLEARANCE_MM,
    BuildMethod,
    Frame,
    Pair,
    Zone,
    printable,
    room_on_both_faces,
)
from server.core.methods.steps import Step, Work, coat, crease, cut, finish, fold, press, trimmings
from server.core.plan import Line, PlanRequest
from server.core.stock import spine_mm
from server.core.units import mm_text

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
    suits="For printers of one side, and stiff cards: you fold and glue a whole sheet at once.",
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
    suits="As with backs below, where the cards fit better that way.",
    prints="One side: fronts and backs are on the same side of the sheet, nothing is printed behind.",
    turns="Fold the backs sideways behind the fronts, on an upright crease.",
    faces=("spread",),
    zones=_beside,
    steps=fold_steps,
    papers_per_card=2,
    glued=True,
    honours=FOLD_HONOURS,
)


def _pairs(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    """Head to head and side by side; which of them takes fewer sheets is for the search to find.

    The pair is cut out before it is folded, so the crease is the edge of the card, or with a core the strip that goes
    round its edge is: there is no waste between front and back.
    """
    room = frame.rect_from_page(printable(request))
    spine = spine_mm(request.core_mm, request.caliper_mm)
    folds = (0.0, spine) if spine else (0.0,)
    yield Zone(room, pair=Pair("head", folds))
    yield Zone(room, pair=Pair("right", folds))


def _pair_steps(work: Work) -> Iterator[Step]:
    layout, cored = work.layout, work.core_mm > 0
    yield coat("on the printed side, before anything is creased", "Glue wants bare paper, so keep it off the inside.")
    ticks = "both pairs of dashed ticks" if cored else "each pair of dashed ticks"
    yield crease(work, f"{ticks} at the two ends of a row, right across all its cards")
    yield cut(work, "pairs of front and back", "Cut out and then folded: the fold is one edge of the card, and nothing "
              "is cut there.")
    if cored:
        card = layout.card
        yield Step(f"Cut the cores, {mm_text(work.core_mm)} mm thick",
                   f"One of {mm_text(card.width_mm)} × {mm_text(card.height_mm)} mm for each card, its straight edge "
                   "along the front's crease.",
                   f"The strip of {mm_text(layout.spine_mm)} mm between the creases goes round its edge.",
                   "core", ("knife",))
    yield Step("Fold each card dry, printed sides out",
               "Bend the back behind its front along the crease and look at the open edges: they should be flush.",
               "Folded beside the crease, one side shows the other's edge along the fold.", "fold")
    both = "both faces of the core" if cored else "the inside of the back"
    yield Step("Glue it, or sleeve it",
               f"Glue {both}, thin and even, close the card from the fold and smooth outwards. In a sleeve it holds "
               "without glue.", picture="glue", hazards=("spray glue",))
    yield press()
    yield Step("Trim what stands over", "Where a fold has run off, cut the open edge flush with a rule and a sharp "
               "blade.", "A step at the edge marks a card.", "trim", ("knife",))
    yield from trimmings(work)


CARD_FOLD = BuildMethod(
    name="card-fold",
    label="Each card folded",
    summary="One printed side. Front and back are cut out as one piece, head to head or side by side, and folded.",
    suits="For a few cards of any size without printing on both sides.",
    prints="One side: each front with its back, nothing is printed behind.",
    turns="Fold each card's back behind its front, on the crease between them.",
    faces=("spread",),
    zones=_pairs,
    steps=_pair_steps,
    papers_per_card=2,
    glued=True,
    honours=frozenset({"core_mm"}),
)
