"""One deck by every method and paper: sheets, cuts, time, ink and money side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from server.core.art import Art, Deck
from server.core.cost import PALE, Care, CostRow, Ink, Prices, best_of, minutes_of, money_of
from server.core.methods import METHODS
from server.core.settings import DeckSettings
from server.core.sizes import PAPERS
from server.errors import DoesNotFit
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.prepress.prepare import Prepared, prepare

FORMAT, VERSION, UNIT = "lampfold-cost", 1, "mm"
_LOOK_PX = 300
_A4_MM2 = 210.0 * 297.0


def printed_art(deck: Deck) -> dict[str, Art]:
    """Every art of a card that is printed, by its key."""
    return {art.key: art for card in deck.cards if card.copies for art in (card.front, card.back) if art}


def ink_of_art(arts: Iterable[Art], source: Callable[[Art], Path]) -> dict[str, Ink]:
    """Each art's own mean cover, by its key. Decodes; raises Unreadable, naming the art."""
    return {art.key: cover_of(source(art), art) for art in arts}


def cover_of(path: Path, art: Art) -> Ink:
    """One art's own mean cover. Decodes; raises Unreadable, naming the art."""
    from server.formats.pixels import upright
    from server.prepress.inks import cover

    return cover(upright(path, art, _LOOK_PX))


def cost_table(deck: Deck, settings: DeckSettings, inks: Mapping[str, Ink], prices: Prices,
               methods: Sequence[str] = (), papers: Sequence[str] = (),
               limits: ArtLimits = DEFAULT_LIMITS) -> tuple[tuple[CostRow, ...], tuple[tuple[str, str, str], ...]]:
    """A row for each of ``methods`` on each of ``papers`` (none: all, and the deck's own), and what doesn't fit as
    (method, paper, why).

    Ink is reckoned from the art's own cover and the area that each card is printed on, bleed counted; marks, some
    hundredths of a percent, are left out. Raises what ``prepare`` raises, but for DoesNotFit.
    """
    rows, refused = [], []
    for method in methods or tuple(METHODS):
        for paper in papers or dict.fromkeys((*PAPERS, settings.paper)):
            asked = replace(settings, method=method, paper=paper, arrangement="", card_turned="", box="")
            try:
                rows.append(_row(prepare(deck, asked, None, None, limits), inks, prices))
            except DoesNotFit as error:
                refused.append((method, paper, error.message))
    return tuple(rows), tuple(refused)


def _row(prepared: Prepared, inks: Mapping[str, Ink], prices: Prices) -> CostRow:
    plan, layout, settings = prepared.planned.plan, prepared.planned.plan.layout, prepared.settings
    page_mm2, pages = layout.page.width * layout.page.height, len(plan.faces)
    ink = Ink()
    for key, area in _printed(prepared):
        ink = ink.plus(inks.get(key, Ink()).scaled(area / (page_mm2 * pages)))
    if settings.ink == "pale":
        ink = ink.scaled(1.0 - PALE)
    cuts = prepared.planned.best.cuts
    return CostRow(layout.method, layout.paper.name, plan.sheet_count, plan.paper_count, pages, cuts,
                   minutes_of(plan, cuts, settings.core_mm), ink,
                   money_of(plan.paper_count, pages, ink, page_mm2 / _A4_MM2, prices))


def _printed(prepared: Prepared) -> Iterator[tuple[str, float]]:
    """Every art as it is placed, and the mm2 that it covers with its bleed."""
    plan, cards = prepared.planned.plan, prepared.deck.cards
    for face in plan.faces:
        for one in plan.placements(face):
            art = cards[one.card].front if one.side == "front" else cards[one.card].back
            if art:
                area = one.trim.grown(one.bleed)
                yield art.key, area.width * area.height


def cost_to_json(rows: Sequence[CostRow], refused: Sequence[tuple[str, str, str]], care: Care) -> dict[str, Any]:
    """Plain values: ``rows`` in the order of the tables, the best one marked; ``left_out`` says why."""
    best = best_of(rows, care)
    return {
        "format": FORMAT, "version": VERSION, "unit": UNIT, "care": care,
        "rows": [{"method": row.method, "paper": row.paper, "sheets": row.sheets, "papers": row.papers,
                  "cuts": row.cuts, "minutes": round(row.minutes, 1), "ink": row.ink.as_mapping(),
                  "ink_a4_pages": round(row.ink_a4_pages, 2), "money": round(row.money, 2), "best": row is best}
                 for row in rows],
        "left_out": [{"method": method, "paper": paper, "why": why} for method, paper, why in refused],
    }
