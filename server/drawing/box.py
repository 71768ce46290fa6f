"""Draw a box's page onto any surface: what lies on its panels, its contour, its creases, words on what is hidden."""

from __future__ import annotations

import math

from server.core.art import Art
from server.core.bleed import decide
from server.core.box import Box, Panel
from server.core.card_stack import ALL, dress_named, rgb_of
from server.core.geometry import Affine, Edges, Rect, bounds
from server.core.lettering import text_width_mm
from server.core.plan import Line, Placement
from server.core.planning import Planned
from server.core.sizes import CardSize
from server.drawing.sheet import bleed_on_card, card_matrix, draw_pale, lay_on
from server.drawing.surface import Rgb, Stroke, Surface

_CUT = Stroke(0.15)
_CREASE = Stroke(0.2, (70, 70, 70), (3.0, 2.0))
_GREY: Rgb = (110, 110, 110)
_TEXT_MM = 2.1
# The closed box: where a millimetre to the back goes on the picture, and bare board in three lights.
_AWAY, _AIR_MM = (0.5, -0.36), 3.0
_FRONT, _SIDE, _TOP = (250, 247, 240), (214, 208, 196), (233, 228, 217)
_OUTLINE = Stroke(0.3, (60, 56, 50))
# Ink runs this far over a crease onto a flap that has none of its own, so that no white shows where the board bends.
# Not farther: glue holds on bare board.
_OVER_CREASE_MM = 1.0


def draw_box(surface: Surface, planned: Planned, box: Box) -> None:
    """Draw ``box`` as a page of its own. Art on a panel is laid on as on a card: whole, or cut to cover."""
    dress = _dress(planned, box)
    page = Rect(0, 0, box.paper.width_mm, box.paper.height_mm)
    trim = bounds(corner for panel in box.panels for corner in panel.corners)
    bleed = trim.grown(Edges.all(planned.settings.made_bleed_mm)).shared(page)
    surface.page(page, trim, bleed, f"box {box.kind}")
    with surface.within(layer="art"):
        for panel in sorted(box.panels, key=lambda one: not one.inside):
            if panel.name in dress:
                _lay_on(surface, planned, box, panel, dress)
    draw_pale(surface, planned, page)
    with surface.within(layer="cut lines"):
        surface.lines(box.contour, _CUT)
    with surface.within(layer="creases"):
        surface.lines(tuple(fold.line for fold in box.folds), _CREASE)
        surface.lines(_ticks(box, page, planned.settings.made_bleed_mm), _CUT)
    with surface.within(layer="notes"):
        for panel in box.panels:
            if panel.inside:
                _name(surface, panel)


def draw_folded(surface: Surface, planned: Planned, box: Box) -> None:
    """The closed box as a page of its own, from its front: the front as it is, the side and the top drawn backwards.
    Each panel of the net is carried there as it is read once the box stands."""
    front, side, top = (box.panel(name) for name in (
        ("front", "right", "lid") if box.kind == "tuck" else ("lid bottom", "lid right", "lid")))
    dress = _dress(planned, box)
    (wide, high), (deep, _) = _upright(front), _upright(side)
    below = 0.0 if box.kind == "tuck" else max(0.0, box.inside_mm[2] - high)  # of the base, under its lid
    x, y = _AIR_MM, _AIR_MM - deep * _AWAY[1]
    whole = Rect(0, 0, x + wide + deep * _AWAY[0] + _AIR_MM, y + high + below + _AIR_MM)
    surface.page(whole, whole, whole, "box folded")
    faces = ((top, Affine(a=1, b=0, c=-_AWAY[0], d=-_AWAY[1], e=x + deep * _AWAY[0], f=y + deep * _AWAY[1])),
             (side, Affine(a=_AWAY[0], b=_AWAY[1], c=0, d=1, e=x + wide, f=y)),
             (front, Affine(a=1, b=0, c=0, d=1, e=x, f=y)))
    for panel, onto in faces[1:] if below else ():  # what is seen of the base, a little in
        size = _upright(panel)[0] - (0.8 if panel is front else 0)
        base = Rect(0.8 if panel is front else -0.8, high, size, below)
        surface.fill(tuple(onto(corner) for corner in base.corners), _SIDE)
    for (panel, onto), rgb in zip(faces, (_TOP, _SIDE, _FRONT), strict=True):
        corners = tuple(onto(corner) for corner in Rect(0, 0, *_upright(panel)).corners)
        surface.fill(corners, rgb)
        if panel.name in dress:
            read = card_matrix(Placement(0, "front", 0, panel.rect, panel.up_deg, Edges()))
            with surface.within(matrix=onto.after(read.inverse())), surface.within(clip=panel.rect):
                _lay_on(surface, planned, box, panel, dress)
        surface.lines(tuple(Line(one, other) for one, other in zip(corners, (*corners[1:], corners[0]), strict=True)),
                      _OUTLINE)


