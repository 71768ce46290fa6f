"""Card fold: every card is folded by itself, about a crease that is the edge between its front and its back."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.methods.protocol import BuildMethod, Frame, Pair, Zone, printable
from server.core.methods.steps import Step, Work, coat, crease, cut, press, trimmings
from server.core.plan import PlanRequest
from server.core.stock import spine_mm
from server.core.units import mm_text


def _zones(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    """Head to head and side by side; which of them takes fewer sheets is for the search to find.

    The pair is cut out before it is folded, so the crease is the edge of the card, or with a core the strip that goes
    round its edge is: there is no waste between front and back.
    """
    room = frame.rect_from_page(printable(request))
    spine = spine_mm(request.core_mm, request.caliper_mm)
    folds = (0.0, spine) if spine else (0.0,)
    yield Zone(room, pair=Pair("head", folds))
    yield Zone(room, pair=Pair("right", folds))


def _steps(work: Work) -> Iterator[Step]:
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
    prints="One side: each front with its back, nothing is printed behind.",
    turns="Fold each card's back behind its front, on the crease between them.",
    faces=("spread",),
    zones=_zones,
    steps=_steps,
    papers_per_card=2,
    glued=True,
    honours=frozenset({"core_mm"}),
)
