"""From a deck and its settings to a plan: the one way in for the command line, the pages and the API."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from server.core.art import Art, Deck, Problem
from server.core.bleed import ArtFit, decide
from server.core.box import Box
from server.core.camera_marks import places_for
from server.core.card_stack import box_of_deck, check_dress, dress_named
from server.core.guide import layers_of
from server.core.lettering import version_mark
from server.core.marks import missing_gauges
from server.core.methods import BuildMethod, method_named
from server.core.plan import Layout, PlanRequest, SheetPlan
from server.core.registration.correction import check_match, corrected, headroom_mm
from server.core.search import Candidate, search
from server.core.settings import DeckSettings
from server.core.units import mm_text
from server.errors import BadValue, DoesNotFit

if TYPE_CHECKING:
    from server.core.registration.printer import Printer


@dataclass(frozen=True)
class Planned:
    """A deck laid out: the chosen plan, every plan worth showing with its numbers, and what to know about it.
    ``mark_inks`` is what the version mark is drawn in on each front, by the art's key; black where none is known."""

    deck: Deck
    settings: DeckSettings
    plan: SheetPlan
    candidates: tuple[Candidate, ...]
    problems: tuple[Problem, ...]
    box: Box | None = None
    mark_inks: Mapping[str, tuple[int, int, int]] = field(default_factory=dict)

    @property
    def best(self) -> Candidate:
        return self.candidates[0]

    @cached_property
    def _fits(self) -> dict[tuple[str, str | None], ArtFit]:
        return {}

    def fit(self, art: Art) -> ArtFit:
        """How an art lies on its card; worked out when it is first asked for, since a screen shows few of many."""
        key = art.key, art.bleed
        if key not in self._fits:
            settings = self.settings
            self._fits[key] = decide(art, settings.card_size, settings.made_bleed_mm, settings.edges)
        return self._fits[key]


def plan_deck(deck: Deck, settings: DeckSettings, printer: Printer | None = None) -> Planned:
    """Lay out a deck, for ``printer`` where one is given: inside its margins, with the headroom that its correction
    takes, and drawn through that correction.

    Raises BadValue where the deck has no card to print or ``printer`` was measured on other paper or another flip,
    DoesNotFit where no sheet takes the card.
    """
    if deck.count == 0:
        raise BadValue(f"deck: {deck.name!r} has no card to print.", "Put art into fronts/, or raise the copies.")
    candidates = search(plan_request(settings, printer), deck.count)
    plan = SheetPlan(candidates[0].layout, deck.printing_order(), deck.name, version=settings.version)
    if _wants_camera_marks(settings):
        plan = _with_camera_marks(plan, settings)
    if printer is not None:
        plan = corrected(plan, printer)
    problems = (*_notes(plan, settings), *_printer_notes(printer, method_named(settings.method)))
    try:
        box = box_of(deck, settings, plan.layout) if settings.box else None
    except DoesNotFit as error:  # the sheets are good without it
        box = None
        problems = (*problems, Problem("", "warning", "no-box", error.message, error.fix))
    return Planned(deck, settings, plan, candidates, problems, box)


def _wants_camera_marks(settings: DeckSettings) -> bool:
    return settings.camera_marks and "camera_marks" in method_named(settings.method).honours


def _with_camera_marks(plan: SheetPlan, settings: DeckSettings) -> SheetPlan:
    """``plan`` with the best set of marks for a photograph that costs no ruler; without any where none has room, or
    where colour under the backs covers their waste."""
    missing = missing_gauges(plan)
    for places in () if settings.back_flood else places_for(plan.layout):
        marked = replace(plan, layout=replace(plan.layout, camera_marks=places))
        if missing_gauges(marked) == missing:
            return marked
    return plan


def box_of(deck: Deck, settings: DeckSettings, layout: Layout, kind: str = "") -> Box:
    """The box that the settings ask for, or one of another ``kind``.

    Raises BadValue for a panel that it hasn't or art that the deck hasn't, DoesNotFit with the paper that takes it.
    """
    stock = settings.stock_record
    layers = layers_of(layout, stock, settings.core_mm, sleeved=settings.box_sleeved)
    box = box_of_deck(kind or settings.box or "tuck", settings.card_size, layers, deck.count, settings.paper_size,
                      clearance_mm=settings.box_clearance_mm, sleeved=settings.box_sleeved,
                      margin_mm=settings.margin_mm, caliper_mm=stock.caliper_mm)
    check_dress(box, dress_named(settings.box_panels), deck)
    return box


def plan_request(settings: DeckSettings, printer: Printer | None) -> PlanRequest:
    """What to ask of the search: with a printer, its own margins and the headroom that its correction takes.

    Raises BadValue where ``printer`` was measured on other paper or another flip.
    """
    if printer is None:
        return settings.request()
    paper = settings.paper_size
    check_match(printer, paper, settings.method, settings.flip)
    return settings.request(printer.margins, headroom_mm(printer, paper, settings.method))


def _printer_notes(printer: Printer | None, method: BuildMethod) -> tuple[Problem, ...]:
    """Which printer the sheets are for, and what it does where that counts."""
    if printer is None:
        return ()
    made = f"{printer.note[:1].upper()}{printer.note[1:]}"
    if method.drift == "one pass":
        return (Problem("", "note", "made-for", f"{made}. One pass prints everything, so its drift doesn't count."),)
    if printer.drift is None:
        return (Problem("", "warning", "not-trued-up", f"{made}: nobody has measured its drift.",
                        "Print and read the test sheet on the True-up page."),)
    return (Problem("", "note", "made-for", f"{made}. It {printer.drift.says()}; the sheets are corrected for that. "
                                            f"{printer.wander.says()}"),)


def _notes(plan: SheetPlan, settings: DeckSettings) -> tuple[Problem, ...]:
    """What the search had to give up, so that nobody finds it out with a knife in hand."""
    notes = []
    bleed = plan.layout.outer_bleed
    least = min(bleed.left, bleed.top, bleed.right, bleed.bottom)
    on_crease = settings.fold_on_cut and "fold_on_cut" in method_named(settings.method).honours
    if least < settings.made_bleed_mm - 1e-6 and not on_crease:
        notes.append(Problem(
            "", "note", "less-outer-bleed",
            f"The outer bleed is {mm_text(least)} mm, not {mm_text(settings.made_bleed_mm)} mm, "
            "because the paper ends there.",
            "Choose larger paper, or another plan with fewer cards on a sheet, for the whole bleed.",
        ))
    if settings.version_mark and not version_mark(settings):
        why = "doesn't fit inside the safe zone" if settings.version else "has nothing to say"
        notes.append(Problem("", "warning", "no-version-mark", f"The version on the fronts {why}, and is left out.",
                             "Give the version a short name, or switch it off."))
    if _wants_camera_marks(settings) and not plan.layout.camera_marks:
        notes.append(_no_camera_marks(settings))
    notes += [Problem("", "note", "no-gauge", text) for text in missing_gauges(plan)]
    return tuple(notes)


def _no_camera_marks(settings: DeckSettings) -> Problem:
    flooded = bool(settings.back_flood)
    return Problem(
        "", "note", "no-camera-marks",
        f"The waste has no room for marks that a photograph is read by{', for colour lies under the backs' * flooded}.",
        "Look at a sheet against the light, and read a test sheet on the True-up page; "
        + ("without the colour, or on" if flooded else "with less bleed or margin, or on") + " larger paper there is "
        "room.")
