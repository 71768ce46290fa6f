"""What to choose in the print dialog, how to build the cards, and what to be careful with, for one layout.

The words stand here once; the Output page, the command line and a printed page take them from here. Nothing in here
replaces a product's label, a maker's manual or a local rule, and the cautions say so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from server.core.card_stack import Layer, Thickness, card_layers
from server.core.cuts import cut_count
from server.core.geometry import Rect
from server.core.plan import Layout
from server.core.stock import SCORE_GSM, Stock, limits_of
from server.core.units import mm_text

# "Fit to page" on A4 with 3 mm margins prints at 97.1 %, on Letter at 97.2 % (own geometry): the commonest slip.
FIT_TO_PAGE = 0.97
# From here on drivers call it heavy or card, and want the straight path (common practice; the printer's manual rules).
HEAVY_GSM = 160.0
# A card thinner than this shuffles badly without a sleeve (common practice; playing cards are about 0.3 mm).
THIN_CARD_MM = 0.28
RULER_MM = 50


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do: ``title`` in a few words, ``says`` how, ``why`` where that helps."""

    title: str
    says: str
    why: str = ""


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
    if layout.one_face:
        return Step("One-sided", "Fronts and backs are on the same side of the sheet; nothing is printed behind.")
    if layout.papers_per_sheet == 2:
        return Step("One-sided", "Odd pages are fronts, even pages are backs; each goes on a sheet of its own.",
                    "The two are glued together afterwards.")
    edge, other = ("long", "short") if layout.flip == "long-edge" else ("short", "long")
    return Step(
        f"Both sides, flip on the {edge} edge",
        f"If the dialog offers the {other} edge instead, change it. Without a duplexer, print the odd pages, turn the "
        f"stack over on its {edge} edge, put it back and print the even pages.",
        f"The backs are laid out for this turn; on the {other} edge they land "
        + ("upside down and behind the wrong cards." if len(layout.slots) > 1 else "upside down."),
    )


def _feed(layout: Layout, stock: Stock) -> Step:
    arrow = "Put every sheet in the same way round; the arrow on the sheet points to the edge that goes in first."
    same = "The same feed lands the same way each time, which is what True-up can take out."
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
        Step("Lay a wallet card on its outline",
             "Bank and library cards are all 85.60 × 53.98 mm (ISO/IEC 7810, ID-1). Where the waste has room, their "
             "outline or its corners are printed: a card just covers it.",
             "No ruler needed; the eye sees half a millimetre."),
    )


def build_steps(layout: Layout, stock: Stock, core_mm: float) -> tuple[Step, ...]:
    """From the printed sheet to cut cards, in order. ``core_mm`` is the board between the panels, 0 for none."""
    if layout.one_face:
        middle = _fold_steps(layout, stock, core_mm)
    elif layout.papers_per_sheet == 2:
        middle = _two_sheet_steps(layout)
    else:
        middle = iter((
            Step("Hold a sheet against a light",
                 "The edges of fronts and backs should meet all round. If the backs are off by the same amount on "
                 "every sheet, True-up moves them.", "Better one sheet wasted than all of them."),
        ))
    check = Step("Check the scale", "Measure the ruler on the first sheet, or lay a wallet card on its outline.")
    return (check, *middle, *_finish_steps(layout, stock, core_mm))


def _fold_steps(layout: Layout, stock: Stock, core_mm: float) -> Iterator[Step]:
    creases = "both dashed lines" if len(layout.creases) == 2 else "the dashed line"
    scored = ("Score first: one light pass with a blunt blade, not through the paper. "
              if stock.grammage_gsm >= SCORE_GSM else "")
    # Along the grain a fold is cleaner; across it the fibres crack sooner (trade note).
    yield Step("Crease before any glue",
               f"{scored}Run a folding bone or an empty ballpoint pen along {creases}, on a steel rule.",
               "A crease made dry lies where it was drawn; wet paper stretches and wanders. Stock folds cleaner along "
               "its grain than across it.")
    yield Step("Fold dry, printed sides out",
               "Bend the backs away from you, behind the fronts, and look against a light: the edges of the two "
               "should meet.")
    if core_mm > 0:
        panel = _panel(layout)
        yield Step(f"Cut the core, {mm_text(core_mm)} mm thick",
                   f"A board of {mm_text(panel.width, 1)} × {mm_text(panel.height, 1)} mm fills one panel. Lay its "
                   f"straight edge along the first dashed line.",
                   f"The strip of {mm_text(layout.spine_mm)} mm between the two lines goes round its edge.")
    both = "Glue both faces of the core" if core_mm > 0 else "Glue the inside of one panel"
    yield Step("Glue, then close from the crease",
               f"{both}, thin and even to the very edges. Fold over and smooth from the crease outwards.",
               "Started at the crease, nothing can creep sideways.")
    yield _press()


def _panel(layout: Layout) -> Rect:
    """What one panel measures: the page on the fronts' side of the first crease."""
    page, middle = layout.page, layout.block.centre
    ats = [crease.at_mm for crease in layout.creases]
    if layout.creases[0].axis == "vertical":
        width = min(ats) if middle[0] < min(ats) else page.width - max(ats)
        return Rect(0, 0, width, page.height)
    height = min(ats) if middle[1] < min(ats) else page.height - max(ats)
    return Rect(0, 0, page.width, height)


