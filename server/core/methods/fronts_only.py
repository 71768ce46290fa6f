"""Fronts only: one printed side and no backs, for sleeves that hide the back, labels over old cards, quick drafts."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.methods.protocol import BuildMethod, Frame, Zone, printable
from server.core.methods.steps import Step, Work, coat, cut, trimmings
from server.core.plan import PlanRequest


def _zones(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    yield Zone(frame.rect_from_page(printable(request)))


def _steps(work: Work) -> Iterator[Step]:
    yield coat("on the printed side", "Two thin coats curl a sheet less than one thick one.")
    yield cut(work, why="There is no back that could be off: only the cut counts.")
    yield from trimmings(work)
    yield Step("Sleeve them, or glue them on",
               "Into sleeves with an opaque back, or as labels over old cards: glue thin and even, lay the label on "
               "from one edge, and press it flat until it is dry.",
               "A sleeve with a clear back shows the bare paper.", "sleeve", ("spray glue",))


FRONTS_ONLY = BuildMethod(
    name="fronts-only",
    label="Fronts only",
    summary="One printed side, no backs. For sleeves with opaque backs, labels over old cards, and quick drafts.",
    prints="One side: fronts alone, nothing is printed behind.",
    turns="Nothing is turned; there are no backs.",
    faces=("front",),
    zones=_zones,
    steps=_steps,
    glued=True,
)
