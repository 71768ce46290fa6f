"""Draw one planned face onto any surface: the screen's sheet and the PDF come from this one function."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from server.core.art import Art
from server.core.back_designs import flood_of
from server.core.bleed import ArtFit, decide, stamps
from server.core.cost import PALE
from server.core.cuts import crease_lines, cut_lines, cut_ticks, hinge_edge, lines_behind
from server.core.edge_bleed import Flood
from server.core.geometry import Affine, Edges, Nearby, Rect, bounds
from server.core.lettering import version_mark
from server.core.marks import Mark, marks_for
from server.core.plan import Face, FaceName, Layout, Placement, SheetPlan
from server.core.planning import Planned
from server.core.settings import DeckSettings
from server.core.sizes import CardSize
from server.drawing.surface import BLACK, WHITE, Rgb, Stroke, Surface

# Cards that share a cut overlap by this much in drawing order. Under art that may be seen through, a lap would show:
# there it stays under what a plan is held to (0.05 mm), which still is most of a pixel in print.
LAP_MM, THIN_LAP_MM = 0.25, 0.04
_TOUCH_MM = 1e-3
_CUT = Stroke(0.1)
_CASING = Stroke(0.5, WHITE)  # in the waste only, so that a line shows on dark bleed too
_CREASE = Stroke(0.2, (70, 70, 70), (3.0, 2.0))
_FOLD_TICK = Stroke(0.2, (70, 70, 70), (1.0, 0.6))
_MARK = Stroke(0.1)
_HINGE = Stroke(0.15, (70, 70, 70), (1.0, 1.0))
_SAFE = Stroke(0.25, (200, 0, 120), (1.5, 1.0))
_CUT_SHOWN, _CUT_CASING = Stroke(0.35, _SAFE.rgb, (1.8, 1.0)), Stroke(0.8, WHITE)
_PAPER_MM = 1.5


def draw_face(surface: Surface, planned: Planned, face: Face, *, safe_zone: bool = False) -> None:
    """Draw ``face`` of a plan. ``safe_zone`` adds the outlines that only a screen may show."""
    plan = planned.plan
    trim, bleed = printed_boxes(plan.layout, face.name)
    label = f"{face.sheet + 1} {face.name}"
    surface.page(plan.layout.page, trim, bleed, label)
    draw_on_page(surface, planned, face)
    if safe_zone:
        clip, drawn = plan.layout.printable, plan.correction(face)
        with surface.within(clip=clip), surface.within(matrix=drawn), surface.within(layer="safe zone"):
            for placement in plan.placements(face):
                _draw_safe_zone(surface, planned, placement)


def draw_on_page(surface: Surface, planned: Planned, face: Face) -> None:
    """All that is printed on ``face``, onto the page at hand, in its frame."""
    plan = planned.plan
    # Clipped as the page lies in the printer: a correction moves lines and strips, not what the printer can reach.
    with surface.within(clip=plan.layout.printable), surface.within(matrix=plan.correction(face)):
        with surface.within(layer="art"):
            _draw_flood(surface, planned, face)
            placements = plan.placements(face)
            arts = [art_of(planned, placement) for placement in placements]
            laps = _laps(tuple((placement.trim, placement.bleed) for placement in placements),
                         tuple(art and see_through(art) for art in arts))
            for placement, art, reaches in zip(placements, arts, laps, strict=True):
                for reach in reaches:
                    if art:
                        _draw_card(surface, planned, placement, art, reach)
        draw_pale(surface, planned, plan.layout.page)
        _draw_version(surface, planned, placements)
        with surface.within(layer="cut lines"):
            _draw_cut_lines(surface, planned, face)
        with surface.within(layer="creases"):
            creases = crease_lines(plan.layout, len(plan.cards_on(face.sheet)))
            if creases and plan.layout.in_pairs:
                surface.lines(creases, _CASING)
                surface.lines(creases, _FOLD_TICK)
            elif creases:
                surface.lines(creases, _CREASE)
        with surface.within(layer="notes"):
            for mark in marks_for(plan, face):
                _draw_mark(surface, mark, _ink_on(planned, face, mark.box))


def draw_pale(surface: Surface, planned: Planned, page: Rect) -> None:
    """White over all that was drawn so far, where the settings ask for pale ink."""
    if planned.settings.ink == "pale":
        with surface.within(layer="pale ink"):
            surface.veil(page.corners, PALE)


def _draw_version(surface: Surface, planned: Planned, placements: Sequence[Placement]) -> None:
    """The version on each front, over the pale ink too, so that it stays as dark as it was measured to be."""
    mark = version_mark(planned.settings)
    if mark is None:
        return
    with surface.within(layer="art"):
        for placement in placements:
            if placement.side == "front":
                front = planned.deck.cards[placement.card].front
                with surface.within(matrix=card_matrix(placement)):
                    surface.text(mark.at, mark.text, mark.em_mm, mark.rotation_deg, "middle",
                                 planned.mark_inks.get(front.key, BLACK))


def _draw_flood(surface: Surface, planned: Planned, face: Face) -> None:
    flood = flood_of(planned, face)
    if flood:
        surface.fill(flood[0].corners, flood[1])


def _ink_on(planned: Planned, face: Face, box: Rect) -> Rgb:
    """White for a mark on a dark flood, black otherwise. Lightness by the weights of WCAG 2.2's relative luminance."""
    flood = flood_of(planned, face)
    if not flood or not flood[0].overlaps(box):
        return BLACK
    red, green, blue = flood[1]
    return WHITE if 0.2126 * red + 0.7152 * green + 0.0722 * blue < 128 else BLACK


