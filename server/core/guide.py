"""What to choose in the print dialog, how to build the cards, and what to be careful with, for one layout.

The words stand here once; the Output page, the command line and a printed page take them from here. Nothing in here
replaces a product's label, a maker's manual or a local rule, and the cautions say so.
"""

from __future__ import annotations

from server.core.card_stack import Layer
from server.core.methods import Step, Work, method_named
from server.core.methods.steps import THIN_CARD_MM
from server.core.plan import Layout
from server.core.stock import Stock, limits_of
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
    check = Step("Check the scale", "Measure the ruler on the first sheet, or lay a bank card on its outline.")
    return (check, *method_named(layout.method).steps(work_of(layout, stock, core_mm)))


def work_of(layout: Layout, stock: Stock, core_mm: float) -> Work:
    """What a layout's build steps are told for."""
    method = method_named(layout.method)
    return Work(layout, stock, core_mm if "core_mm" in method.honours else 0.0, method.papers_per_card)


def layers_of(layout: Layout, stock: Stock, core_mm: float, *, sleeved: bool = False) -> tuple[Layer, ...]:
    """What a finished card is made of, front to back."""
    return work_of(layout, stock, core_mm).layers(sleeved=sleeved)


def card_thickness_mm(layout: Layout, stock: Stock, core_mm: float) -> float:
    """How thick the finished card is likely to be."""
    return work_of(layout, stock, core_mm).thickness_mm


def cautions(layout: Layout) -> tuple[Step, ...]:
    """What can hurt, for the work that this layout asks for. Labels, manuals and local rules come first.

    Sources: aerosols of category 1 (extremely flammable, pressurised container; keep from heat and flames, don't
    pierce; CLP Annex I, table 2.3.1); use outdoors or well ventilated (P271); a spray adhesive's data sheet of 2017
    (skin, drowsiness); guards on guillotines (29 CFR 1910.212(a)(3)(ii)); knives: free hand clear, sharp blade, away
    from the body (public safety leaflets).
    """
    glue = (
        Step("Spray glue",
             "Many spray glues are extremely flammable. Read the label and the safety sheet first. Outdoors or in a "
             "well-ventilated place; no flames, sparks, hot surfaces or smoking near it; don't breathe the spray, keep "
             "it off skin and out of eyes; never pierce or burn the can.",
             "The vapour is flammable and can make drowsy; a glue stick or paste does the job without."),
    ) if method_named(layout.method).glued else ()
    return (
        *glue,
        Step("Clear coat",
             "Many clear coats are extremely flammable, and the can's own label and safety sheet decide: outdoors or "
             "well ventilated, no flames, sparks, hot surfaces or smoking near it; don't breathe the spray; never "
             "pierce or burn the can. Let it air until the smell is gone before anyone handles the cards.",
             "Its vapour is flammable and can make drowsy, as a spray glue's."),
        Step("Knife and rule",
             "A fresh blade and several light strokes. Cut away from the body, on a mat, with the free hand clear of "
             "the blade's path and behind the rule. Cover the blade when you put it down.",
             "A blunt blade needs force, and force slips."),
        Step("Guillotine or stack cutter",
             "Only with its guard in place and only if you have been shown how; one person at the machine, fingers "
             "behind the clamp, blade locked when you leave.",
             "In a shared workshop or at work, its rules and training come first."),
        Step("What decides",
             "These notes are a reminder. The product's label and safety sheet, the machine's manual, your local rules "
             "and, where they ask for one, a trained or licensed person decide."),
    )


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
