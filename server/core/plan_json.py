"""The sheet plan as plain data: the machine-readable truth that tests and other tools read.

All lengths are mm in the page's own frame: origin at the top-left corner of that page as it is read, y down, every
page portrait, rotations clockwise. ``corners`` are the card's own top-left, top-right, bottom-right and bottom-left
as they are drawn, the printer's correction applied. ``through_front`` is the reflection that carries a back's page
behind its front: each back says its own, and the plan says the sheet's where one serves it whole (else null).
"""

from __future__ import annotations

from typing import Any

from server.core.cuts import cut_count, cut_lines, cut_order, lines_behind, stop_count, stops_of
from server.core.geometry import Affine, Edges, Point, Rect, ThroughFront
from server.core.marks import Mark, marks_for
from server.core.plan import Face, Line, Placement, SheetPlan
from server.core.planning import Planned
from server.core.search import Candidate

FORMAT, VERSION, UNIT = "lampfold-plan", 1, "mm"


def plan_to_json(planned: Planned) -> dict[str, Any]:
    """Every placement of every face, creases, hinge strips, cut lines and marks; see the module for the frame."""
    plan, layout = planned.plan, planned.plan.layout
    return {
        "format": FORMAT,
        "version": VERSION,
        "unit": UNIT,
        "deck": plan.deck_name,
        "deck_version": plan.version,
        "method": layout.method,
        "flip": layout.flip,
        "paper": {"name": layout.paper.name, "width": layout.paper.width_mm, "height": layout.paper.height_mm},
        "card": {"name": layout.card.name, "width": layout.card.width_mm, "height": layout.card.height_mm},
        "arrangement": layout.arrangement,
        "card_turned": layout.card_turned,
        "columns": layout.columns,
        "rows": layout.rows,
        "gutter": layout.gutter_mm,
        "bleed": layout.bleed_mm,
        "outer_bleed": _edges(layout.outer_bleed),
        "printable": _rect(layout.printable),
        "spine": layout.spine_mm,
        "hinge_side": layout.hinge_side,
        "through_front": _through(layout.through),
        "cards_per_sheet": plan.cards_per_sheet,
        "sheets": plan.sheet_count,
        "papers": plan.paper_count,
        "cuts": planned.best.cuts,
        "stops": stops_of(plan),
        "waste_percent": round(planned.best.waste_percent, 2),
        "front_correction": _affine(plan.front_correction),
        "back_correction": _affine(plan.back_correction),
        "printer_note": plan.printer_note,
        "settings": planned.settings.printed(),
        "alternatives": [alternative_to_json(candidate) for candidate in planned.candidates],
        "pages": [_page(planned, number, face) for number, face in enumerate(plan.faces)],
        "cut_order": [step for sheet in range(plan.sheet_count) for step in cut_order_to_json(plan, sheet)],
    }


def cut_order_to_json(plan: SheetPlan, sheet: int) -> list[dict[str, Any]]:
    """The cuts of one sheet in order, for the cards that are on it, in its front page's frame."""
    return [
        {"sheet": sheet + 1, "step": cut.step, "piece": cut.piece, "from_mm": _point(cut.line.start),
         "to_mm": _point(cut.line.end), "stop_mm": round(cut.stop_mm, 6), "stop_from": cut.stop_from}
        for cut in cut_order(plan.layout, len(plan.cards_on(sheet)))
    ]


def alternative_to_json(candidate: Candidate) -> dict[str, Any]:
    """One ranked plan with its numbers."""
    layout = candidate.layout
    return {
        "arrangement": layout.arrangement, "card_turned": layout.card_turned, "hinge_side": layout.hinge_side,
        "sheets": candidate.papers // layout.papers_per_sheet, "papers": candidate.papers,
        "cards_per_sheet": candidate.cards_per_sheet, "columns": layout.columns,
        "rows": layout.rows, "cuts": candidate.cuts, "waste_percent": round(candidate.waste_percent, 2),
    }


