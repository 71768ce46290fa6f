"""A deck made ready: inside the limits, laid out for its printer, its colours measured, everything to know of it said.

Whoever may decode art passes a ``source``; a server's own process may not, passes None, and has a worker measure the
colours that ``Prepared.uncoloured`` and the inks that ``Prepared.uninked`` names.

What a prepared deck comes to, in one form for ``--json``, the plan's file, the API and jobs; and its names.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.core.art import Art, Card, Deck, Problem
from server.core.card_stack import REFERENCE_CARDS, Thickness, dress_named, rgb_of, same_as
from server.core.checks import all_problems
from server.core.cost import saved_percent
from server.core.edge_bleed import ArtEdges, Rgb
from server.core.guide import layers_of
from server.core.lettering import version_mark
from server.core.plan_json import plan_to_json
from server.core.planning import Planned, plan_deck, plan_request
from server.core.search import Candidate, search
from server.core.settings import DeckSettings
from server.errors import BadValue, TooMuch, Unreadable
from server.formats.limits import DEFAULT_LIMITS, ArtLimits

if TYPE_CHECKING:
    from server.core.registration.printer import Printer

Source = Callable[[Art], Path]


@dataclass(frozen=True)
class Prepared:
    """A deck laid out, and what it was laid out from. ``source`` says where an art's bytes are, None where nothing may
    be decoded; ``today`` is the day on which a printer's age is told."""

    planned: Planned
    printer: Printer | None
    source: Source | None
    limits: ArtLimits
    today: date

    @property
    def deck(self) -> Deck:
        return self.planned.deck

    @property
    def settings(self) -> DeckSettings:
        return self.planned.settings

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """Everything to know before paper is spent, each once: the art, the plan, the printer."""
        found = (*all_problems(self.deck, self.settings), *self.planned.problems, *_age(self.printer, self.today))
        return tuple(dict.fromkeys(found))

    @cached_property
    def alternatives(self) -> tuple[Candidate, ...]:
        """Every plan worth showing, also those that a pinned choice leaves out, so that another can be chosen."""
        settings = self.settings
        if not (settings.arrangement or settings.card_turned):
            return self.planned.candidates
        free = replace(settings, arrangement="", card_turned="")
        return search(plan_request(free, self.printer), self.deck.count)

    def uncoloured(self, sheet: int | None = None) -> tuple[Art, ...]:
        """The distinct arts whose bleed goes by their edges while nobody has looked at those; of one sheet, or all.

        Sheets count from 0.
        """
        plan = self.planned.plan
        numbers: Iterable[int] = range(len(self.deck.cards)) if sheet is None else plan.cards_on(sheet)
        arts = (art for number in numbers for art in _arts(self.deck.cards[number]))
        return tuple({art.key: art for art in arts if self._goes_by_edges(art)}.values())

    def uninked(self, sheet: int | None = None) -> tuple[Art, ...]:
        """The distinct fronts that get a version mark while nobody has measured in which ink; of one sheet, or all."""
        if version_mark(self.settings) is None:
            return ()
        plan = self.planned.plan
        numbers: Iterable[int] = range(len(self.deck.cards)) if sheet is None else plan.cards_on(sheet)
        fronts = (self.deck.cards[number] for number in numbers)
        return tuple({card.front.key: card.front for card in fronts
                      if card.copies and card.front.key not in self.planned.mark_inks}.values())

    def inked(self, inks: Mapping[str, Rgb]) -> Prepared:
        """The same with the version marks' inks on those art keys."""
        known = {**self.planned.mark_inks, **inks}
        return replace(self, planned=replace(self.planned, mark_inks=known)) if inks else self

    def _goes_by_edges(self, art: Art) -> bool:
        fit, mode = self.planned.fit(art), art.bleed or self.settings.edges
        if mode in ("auto", "art"):
            short = fit.carries_mm < self.settings.made_bleed_mm - 0.05  # as ``decide`` has it
            return art.edges is None and (short or not fit.carries_mm)
        return mode == "colour" and art.edge_rgb is None

    def coloured(self, colours: Mapping[str, ArtEdges]) -> Prepared:
        """The same with the edges of those art keys; what an art has it keeps."""
        if not colours:
            return self

        def painted(art: Art) -> Art:
            seen = colours.get(art.key)
            return replace(art, edge_rgb=art.edge_rgb or seen.rgb, edges=art.edges or seen) if seen else art

        cards = tuple(replace(card, front=painted(card.front), back=painted(card.back) if card.back else None)
                      for card in self.deck.cards)
        return replace(self, planned=replace(self.planned, deck=replace(self.deck, cards=cards)))


