"""Two sheets: fronts and backs printed apart, aligned against a light, hinged with tape on waste, glued."""

from __future__ import annotations

from collections.abc import Iterator

from server.core.geometry import Rect, ThroughFront
from server.core.methods.protocol import BuildMethod, Frame, Zone, room_on_both_faces
from server.core.methods.steps import Step, Work, finish, measured, press
from server.core.plan import Layout, PlanRequest
from server.core.units import mm_text

# A target is a cross in a ring; this much waste is kept above and below, or at the sides, so that it has a place.
TARGET_STRIP_MM = 7.0


def _zones(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    """The hinge strip lies on the left or the top of the sheet as it is read; targets on the other pair of sides.

    Laid back to back with both heads up, the sheets meet like a page turned about its upright edge. That holds
    for the page, so it is stated for the page whatever the arrangement.
    """
    through = frame.through_from_page(ThroughFront("vertical", request.paper.width_mm / 2))
    size = frame.size
    room = room_on_both_faces(request, frame, through)
    # A corrected sheet moves within the headroom, and the strip shall stay whole.
    headroom = request.headroom_mm
    left = max(room.x, request.hinge_mm + headroom)
    top = max(room.y, request.hinge_mm + headroom)
    strip = TARGET_STRIP_MM
    yield Zone(
        Rect(left, room.y + strip, room.right - left, room.height - 2 * strip), through,
        hinge=Rect(0, 0, left - headroom, size.height), hinge_side="left",
    )
    yield Zone(
        Rect(room.x + strip, top, room.width - 2 * strip, room.bottom - top), through,
        hinge=Rect(0, 0, size.width, top - headroom), hinge_side="top",
    )


def _print_step(layout: Layout) -> Step:
    return Step("One-sided", "Odd pages are fronts, even pages are backs; each goes on a sheet of its own.",
                "The two are glued together afterwards.")


def _steps(work: Work) -> Iterator[Step]:
    layout = work.layout
    side = _hinge_side(layout)
    width = mm_text(min(layout.hinge.width, layout.hinge.height)) if layout.hinge else "10"
    yield Step("Pair the sheets by number",
               "A front sheet and the back sheet of the same number belong together. Check that both print at the "
               "same scale.", picture="pair")
    yield Step("Align against a light",
               "Tape the front sheet to a window, print towards you, head up. Behind it, the back sheet with its print "
               "away from you, head up too. Move it until the rings and crosses of all targets lie in one another."
               f"{measured(work)}", "This is the last check before the glue." if layout.camera_marks else "", "align")
    yield Step(f"Hinge with tape on the {side}",
               f"Put the tape wholly on the marked strip of {width} mm at the {side} edge of the fronts.",
               "The strip is cut away at the end, and the tape with it; tape on a card would stay.", "hinge")
    yield Step("If no waste is left for the tape",
               f"Trim the fronts up to the cutting edge on the {side}. Against the light trace the same edge onto the "
               "backs, which carry no line unless you have it printed, and trim them to it. Lay the two edge to edge, "
               "printed sides up, and hinge them with tape there; take it off after the press. Coated prints only.",
               "Tape tears ink and toner off bare paper, and tape left inside the glue lets cards part later (common "
               "practice).", "hinge-edge", ("knife",))
    yield Step("Open, glue, close from the hinge",
               "Open the pair like a book, glue the inside of one sheet thin and even, close it from the hinge and "
               "smooth outwards.", "The hinge keeps the sheets where the light showed them.", "glue", ("spray glue",))
    yield press()
    yield from finish(work)


def _hinge_side(layout: Layout) -> str:
    """Where the hinge strip lies on the fronts' page as it leaves the printer."""
    hinge, page = layout.hinge, layout.page
    if hinge is None:
        return "marked side"
    if hinge.width < page.width:
        return "left" if hinge.x <= 0 else "right"
    return "top" if hinge.y <= 0 else "bottom"


TWO_SHEET = BuildMethod(
    name="two-sheet",
    label="Two sheets, glued",
    summary="Fronts and backs on separate sheets. Align them against a light, hinge with tape, glue, cut.",
    suits="For the stiffest cards, and for card that a printer takes on one side only.",
    prints="One side each: fronts on one sheet, backs on another.",
    turns="Lay the sheets back to back, heads up.",
    faces=("front", "back"),
    zones=_zones,
    steps=_steps,
    print_step=_print_step,
    papers_per_sheet=2,
    papers_per_card=2,
    glued=True,
    honours=frozenset({"hinge_mm", "hinge_edge", "back_flood", "camera_marks"}),
    drift="each page",
)