def _upright(panel: Panel) -> tuple[float, float]:
    """Width and height of a panel as it is read once the box stands."""
    rect = panel.rect
    return (rect.height, rect.width) if panel.up_deg in (90, 270) else (rect.width, rect.height)


def _ticks(box: Box, page: Rect, bleed_mm: float) -> tuple[Line, ...]:
    """Short lines in the waste that carry creases on, for art on which a crease can't be seen."""
    rects = [panel.rect.grown(Edges.all(bleed_mm)) for panel in box.panels]
    ticks = []
    for fold in box.folds:
        (x0, y0), (x1, y1) = fold.line.start, fold.line.end
        length = math.hypot(x1 - x0, y1 - y0)
        along = ((x1 - x0) / length, (y1 - y0) / length)
        for (x, y), way in ((fold.line.start, -1.0), (fold.line.end, 1.0)):
            near, far = ((x + way * off * along[0], y + way * off * along[1])
                         for off in (bleed_mm + 0.5, bleed_mm + 3.5))
            place = bounds((near, far))
            if page.contains(place) and not any(_touches(rect, place) for rect in rects):
                ticks.append(Line(near, far))
    return tuple(ticks)


def _touches(rect: Rect, other: Rect) -> bool:
    shared = rect.shared(other)
    return shared.width >= 0 and shared.height >= 0


def _dress(planned: Planned, box: Box) -> dict[str, Art | Rgb]:
    """What lies on each panel. ``all`` dresses what is seen; a flap is dressed by its own name alone."""
    said = dress_named(planned.settings.box_panels)
    arts = {art.file: art for card in planned.deck.cards for art in (card.front, card.back) if art}
    found: dict[str, Art | Rgb] = {}
    for panel in box.panels:
        what = said.get(panel.name, "" if panel.inside else said.get(ALL, ""))
        if what:
            found[panel.name] = rgb_of(what) or arts[what]
    return found


def _lay_on(surface: Surface, planned: Planned, box: Box, panel: Panel, dress: dict[str, Art | Rgb]) -> None:
    what, rect = dress[panel.name], panel.rect
    bleed = _bleed(planned.settings.made_bleed_mm, box, panel, dress)
    if isinstance(what, tuple):
        surface.fill(rect.grown(bleed).corners, what)
        return
    turned = panel.up_deg in (90, 270)
    size = (rect.height, rect.width) if turned else (rect.width, rect.height)
    card = CardSize("panel", "panel", *size)
    settings = planned.settings
    placement = Placement(0, "front", 0, rect, panel.up_deg, bleed)
    lay_on(surface, what, decide(what, card, settings.made_bleed_mm, settings.edges), card,
           bleed_on_card(bleed, panel.up_deg), card_matrix(placement))


def _bleed(bleed_mm: float, box: Box, panel: Panel, dress: dict[str, Art | Rgb]) -> Edges:
    """How far ink runs over each edge of a panel on the page: in full over a cut, not at all onto a dressed panel."""
    rect = panel.rect
    amounts = dict.fromkeys(("left", "top", "right", "bottom"), bleed_mm)
    for fold in box.folds:
        if panel.name not in fold.between:
            continue
        other = fold.between[0] if fold.between[1] == panel.name else fold.between[1]
        amounts[_edge_at(rect, fold.line)] = 0.0 if other in dress else min(bleed_mm, _OVER_CREASE_MM)
    return Edges(**amounts)


def _edge_at(rect: Rect, line: Line) -> str:
    at = {"left": rect.x, "right": rect.right} if line.axis == "vertical" else {"top": rect.y, "bottom": rect.bottom}
    return min(at, key=lambda edge: abs(at[edge] - line.at_mm))


def _name(surface: Surface, panel: Panel) -> None:
    """What a hidden part is for, along its longer side, where there is room."""
    rect = panel.rect
    text = "glue here" if "tab" in panel.name else "tuck in" if panel.name.endswith("flap") else "fold in first"
    width, along = text_width_mm(text, _TEXT_MM), max(rect.width, rect.height)
    if width > along - 6 or min(rect.width, rect.height) < _TEXT_MM * 1.6:
        return
    x, y = rect.centre
    if rect.height > rect.width:
        surface.text((x + _TEXT_MM * 0.35, y), text, _TEXT_MM, 270, anchor="middle", rgb=_GREY)
    else:
        surface.text((x, y + _TEXT_MM * 0.35), text, _TEXT_MM, anchor="middle", rgb=_GREY)
