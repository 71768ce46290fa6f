"""The first page of a release: what is in it, what to print when, and pictures of the cards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.core.art import Art
from server.core.geometry import Affine, Rect
from server.core.lettering import text_width_mm
from server.core.methods import method_named
from server.core.sizes import paper_named
from server.drawing.pdf_text import SOFT, TextFlow
from server.drawing.surface import Stroke, Surface

_MARGIN_MM = 15.0
_PICTURE_MM, _STEP_MM, _CAPTION_MM = 30.0, 34.0, 2.4
_ROW_MM = _PICTURE_MM + 7.0
_FRAME = Stroke(0.15, (120, 120, 120))


@dataclass(frozen=True, slots=True)
class Sheets:
    """One PDF of the release: where it lies, how it is built, its numbers, and the box's PDF beside it, "" for none."""

    file: str
    method: str
    paper: str
    ink: str
    sheets: int
    papers: int
    box: str = ""


@dataclass(frozen=True, slots=True)
class Contents:
    """One deck of the release: its cards as (name, copies, small picture of the front), those without a picture as
    (name, copies), its PDFs, what didn't fit."""

    name: str
    count: int
    cards: tuple[tuple[str, int, Art], ...]
    others: tuple[tuple[str, int], ...]
    sheets: tuple[Sheets, ...]
    left_out: tuple[str, ...]


def draw_index(surface: Surface, page: Rect, title: str, decks: Sequence[Contents], extras: Sequence[str]) -> None:
    """As many pages as it takes, on ``page``."""
    flow = TextFlow(surface, page, _MARGIN_MM, "index")
    flow.title(title)
    flow.text("Print one sheet first, at actual size, and measure the ruler on it. The guide beside each PDF shows "
              "every step from paper to cards.")
    _help(flow, decks)
    for deck in decks:
        flow.heading(f"{deck.name}: {_counted(deck.count, 'card')}")
        for one in deck.sheets:
            glued = f", {one.papers} pieces of paper" if one.papers != one.sheets else ""
            how = f"{method_named(one.method).label.lower()}, {paper_named(one.paper).label}, {one.ink} ink"
            flow.text(f"{one.file}: {how}, {_counted(one.sheets, 'sheet')}{glued}.", size_mm=3.0)
        boxes = list(dict.fromkeys(one.box for one in deck.sheets if one.box))
        if boxes:
            flow.text(f"A box for these cards, as thick as each way of building makes them: {', '.join(boxes)}.",
                      size_mm=3.0)
        for said in deck.left_out:
            flow.text(said, size_mm=3.0, rgb=SOFT)
        _pictures(surface, flow, deck)
        if deck.others:
            names = ", ".join(f"{copies} × {name}" if copies > 1 else name for name, copies in deck.others)
            flow.text(f"Also in the deck: {names}.", size_mm=_CAPTION_MM)
    if extras:
        flow.heading("Also in this pack")
        flow.text(", ".join(extras))


def _help(flow: TextFlow, decks: Sequence[Contents]) -> None:
    """Which one to print, in plain words."""
    sheets = [one for deck in decks for one in deck.sheets]
    flow.heading("Which one to print")
    for name in dict.fromkeys(one.method for one in sheets):
        method = method_named(name)
        flow.text(f"{name}: {method.label}. {method.summary} {method.suits}".rstrip())
    papers = list(dict.fromkeys(one.paper for one in sheets))
    if len(papers) > 1:
        labels = " or ".join(paper_named(paper).label for paper in papers)
        flow.text(f"Paper: {labels}. Take the one that lies in your printer; A4 is common outside North America, "
                  "Letter within it.")
    if {one.ink for one in sheets} >= {"full", "pale"}:
        flow.text("Ink: pale saves half of it and is meant for a first try; full is for the cards that you keep.")


def _pictures(surface: Surface, flow: TextFlow, deck: Contents) -> None:
    flow.y += 2.0
    across = max(1, int((flow.room.width + _STEP_MM - _PICTURE_MM) / _STEP_MM))
    for first in range(0, len(deck.cards), across):
        x, y = flow.take(_ROW_MM)
        for place, (name, copies, art) in enumerate(deck.cards[first:first + across]):
            wide = min(_PICTURE_MM, (_PICTURE_MM) * art.aspect)
            high = wide / art.aspect
            at = Rect(x + place * _STEP_MM, y + _PICTURE_MM - high, wide, high)
            with surface.within(layer="art"):
                surface.art(art, Affine(a=wide, d=high, e=at.x, f=at.y))
            with surface.within(layer="notes"):
                surface.outline(at, 0.0, _FRAME)
                surface.text((at.x, y + _PICTURE_MM + 3.2), _fitting(f"{copies} × {name}"), _CAPTION_MM)


def _counted(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _fitting(text: str) -> str:
    while text_width_mm(text, _CAPTION_MM) > _STEP_MM - 2 and len(text) > 4:
        text = f"{text[:-2].rstrip()}…"
    return text