@lru_cache(maxsize=64)  # sheet after sheet has the same
def printed_boxes(layout: Layout, name: FaceName) -> tuple[Rect, Rect]:
    """The printed block's trim and bleed boxes on that face's page, in mm, before correction."""
    plan = SheetPlan(layout, tuple(range(len(layout.slots))))
    placed = plan.placements(Face(0, name))
    return (bounds(corner for one in placed for corner in one.trim.corners),
            bounds(corner for one in placed for corner in one.trim.grown(one.bleed).corners))


def card_matrix(placement: Placement) -> Affine:
    """The card's own frame (upright, origin at its trim's top-left corner) onto the page."""
    return _card_matrix(placement.trim, placement.rotation_deg)


@lru_cache(maxsize=1024)
def _card_matrix(trim: Rect, rotation_deg: int) -> Affine:
    corner = {0: (trim.x, trim.y), 90: (trim.right, trim.y), 180: (trim.right, trim.bottom),
              270: (trim.x, trim.bottom)}[rotation_deg]
    return Affine.shift(*corner).after(Affine.turn(rotation_deg))


def bleed_on_card(bleed: Edges, rotation_deg: int) -> Edges:
    """The bleed of each edge of the card as it is held upright, from that of each edge on the page."""
    around = (bleed.left, bleed.top, bleed.right, bleed.bottom)
    steps = rotation_deg // 90
    # Turned clockwise by a quarter, the card's left edge lies at the top of the page, its top at the right.
    return Edges(*(around[(edge + steps) % 4] for edge in range(4)))


def art_of(planned: Planned, placement: Placement) -> Art | None:
    """The art of that face of that card; None prints blank."""
    card = planned.deck.cards[placement.card]
    return card.front if placement.side == "front" else card.back


@lru_cache(maxsize=64)  # sheet after sheet has the same
def _laps(cards: tuple[tuple[Rect, Edges], ...], clear: tuple[bool | None, ...]) -> tuple[tuple[Edges, ...], ...]:
    """For each card how far each edge on the page reaches under a card that is drawn later and shares the cut; once for
    each time that the card is drawn. ``cards`` are trims with their bleeds; ``clear`` says which may be seen through,
    None where nothing is drawn.

    The later card covers it wholly, so it never shows; without it two soft edges would meet in a light hairline.
    Where two laps meet at a corner that no later card covers, the corner would show: such a card is drawn twice, with
    one lap each, or where it may be seen through, once with laps that are too thin to matter.
    """
    nearby = Nearby([trim for trim, _ in cards])
    return tuple(_laps_of(cards, clear, number, [other for other in nearby.near(trim.grown(Edges.all(1.0)))
                                                 if other > number and clear[other] is not None])
                 for number, (trim, _) in enumerate(cards))


def _laps_of(cards: tuple[tuple[Rect, Edges], ...], clear: tuple[bool | None, ...], number: int,
             later: list[int]) -> tuple[Edges, ...]:
    laps, rect = [0.0, 0.0, 0.0, 0.0], cards[number][0]
    for other in later:
        edge = _shared_edge(cards[number], cards[other])
        if edge is not None:
            laps[edge] = THIN_LAP_MM if clear[other] else LAP_MM
    left, top, right, bottom = laps
    covering = [cards[other][0] for other in later]
    corners = ((left, top, rect.x, rect.y), (right, top, rect.right, rect.y),
               (right, bottom, rect.right, rect.bottom), (left, bottom, rect.x, rect.bottom))
    if all(not (across and down) or _covered(covering, x, y) for across, down, x, y in corners):
        return (Edges(*laps),)
    if clear[number]:
        return (Edges(*(min(lap, THIN_LAP_MM) for lap in laps)),)
    return Edges(left=left, right=right), Edges(top=top, bottom=bottom)


def _shared_edge(card: tuple[Rect, Edges], beside: tuple[Rect, Edges]) -> int | None:
    """Which edge of ``card`` (left, top, right, bottom) lies on a cut with ``beside``, or so near it that bleed meets.

    White between two cards without bleed is no seam.
    """
    (rect, bleed), (other, its) = card, beside
    across = min(rect.bottom, other.bottom) > max(rect.y, other.y) + _TOUCH_MM
    along = min(rect.right, other.right) > max(rect.x, other.x) + _TOUCH_MM
    gaps = ((rect.x - other.right, bleed.left + its.right, across),
            (rect.y - other.bottom, bleed.top + its.bottom, along),
            (other.x - rect.right, bleed.right + its.left, across),
            (other.y - rect.bottom, bleed.bottom + its.top, along))
    return next((edge for edge, (gap, ink, near) in enumerate(gaps)
                 if near and -_TOUCH_MM < gap < min(LAP_MM, ink + _TOUCH_MM)), None)