def _two_sheet_steps(layout: Layout) -> Iterator[Step]:
    side = _hinge_side(layout)
    width = mm_text(min(layout.hinge.width, layout.hinge.height)) if layout.hinge else "10"
    yield Step("Pair the sheets by number",
               "A front sheet and the back sheet of the same number belong together. Check that both print at the "
               "same scale.")
    yield Step("Align against a light",
               "Tape the front sheet to a window, print towards you, head up. Behind it, the back sheet with its print "
               "away from you, head up too. Move it until the rings and crosses of all targets lie in one another.")
    yield Step(f"Hinge with tape on the {side}",
               f"Put the tape wholly on the marked strip of {width} mm at the {side} edge of the fronts.",
               "The strip is cut away at the end, and the tape with it; tape on a card would stay.")
    yield Step("Open, glue, close from the hinge",
               "Open the pair like a book, glue the inside of one sheet thin and even, close it from the hinge and "
               "smooth outwards.", "The hinge keeps the sheets where the light showed them.")
    yield _press()


def _hinge_side(layout: Layout) -> str:
    """Where the hinge strip lies on the fronts' page as it leaves the printer."""
    hinge, page = layout.hinge, layout.page
    if hinge is None:
        return "marked side"
    if hinge.width < page.width:
        return "left" if hinge.x <= 0 else "right"
    return "top" if hinge.y <= 0 else "bottom"


def _press() -> Step:
    return Step("Press flat until it is dry",
                "Between clean sheets under a stack of books, as long as the glue's label says; overnight is safe.",
                "Glued paper curls while it dries.")


def _finish_steps(layout: Layout, stock: Stock, core_mm: float) -> Iterator[Step]:
    yield Step("Clear coat, if you want one", "On whole sheets before cutting, thin and on both sides, dry between the "
               "passes. Try it on a spoilt sheet first.", "Coated on one side only, a sheet curls.")
    cuts = cut_count(layout)
    on_crease = _cards_on_crease(layout)
    yield Step(f"Cut, fronts up: {cuts} straight cuts a sheet",
               "Each goes through one piece, from edge to edge of it: the waste off all round, then strips, then the "
               "strips into cards." + (" The crease itself is the cards' edge; nothing is cut there." if on_crease
                                       else ""),
               "The cut lines are on the fronts only, so that none shows where a back lands a little off.")
    if layout.card.corner_radius_mm > 0:
        yield Step("Round the corners", f"A punch of {mm_text(layout.card.corner_radius_mm)} mm suits this card; all "
                   "four, or none.", "Sharp corners fray and mark a card.")
    if card_thickness_mm(layout, stock, core_mm) < THIN_CARD_MM:
        yield Step("Sleeve thin cards", "Put an ordinary playing card behind each in its sleeve.",
                   f"Cards of about {mm_text(card_thickness_mm(layout, stock, core_mm))} mm shuffle badly alone.")


def _cards_on_crease(layout: Layout) -> bool:
    """True where a cut line and a crease are one."""
    block = layout.block
    for crease in layout.creases:
        edges = (block.x, block.right) if crease.axis == "vertical" else (block.y, block.bottom)
        if any(abs(edge - crease.at_mm) < 1e-6 for edge in edges):
            return True
    return False


def layers_of(layout: Layout, stock: Stock, core_mm: float, *, sleeved: bool = False) -> tuple[Layer, ...]:
    """What a finished card is made of, front to back."""
    papers = 2 if layout.one_face or layout.papers_per_sheet == 2 else 1
    return card_layers(stock, papers, core_mm if layout.one_face else 0.0, sleeved=sleeved)


def card_thickness_mm(layout: Layout, stock: Stock, core_mm: float) -> float:
    """How thick the finished card is likely to be."""
    return Thickness.of(layers_of(layout, stock, core_mm)).likely_mm


def cautions(layout: Layout) -> tuple[Step, ...]:
    """What can hurt, for the work that this layout asks for. Labels, manuals and local rules come first.

    Sources: aerosols of category 1 (extremely flammable, pressurised container; keep from heat and flames, don't
    pierce; CLP Annex I, table 2.3.1); use outdoors or well ventilated (P271); a spray adhesive's data sheet of 2017
    (skin, drowsiness); guards on guillotines (29 CFR 1910.212(a)(3)(ii)); knives: free hand clear, sharp blade, away
    from the body (public safety leaflets).
    """
    glue = (
        Step("Spray glue",
             "Read the label and the safety sheet first. Outdoors or in a well-ventilated place; no flames, sparks, "
             "hot surfaces or smoking near it; keep it off skin and out of eyes; never pierce or burn the can.",
             "The vapour burns and makes drowsy; a glue stick or paste does the job without."),
    ) if layout.one_face or layout.papers_per_sheet == 2 else ()
    return (
        *glue,
        Step("Clear coat",
             "The can's own label decides: outdoors or well ventilated, no flames or sparks, and let it air until the "
             "smell is gone before anyone handles the cards."),
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
