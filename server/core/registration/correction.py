"""From a printer's drift to a corrected plan.

A build method says which of these counts for it (``BuildMethod.drift``).

**"back page".** T is the turn that carries the back page's own frame behind the front
(``Layout.through``; its own inverse), D the drift in the front's frame. A back point b, drawn uncorrected, is meant for
T(b) and lands at D(T(b)). Let the back be drawn through M instead, in its own page's frame. It lands at D(T(M(b))), and
that shall be T(b), so

    M = T D^-1 T.

Nothing else is assumed: readings are taken against the front's own printed scale, so the front's own errors are part of
D already, and the front is left alone.

**"each page": the front's own scale as well.** F is that scale about the paper's centre, as its ruler shows it. Drawn
through F^-1 the fronts come out in size. A point meant for p then lies where F^-1(p) lay before, and the back shall
land there: D(T(M(b))) = F^-1(T(b)), so M = T D^-1 F^-1 T.

**"one pass"**: everything is printed in the front's own, so neither shift nor turn matter: a crease goes along.
What matters is that pass's own distortion P: its scale F decides the size of the cards, and its squareness (its own
skew, k) tips the two panels to opposite sides of the crease, 2 k apart. D tells k, because both passes go
through the same engine: the front's marks lie at P(p), the back's at T P T (p), so D = P^-1 T P T. Mirroring turns a
skew's sign and keeps scale, so D has the skew -2 k, and P is F with k = -(squareness of D) / 2. The spread is drawn
through P^-1.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from server.core.geometry import Affine, Rect, ThroughFront, bounds
from server.core.methods import method_named
from server.core.plan import Face, Flip, Layout, SheetPlan, Side
from server.core.registration.drift import Drift
from server.core.sizes import Paper
from server.core.units import mm_text
from server.errors import BadValue

if TYPE_CHECKING:
    from server.core.registration.printer import Printer

_SAME_PAPER_MM = 0.5
_SLACK_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Correction:
    """What each page is drawn through, in its own frame, in mm. A spread takes ``front``."""

    front: Affine = Affine()
    back: Affine = Affine()

    def of(self, side: Side) -> Affine:
        return self.back if side == "back" else self.front

    def greatest_mm(self, page: Rect) -> float:
        """The longest way that it moves any point of ``page``; an affine map's is at a corner."""
        return max(math.dist(matrix(corner), corner) for matrix in (self.front, self.back) for corner in page.corners)


def back_correction(drift: Drift, through: ThroughFront) -> Affine:
    """M = T D^-1 T: what a back page is drawn through so that it lands behind its front."""
    turn = through.affine
    return turn.after(drift.matrix.inverse()).after(turn)


def correction_for(printer: Printer, method: str, through: ThroughFront | None) -> Correction:
    """The correction of a method's pages; ``through`` is the sheet's. The identity where nothing is known."""
    drift = printer.drift or Drift(Affine(), printer.centre)
    own = Drift.of(printer.centre, scale_x=printer.front_scale[0], scale_y=printer.front_scale[1])
    counts = method_named(method).drift
    if counts == "one pass" or through is None:
        one_pass = Drift.of(printer.centre, scale_x=own.scale_x, scale_y=own.scale_y,
                            squareness_deg=-drift.squareness_deg / 2)
        return Correction(one_pass.matrix.inverse())
    if counts == "each page":
        return Correction(own.matrix.inverse(), back_correction(drift.then(own), through))
    return Correction(back=back_correction(drift, through))


def headroom_mm(printer: Printer, paper: Paper, method: str) -> float:
    """What the plan search must keep free inside the margins, in mm, rounded up to a tenth.

    No point moves further than this, whichever way the sheet is turned, because mirroring keeps lengths.
    """
    page = Rect(0.0, 0.0, paper.width_mm, paper.height_mm)
    moved = correction_for(printer, method, ThroughFront("vertical", page.width / 2)).greatest_mm(page)
    return math.ceil(moved * 10 - 1e-9) / 10


