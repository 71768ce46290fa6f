"""What to choose in the print dialog, how to build the cards, and what to be careful with, for one layout.

The words stand here once; the Output page, the command line and a printed page take them from here. Nothing in here
replaces a product's label, a maker's manual or a local rule, and the cautions say so.
"""

from __future__ import annotations

from typing import Any

from server.core.box import Box
from server.core.card_stack import Layer
from server.core.methods import Step, Work, method_named
from server.core.methods.steps import THIN_CARD_MM, Hazard
from server.core.plan import Layout
from server.core.settings import DeckSettings
from server.core.stock import DEFAULT_STOCK, STOCKS, Stock, limits_of
from server.core.units import mm_text

# "Fit to page" on A4 with 3 mm margins prints at 97.1 %, on Letter at 97.2 % (own geometry): the commonest slip.
FIT_TO_PAGE = 0.97
# From here on drivers call it heavy or card, and want the straight path (common practice; the printer's manual rules).
HEAVY_GSM = 160.0
RULER_MM = 50


def print_settings(layout: Layout, stock: Stock) -> tuple[Step, ...]:
    """What to choose in the print dialog, in the order in which most of them ask."""
    paper, card = layout.paper, layout.card
    shrunk = mm_text(card.width_mm * FIT_TO_PAGE, 1)
    return (
        Step("Actual size, 100 %", "Switch off fit, shrink, scale to fit and borderless.",
             f"Fit to page prints at about 97 %: a {mm_text(card.width_mm)} mm card comes out {shrunk} mm wide, and "
             "borderless printing enlarges."),
        Step(f"{paper.label}, {mm_text(paper.width_mm)} × {mm_text(paper.height_mm)} mm",
             "Choose the same paper in the dialog, in the printer's own settings and in the tray.",
             "A driver that expects another size scales or moves the page by itself."),
        _sides(layout),
        Step("Portrait, no automatic turning",
             "Every page of the file is portrait already; leave orientation at portrait or automatic.",
             "A page turned by the driver lands elsewhere than the one that was checked."),
        _feed(layout, stock),
        Step("Best quality, then let it dry",
             "Print one sheet on ordinary paper first. On the good stock, let the ink dry before anything touches it.",
             "Fresh ink smears under a ruler and bleeds under glue."),
    )


def _sides(layout: Layout) -> Step:
    method = method_named(layout.method)
    return method.print_step(layout) if method.print_step else Step("One-sided", method.prints)


def _feed(layout: Layout, stock: Stock) -> Step:
    arrow = "Put every sheet in the same way round; the arrow on the sheet points to the edge that goes in first."
    same = ("The same feed lands the same way each time."
            if method_named(layout.method).drift == "one pass"
            else "The same feed lands the same way each time, which is what True-up can take out.")
    if stock.grammage_gsm < HEAVY_GSM:
        return Step("Plain paper, one tray throughout", arrow, same)
    weight = f"{stock.grammage_gsm:.0f} g/m²"
    limits = limits_of(stock, turned=bool(layout.flip), folded=False)
    return Step(f"Heavy paper or card, {weight}",
                " ".join(("Choose it as the paper type and use the straight feed (rear or bypass), a few sheets at a "
                          f"time. {arrow}", *limits)), same)


def scale_check(layout: Layout) -> tuple[Step, ...]:
    """How to see on the first printed sheet that it came out at its true size."""
    return (
        Step(f"Measure the {RULER_MM} mm ruler",
             f"Lay a ruler along the one printed in the waste: its ends are {RULER_MM} mm apart.",
             f"At 97 % they are {mm_text(RULER_MM * FIT_TO_PAGE, 1)} mm apart, and every card is too small."),
        Step("Lay a bank card on its outline",
             "Bank cards and many ID cards are 85.60 × 53.98 mm (ISO/IEC 7810, ID-1). Where the waste has room, their "
             "outline or its corners are printed: a card just covers it.",
             "No ruler needed; the eye sees half a millimetre."),
    )


def build_steps(layout: Layout, stock: Stock, core_mm: float) -> tuple[Step, ...]:
    """From the printed sheet to cut cards, in order. ``core_mm`` is the board between the panels, 0 for none."""
    return (_scale_step(), *method_named(layout.method).steps(work_of(layout, stock, core_mm)))


def _scale_step() -> Step:
    return Step("Check the scale", "Measure the ruler on the first sheet, or lay a bank card on its outline.",
                picture="scale")


def work_of(layout: Layout, stock: Stock, core_mm: float, settings: DeckSettings | None = None) -> Work:
    """What a layout's build steps are told for; ``settings`` for the cut lines and corners that they ask for."""
    method = method_named(layout.method)
    return Work(layout, stock, core_mm if "core_mm" in method.honours else 0.0, method.papers_per_card,
                settings.cut_lines if settings else "fronts",
                settings.radius_mm if settings else layout.card.corner_radius_mm)


def layers_of(layout: Layout, stock: Stock, core_mm: float, *, sleeved: bool = False) -> tuple[Layer, ...]:
    """What a finished card is made of, front to back."""
    return work_of(layout, stock, core_mm).layers(sleeved=sleeved)