def _covered(later: list[Rect], x: float, y: float) -> bool:
    """Whether a later card lies across the corner (x, y) from the one that has it, or close to it."""
    return sum(trim.grown(Edges.all(LAP_MM)).contains(Rect(x, y, 0, 0)) for trim in later) >= 3


def see_through(art: Art) -> bool:
    """True if what lies under the art may show: it has alpha, or it is a PDF page, which has no paper of its own."""
    return art.has_alpha or art.is_vector


def _draw_card(surface: Surface, planned: Planned, placement: Placement, art: Art, laps: Edges) -> None:
    bleed = placement.bleed
    reach = Edges(max(bleed.left, laps.left), max(bleed.top, laps.top),
                  max(bleed.right, laps.right), max(bleed.bottom, laps.bottom))
    lay_on(surface, art, planned.fit(art), planned.settings.card_size, bleed_on_card(reach, placement.rotation_deg),
           card_matrix(placement))


def lay_on(surface: Surface, art: Art, fit: ArtFit, card: CardSize, bleed: Edges, matrix: Affine) -> None:
    """Art on a card, or on a panel of a box: ``bleed`` of each edge as it is held upright, ``matrix`` to the page."""
    with surface.within(matrix=matrix):
        for layer in stamps(fit, card, bleed, art.edge_rgb, see_through(art), art.is_vector):
            if isinstance(layer, Flood):
                # By a clip, as the art beside it is cut: readers smooth a polygon's own edge differently.
                with surface.within(clip=layer.rect):
                    surface.fill(layer.rect.grown(Edges.all(1.0)).corners, layer.rgb)
            else:
                with surface.within(clip=layer.clip):
                    surface.art(art, layer.matrix)


def draw_card(surface: Surface, art: Art, settings: DeckSettings) -> None:
    """One card by itself as the sheet draws it, with all its bleed, the paper's edge around it and where it is cut."""
    card, bleed = settings.card_size, settings.made_bleed_mm
    away = bleed + _PAPER_MM
    trim = Rect(away, away, card.width_mm, card.height_mm)
    page = Rect(0, 0, card.width_mm + 2 * away, card.height_mm + 2 * away)
    surface.page(page, trim, trim.grown(Edges.all(bleed)), card.name)
    fit = decide(art, card, bleed, settings.edges)
    with surface.within(layer="art"):
        lay_on(surface, art, fit, card, Edges.all(bleed), Affine.shift(away, away))
    with surface.within(layer="safe zone"):
        surface.outline(trim, settings.radius_mm, _CUT_CASING)
        surface.outline(trim, settings.radius_mm, _CUT_SHOWN)


def _draw_cut_lines(surface: Surface, planned: Planned, face: Face) -> None:
    wanted = planned.settings.cut_lines
    if planned.settings.hinge_edge and face.name == "back" and wanted != "both":
        surface.lines(hinge_edge(planned.plan.layout), _CUT)
    if wanted == "none" or (face.name == "back" and wanted == "fronts"):
        return
    layout = planned.plan.layout
    cards = len(planned.plan.cards_on(face.sheet))
    ticks = cut_ticks(layout, cards)
    lines = cut_lines(layout, cards) if planned.settings.line_style == "full" else ticks
    if face.name != "back":
        surface.lines(ticks, _CASING)
        surface.lines(lines, _CUT)
    if face.name == "back" or (face.name == "spread" and wanted == "both"):
        surface.lines(lines_behind(layout, ticks), _CASING)
        surface.lines(lines_behind(layout, lines), _CUT)


def _draw_mark(surface: Surface, mark: Mark, rgb: Rgb) -> None:
    pen = Stroke(_MARK.width_mm, rgb)
    stroke = (Stroke(_HINGE.width_mm, _HINGE.rgb if rgb == BLACK else rgb, _HINGE.dash_mm) if mark.dashed else pen)
    if mark.lines:
        surface.lines(mark.lines, stroke)
    for centre, radius in mark.rings:
        surface.ring(centre, radius, pen)
    for centre, radius in mark.discs:  # solid: a pen as wide as the radius, a little over so that no middle is left
        surface.ring(centre, 0.49 * radius, Stroke(1.02 * radius, rgb))
    for polygon in mark.polygons:
        surface.fill(polygon, rgb)
    if mark.outline:
        surface.outline(*mark.outline, pen)
    for text in mark.texts:
        surface.text(text.at, text.text, text.size_mm, text.rotation_deg, rgb=rgb)


def _draw_safe_zone(surface: Surface, planned: Planned, placement: Placement) -> None:
    inset = planned.settings.safe_mm
    radius = planned.settings.radius_mm
    inner = placement.trim.grown(Edges.all(-inset))
    if inner.width > 0 and inner.height > 0:
        surface.outline(inner, max(0.0, radius - inset), _SAFE)
    surface.outline(placement.trim, radius, Stroke(0.2, _SAFE.rgb))