def check_match(printer: Printer, paper: Paper, method: str, flip: Flip) -> None:
    """Raises BadValue where ``printer`` was measured for other paper or another flip than the sheets are made for."""
    own = printer.paper
    if max(abs(own.width_mm - paper.width_mm), abs(own.height_mm - paper.height_mm)) > _SAME_PAPER_MM:
        raise BadValue(
            f"printer: {printer.name} was measured on {own.label} ({mm_text(own.width_mm)} × "
            f"{mm_text(own.height_mm)} mm), and the sheets are {paper.label}.",
            f"Choose {own.label}, or print and read a test sheet on {paper.label}.")
    needed = method_named(method).printer_flip(flip)
    if needed and printer.flip != needed:
        how = (f"the sheets flip on the {needed.replace('-', ' ')}" if "flip" in method_named(method).honours
               else f"these sheets lie back to back as after a {needed} flip")
        raise BadValue(f"printer: {printer.name} was measured with a flip on the {printer.flip.replace('-', ' ')}, "
                       f"and {how}.", f"Print and read a test sheet with a {needed.replace('-', ' ')} flip.")


def corrected(plan: SheetPlan, printer: Printer) -> SheetPlan:
    """``plan`` with ``printer``'s corrections and its note; every caller may rely on it being printable.

    Raises BadValue for another paper or flip, and, with the numbers, where art would leave the printable area or a
    crease or hinge strip would be lost.
    """
    layout = plan.layout
    check_match(printer, layout.paper, layout.method, layout.flip or printer.flip)
    found = correction_for(printer, layout.method, layout.through)
    made = replace(plan, front_correction=found.front, back_correction=found.back, printer_note=printer.note)
    if found != Correction():
        _check_art(made, printer, found)
        _check_crease(layout, found)
        _check_hinge(made, found)
    return made


def _reaches(plan: SheetPlan, correction: Correction) -> Iterator[tuple[Side, Rect]]:
    """What each side's art covers on its own page once corrected, bleed included; one upright box for each card."""
    for face in (Face(0, name) for name in plan.layout.faces):
        matrix = correction.of("back" if face.name == "back" else "front")
        for placement in plan.placements(face):
            yield placement.side, bounds(matrix(corner) for corner in placement.trim.grown(placement.bleed).corners)


def _check_art(plan: SheetPlan, printer: Printer, correction: Correction) -> None:
    area = plan.layout.printable
    for side, box in _reaches(plan, correction):
        over = {"left": area.x - box.x, "top": area.y - box.y, "right": box.right - area.right,
                "bottom": box.bottom - area.bottom}
        edge = max(over, key=lambda name: over[name])
        if over[edge] > _SLACK_MM:
            moved = correction.greatest_mm(plan.layout.page)
            raise BadValue(
                f"printer: corrected for {printer.name}, a {side} would leave the printable area by "
                f"{mm_text(over[edge])} mm at the {edge} of its page (the correction moves it up to "
                f"{mm_text(moved)} mm).",
                f"Keep {mm_text(moved, 1)} mm more free at the margins, put fewer cards on a sheet, "
                "or choose larger paper.")


def _check_crease(layout: Layout, correction: Correction) -> None:
    page = layout.page
    for crease in layout.creases:
        for end in (crease.start, crease.end):
            x, y = correction.front(end)
            away = max(-x, x - page.right) if crease.axis == "vertical" else max(-y, y - page.bottom)
            if away > _SLACK_MM:
                raise BadValue(f"printer: the correction would carry a crease off the paper by {mm_text(away)} mm.",
                               "Choose larger paper, or lay the crease nearer to the middle.")


def _check_hinge(plan: SheetPlan, correction: Correction) -> None:
    layout = plan.layout
    if layout.hinge is None or layout.hinge_back is None:
        return
    for side, box in _reaches(plan, correction):
        hinge = layout.hinge_back if side == "back" else layout.hinge
        shared = hinge.shared(box)
        lost = min(shared.width, shared.height)
        if lost > _SLACK_MM:
            width = min(hinge.width, hinge.height)
            raise BadValue(
                f"printer: a corrected {side} would take {mm_text(lost)} of the {mm_text(width)} mm hinge strip.",
                f"Ask for a hinge strip of {mm_text(width + lost, 1)} mm, or put fewer cards on a sheet.")