def card_thickness_mm(layout: Layout, stock: Stock, core_mm: float) -> float:
    """How thick the finished card is likely to be."""
    return work_of(layout, stock, core_mm).thickness_mm


# Sources: aerosols of category 1 (extremely flammable, pressurised container; keep from heat and flames, don't pierce;
# CLP Annex I, table 2.3.1); use outdoors or well ventilated (P271); a spray adhesive's data sheet of 2017 (skin,
# drowsiness); guards on guillotines (29 CFR 1910.212(a)(3)(ii)); knives: free hand clear, sharp blade, away from the
# body (public safety leaflets).
CAUTIONS: dict[Hazard, Step] = {
    "spray glue": Step(
        "Spray glue",
        "Many spray glues are extremely flammable; their vapour is flammable too and can make drowsy. Read the label "
        "and the safety sheet first. Outdoors or in a well-ventilated place; no flames, sparks, hot surfaces or "
        "smoking near it; don't breathe the spray, keep it off skin and out of eyes; never pierce or burn the can.",
        "A glue stick or paste does the job without."),
    "clear coat": Step(
        "Clear coat",
        "Many clear coats are extremely flammable, and the can's own label and safety sheet decide: outdoors or well "
        "ventilated, no flames, sparks, hot surfaces or smoking near it; don't breathe the spray; never pierce or burn "
        "the can. Let it air until the smell is gone before anyone handles the cards.",
        "Its vapour is flammable and can make drowsy, as a spray glue's."),
    "knife": Step(
        "Knife and rule",
        "A fresh blade and several light strokes. Cut away from the body, on a mat, with the free hand clear of "
        "the blade's path and behind the rule. Cover the blade when you put it down.",
        "A blunt blade needs force, and force slips."),
    "guillotine": Step(
        "Guillotine or stack cutter",
        "Only with its guard in place and only if you have been shown how; one person at the machine, fingers "
        "behind the clamp, blade locked when you leave. The machine's manual and local rules come first.",
        "In a shared workshop or at work, its rules and training come first."),
}
WHAT_DECIDES = Step(
    "What decides",
    "These notes are a reminder. The product's label and safety sheet, the machine's manual, your local rules "
    "and, where they ask for one, a trained or licensed person decide.")


def cautions_of(step: Step) -> tuple[Step, ...]:
    """What to be careful with, to be read before the step is begun."""
    return tuple(CAUTIONS[hazard] for hazard in step.hazards)


def cautions(layout: Layout) -> tuple[Step, ...]:
    """What can hurt in the work that this layout asks for. Labels, manuals and local rules come first."""
    work = work_of(layout, STOCKS[DEFAULT_STOCK], 0.0)
    found = {hazard for step in method_named(layout.method).steps(work) for hazard in step.hazards}
    return (*(caution for hazard, caution in CAUTIONS.items() if hazard in found), WHAT_DECIDES)


def guide_steps(layout: Layout, settings: DeckSettings, box: Box | None = None) -> tuple[Step, ...]:
    """The whole way from the file to cards in hand, as the guide numbers it."""
    sides = _sides(layout)
    first = Step(f"Print: actual size, {layout.paper.label}",
                 f"Actual size, 100 %, no fit and no borderless. {sides.title}. One sheet on ordinary paper first; "
                 "then the good stock, best quality, and time to dry.",
                 "Fit to page prints at about 97 %, and every card comes out too small.", "print")
    work = work_of(layout, settings.stock_record, settings.core_mm, settings)
    return (first, _scale_step(), *method_named(layout.method).steps(work), *((_box_step(box),) if box else ()))


def guide_to_json(layout: Layout, settings: DeckSettings, box: Box | None = None) -> list[dict[str, Any]]:
    """The steps in order: ``title``, ``says`` and the cautions that come before each, as text."""
    return [{"title": step.title, "says": step.says,
             "cautions": [f"{one.title}: {one.says} {one.why}".strip() for one in cautions_of(step)]}
            for step in guide_steps(layout, settings, box)]


def _box_step(box: Box) -> Step:
    tab = "Glue the long tab inside" if box.kind == "tuck" else "Glue the corner tabs inside the walls"
    return Step("Cut, crease and close the box",
                f"Cut along the full lines, crease along the dashed ones, printed side out. {tab}, let it dry, and put "
                "the cards in.", "Creased before it is glued, the board folds where it was drawn.", "box", ("knife",))


def handover(layout: Layout, stock: Stock, core_mm: float) -> tuple[Step, ...]:
    """Hints for handing the cards to playtesters."""
    thin = card_thickness_mm(layout, stock, core_mm) < THIN_CARD_MM
    sleeves = "sleeves with a card behind each, " if thin else "spare sleeves, "
    return (
        Step("Say which version it is", "Write deck and date on the box or on a spare card, and keep this PDF with it.",
             "Notes from a table are only worth what they can be matched to."),
        Step("Pack for changes",
             f"Add {sleeves}a few blank cards and a soft pencil, so that a card can be mended during play."),
        Step("If they print it themselves", "Send the PDF together with the print settings on this page; paper of "
             f"{layout.paper.label} and actual size matter most."),
    )
