"""What a prepared deck comes to, in one form for ``--json``, the plan's file, the API and jobs; and its names."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from server.core.card_stack import REFERENCE_CARDS, Thickness, same_as
from server.core.cost import saved_percent
from server.core.guide import layers_of
from server.core.plan_json import plan_to_json
from server.prepress.prepare import Prepared

FORMAT, VERSION, UNIT = "lampfold-summary", 1, "mm"


def summarise(prepared: Prepared) -> dict[str, Any]:
    """Plain values. ``sheets`` are the plan's (a glued pair is one), ``papers`` the pieces of paper that are printed,
    ``pages`` the PDF's; lengths in mm."""
    plan, layout, best = prepared.planned.plan, prepared.planned.plan.layout, prepared.planned.best
    return {
        "format": FORMAT, "version": VERSION, "unit": UNIT, "deck": plan.deck_name, "method": layout.method,
        "flip": layout.flip, "paper": layout.paper.name, "cards": len(plan.order), "sheets": plan.sheet_count,
        "papers": plan.paper_count, "pages": len(plan.faces) + bool(prepared.planned.box),
        "cards_per_sheet": plan.cards_per_sheet, "cuts": best.cuts, "waste_percent": round(best.waste_percent, 2),
        "arrangement": layout.arrangement, "card_turned": layout.card_turned, "columns": layout.columns,
        "rows": layout.rows, "spine_mm": layout.spine_mm, "outer_bleed": asdict(layout.outer_bleed),
        "thickness_says": thickness_says(prepared),
    }


def thickness_says(prepared: Prepared) -> str:
    """How thick a card and the deck are likely to be, with the range, beside a deck that can be held."""
    plan, settings = prepared.planned.plan, prepared.settings
    layers, cards = layers_of(plan.layout, settings.stock_record, settings.core_mm), len(plan.order)
    deck = Thickness.of(layers, cards)
    return (f"A card is about {Thickness.of(layers).says()}, the deck {deck.says(1)}. "
            f"{same_as(deck, cards, REFERENCE_CARDS, settings.reference_mm)}")


def ink_figures(prepared: Prepared, pdf: Path) -> dict[str, Any]:
    """``ink``: what the built PDF takes, mean cover of its pages by channel in percent; ``ink_saved_percent``: how much
    less that is than the same pages in full. Renders: never in a server's own process."""
    from server.prepress.inks import ink_of_pdf

    cards = prepared.planned.plan.cards_per_sheet
    ink = ink_of_pdf(pdf, cards=cards)
    saved = 0.0
    if prepared.settings.ink == "pale":
        saved = saved_percent(ink, ink_of_pdf(pdf, without_pale=True, cards=cards))
    return {"ink": ink.as_mapping(), "ink_saved_percent": round(saved, 2)}


def plan_file(prepared: Prepared) -> dict[str, Any]:
    """The sheet plan's file: every placement, and the summary."""
    return {**plan_to_json(prepared.planned), "summary": summarise(prepared)}


def pdf_name(prepared: Prepared, since: str = "", part: str = "sheets") -> str:
    """What a download is called: the deck, its version where it has one, the version that change sheets start from,
    how it is built, the paper, and what it holds where that isn't the sheets."""
    from server.store.names import file_stem, version_stem

    layout = prepared.planned.plan.layout
    version = f"-{version_stem(prepared.settings.version)}" if prepared.settings.version else ""
    changes = f"{version}-since-{version_stem(since)}" if since else version
    kind = "" if part == "sheets" else f"-{part}"
    return f"{file_stem(prepared.deck.name)}{changes}-{layout.method}-{file_stem(layout.paper.name)}{kind}.pdf"