def prepare(deck: Deck, settings: DeckSettings, source: Source | None = None, printer: Printer | None = None,
            limits: ArtLimits = DEFAULT_LIMITS) -> Prepared:
    """Lay ``deck`` out for ``printer`` with every colour that it needs. Art that can't be decoded for its colour is
    left out, and is a problem of the deck.

    Raises BadValue where there is no card to print or the printer is of another paper or flip, TooMuch over
    ``limits.cards``, DoesNotFit where no sheet takes the card.
    """
    if deck.count == 0:
        first = next((problem for problem in deck.problems if problem.severity == "error"), None)
        said = f" {first.file}: {first.message}" if first else ""
        raise BadValue(f"deck: {deck.name!r} has no card to print.{said}", "Put art into fronts/, or raise the copies.")
    if deck.count > limits.cards:
        raise TooMuch(f"deck: {deck.name!r} asks for {deck.count} cards, over the limit of {limits.cards}.",
                      "Lower the copies, or build it in parts.")
    prepared = Prepared(plan_deck(deck, settings, printer), printer, source, limits, date.today())
    if not source:
        return prepared
    colours, broken = edge_colours(prepared.uncoloured(), source, limits)
    mark = version_mark(settings)
    inks: dict[str, Rgb] = {}
    if mark and not broken:
        from server.prepress.inks import mark_inks

        fronts = [(art, prepared.planned.fit(art)) for art in prepared.uninked()]
        inks, broken = mark_inks(fronts, source, mark, pale=settings.ink == "pale", limits=limits)
    if broken:
        return prepare(_without(deck, broken), settings, source, printer, limits)
    return prepared.coloured(colours).inked(inks)


def with_box_art(deck: Deck, settings: DeckSettings, art_of: Callable[[str], Art | None]) -> Deck:
    """``deck`` with the art that lies on its box alone, as cards of which none is printed. ``art_of`` gives a file's
    art by its label, None where there is none."""
    known = {art.file for card in deck.cards for art in _arts(card)}
    wanted = [file for file in dict.fromkeys(dress_named(settings.box_panels).values())
              if rgb_of(file) is None and file not in known]
    found = {file: art for file in wanted if (art := art_of(file))}
    if not found:
        return deck
    cards = tuple(Card(file, art, None, 0) for file, art in found.items())
    problems = tuple(one for one in deck.problems if one.code != "stray-art" or one.file not in found)
    return Deck(deck.name, (*deck.cards, *cards), problems)


def edge_colours(arts: Iterable[Art], source: Source,
                 limits: ArtLimits = DEFAULT_LIMITS) -> tuple[dict[str, ArtEdges], dict[str, Unreadable]]:
    """What lies along each art's edges, and what can't be decoded, both by the art's key. Decodes."""
    arts = tuple(arts)
    if not arts:
        return {}, {}  # without Pillow, which a deck with bleed of its own doesn't need
    from server.intake.decode_check import of_each

    seen = of_each(arts, partial(_edges, source=source, limits=limits))
    return ({art.key: one for art, one in zip(arts, seen, strict=True) if isinstance(one, ArtEdges)},
            {art.key: one for art, one in zip(arts, seen, strict=True) if isinstance(one, Unreadable)})


def _edges(art: Art, source: Source, limits: ArtLimits) -> ArtEdges | Unreadable:
    from server.formats.pixels import edges_of

    try:
        return edges_of(source(art), art, limits)
    except Unreadable as error:
        return error


def prove(deck: Deck, source: Source, limits: ArtLimits = DEFAULT_LIMITS) -> Deck:
    """``deck`` without the art that no decoder takes, each such file a problem of it. Decodes all of it."""
    from server.intake.decode_check import broken_art, without

    return without(deck, broken_art(deck, source, limits))


def _without(deck: Deck, broken: Mapping[str, Unreadable]) -> Deck:
    from server.intake.decode_check import without

    return without(deck, {art.file: broken[art.key] for card in deck.cards for art in _arts(card)
                          if art.key in broken})


def _arts(card: Card) -> tuple[Art, ...]:
    return (card.front, card.back) if card.back else (card.front,)


def _age(printer: Printer | None, today: date) -> tuple[Problem, ...]:
    """What to know of old readings; that there are none, planning says itself."""
    if printer is None or printer.state(today) != "old" or printer.trued_up is None:
        return ()
    from server.core.registration.printer import OLD_AFTER_DAYS

    return (Problem("", "warning", "old-true-up",
                    f"{printer.name} was trued up on {printer.trued_up.isoformat()}, more than {OLD_AFTER_DAYS} days "
                    "ago: rollers wear, and paper changes.",
                    "Print and read the test sheet again on the True-up page."),)


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