def _page(planned: Planned, number: int, face: Face) -> dict[str, Any]:
    plan, layout = planned.plan, planned.plan.layout
    cards = len(plan.cards_on(face.sheet))
    has_fronts, has_backs = face.name != "back", face.name != "front"
    hinges = [hinge for hinge in ((layout.hinge if has_fronts else None), (layout.hinge_back if has_backs else None))
              if hinge]
    return {
        "page": number + 1,
        "sheet": face.sheet + 1,
        "face": face.name,
        "placements": [_placement(planned, face, placement) for placement in plan.placements(face)],
        "creases": [_line(line) for line in layout.creases_on(cards)],
        "hinge_strips": [_rect(_strip_as_drawn(plan, face, hinge)) for hinge in hinges],
        "cut_lines": [_line(line) for line in _drawn_cut_lines(planned, face)],
        "cuts": cut_count(layout, cards) if has_fronts else 0,
        "stops": stop_count(cut_order(layout, cards)) if has_fronts else 0,
        "marks": [_mark(mark) for mark in marks_for(plan, face)],
    }


def _mark(mark: Mark) -> dict[str, Any]:
    """A mark before correction; one for a camera with its station, its middle on the front's page, and its size."""
    found: dict[str, Any] = {"kind": mark.kind, **_rect(mark.box)}
    if mark.camera:
        found |= {"station": mark.camera.station, "through_front": _point(mark.camera.centre), "size": mark.camera.size}
    return found


def _strip_as_drawn(plan: SheetPlan, face: Face, strip: Rect) -> Rect:
    """The hinge strip on that page with its inner edge where the correction puts it; its others are the paper's own.

    Where the correction turns the edge, the strip ends at the end that comes nearest to the paper's.
    """
    page, drawn = plan.layout.page, plan.correction(face)
    left, top, right, bottom = page.x, page.y, page.right, page.bottom
    ends = [drawn(corner) for corner in strip.corners]
    if strip.width < page.width:
        inner = sorted(x for x, _ in ends)
        left, right = (left, inner[2]) if strip.x <= page.x else (inner[1], right)
    else:
        inner = sorted(y for _, y in ends)
        top, bottom = (top, inner[2]) if strip.y <= page.y else (inner[1], bottom)
    return Rect(left, top, right - left, bottom - top)


def _drawn_cut_lines(planned: Planned, face: Face) -> tuple[Line, ...]:
    """The lines that the page shows, full length whatever their style."""
    wanted, layout = planned.settings.cut_lines, planned.plan.layout
    if wanted == "none":
        return ()
    lines = cut_lines(layout, len(planned.plan.cards_on(face.sheet)))
    fronts = lines if face.name != "back" else ()
    return fronts + (lines_behind(layout, lines) if wanted == "both" and face.name != "front" else ())


def _placement(planned: Planned, face: Face, placement: Placement) -> dict[str, Any]:
    card = planned.deck.cards[placement.card]
    art = card.front if placement.side == "front" else card.back
    through = planned.plan.layout.slots[placement.slot].through
    own = {"through_front": _through(through)} if placement.side == "back" else {}
    corners = placement.trim.corners
    start = placement.rotation_deg // 90
    drawn = planned.plan.correction(face)
    return {
        "card": placement.card,
        "name": card.name,
        "side": placement.side,
        "file": art.file if art else None,
        "slot": placement.slot,
        "trim": _rect(placement.trim),
        "rotation": placement.rotation_deg,
        "bleed": _edges(placement.bleed),
        "corners": [[round(value, 6) for value in drawn(corners[(start + turn) % 4])] for turn in range(4)],
        **own,
    }


def _through(through: ThroughFront | None) -> dict[str, Any] | None:
    return {"axis": through.axis, "at": through.at_mm} if through else None


def _rect(rect: Rect) -> dict[str, float]:
    return {"x": round(rect.x, 6), "y": round(rect.y, 6), "width": round(rect.width, 6),
            "height": round(rect.height, 6)}


def _edges(edges: Edges) -> dict[str, float]:
    return {"left": round(edges.left, 6), "top": round(edges.top, 6), "right": round(edges.right, 6),
            "bottom": round(edges.bottom, 6)}


def _line(line: Line) -> dict[str, list[float]]:
    return {"start": _point(line.start), "end": _point(line.end)}


def _point(point: Point) -> list[float]:
    return [round(value, 6) for value in point]


def _affine(matrix: Affine) -> list[float]:
    return [matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f]
