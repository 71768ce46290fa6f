"""What a face shows, asserted on the recording surface, and the same face as SVG."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from server.core.art import Art, Card, Deck
from server.core.edge_bleed import ArtEdges, EdgeSeen
from server.core.geometry import Affine, Edges
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings, EdgeMode
from server.drawing.sheet import card_matrix, draw_card, draw_face
from server.drawing.surface import Drawn, RecordingSurface
from server.drawing.svg_surface import SvgSurface
from tests.strategies import plain_deck

SVG = "{http://www.w3.org/2000/svg}"


def recorded(planned: Planned, safe_zone: bool = False) -> RecordingSurface:
    surface = RecordingSurface()
    for face in planned.plan.faces:
        draw_face(surface, planned, face, safe_zone=safe_zone)
    return surface


def planned(*copies: int, with_backs: bool = True, **settings: object) -> Planned:
    return plan_deck(plain_deck(*copies, with_backs=with_backs), DeckSettings().changed(settings))


def on_layer(surface: RecordingSurface, layer: str, page: int) -> list[Drawn]:
    return [one for one in surface.drawn if one.layer == layer and one.page == page]


@pytest.mark.parametrize(("wanted", "front", "back"), [("fronts", True, False), ("both", True, True),
                                                       ("none", False, False)])
def test_cut_lines_stand_where_they_are_wanted(wanted: str, front: bool, back: bool) -> None:
    surface = recorded(planned(9, cut_lines=wanted))
    assert bool(on_layer(surface, "cut lines", 0)) is front
    assert bool(on_layer(surface, "cut lines", 1)) is back


def test_a_fold_has_cut_lines_on_the_fronts_panel_only() -> None:
    plan = planned(4, method="vertical-fold")
    crease = plan.plan.layout.creases[0].at_mm
    lines = on_layer(recorded(plan), "cut lines", 0)
    assert lines and all(y <= crease + 1e-6 for line in lines for _, y in line.points)


def test_creases_are_dashed_and_on_their_own_layer() -> None:
    creases = on_layer(recorded(planned(4, method="side-fold", core_mm=1)), "creases", 0)
    assert len(creases) == 2 and all(crease.stroke and crease.stroke.dash_mm for crease in creases)


EDGES = ArtEdges(EdgeSeen("flat", (9, 9, 9)), EdgeSeen("picture", (0, 0, 0)), EdgeSeen("gradient", (5, 6, 7)),
                 EdgeSeen("picture", (0, 0, 0)), corner=0.05)


@pytest.mark.parametrize(("own", "card_turned"), [(None, "no"), (None, "yes"), ("stretch", "no"), ("colour", "no")])
def test_a_card_by_itself_is_drawn_as_on_its_sheet(own: EdgeMode | None, card_turned: str) -> None:
    art = Art("fronts/a.png", "a", "png", 630, 880, edge_rgb=(9, 9, 9), edges=EDGES, bleed=own)
    settings = DeckSettings().changed({"card": "poker-metric", "card_turned": card_turned})
    plan = plan_deck(Deck("One", (Card("a", art),)), settings)
    sheet, alone = RecordingSurface(), RecordingSurface()
    draw_face(sheet, plan, plan.plan.faces[0])
    draw_card(alone, art, settings)
    placement = plan.plan.placements(plan.plan.faces[0])[0]
    assert placement.bleed == Edges.all(3.0)  # one card on a sheet has all of its bleed

    def on_card(one: Drawn, page: Affine) -> list[float]:
        matrix = page.inverse().after(one.matrix)
        of, clip = one.clips[-1]
        return [matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f,
                *(part for corner in clip.corners for part in page.inverse()(of(corner)))]

    def layers(surface: RecordingSurface, page: Affine) -> list[list[float]]:
        return [on_card(one, page) for one in on_layer(surface, "art", 0)]

    trim = alone.pages[0].trim
    on_sheet = layers(sheet, card_matrix(placement))
    assert len(on_sheet) > 1
    assert layers(alone, Affine.shift(trim.x, trim.y)) == [pytest.approx(one, abs=1e-6) for one in on_sheet]


def test_the_safe_zone_shows_only_when_asked() -> None:
    assert not [one for one in recorded(planned(9)).drawn if one.layer == "safe zone"]
    assert [one for one in recorded(planned(9), safe_zone=True).drawn if one.layer == "safe zone"]


def test_a_card_without_a_back_prints_a_blank_back() -> None:
    surface = recorded(planned(9, with_backs=False))
    assert len(on_layer(surface, "art", 0)) >= 9
    assert on_layer(surface, "art", 1) == []


def test_every_copy_is_stamped_in_its_trim() -> None:
    plan = planned(5, 4)
    fronts = on_layer(recorded(plan), "art", 0)
    for placement in plan.plan.placements(plan.plan.faces[0]):
        key = plan.deck.cards[placement.card].front.key
        corners = set(placement.trim.corners)
        assert any(one.art and one.art.key == key and {tuple(round(v, 6) for v in p) for p in one.points}
                   == {tuple(round(v, 6) for v in p) for p in corners} for one in fronts)


def test_a_correction_carries_all_of_the_back_and_nothing_of_the_front() -> None:
    plain = planned(9)
    moved = replace(plain, plan=replace(plain.plan, back_correction=Affine.shift(1.5, -0.5)))
    for one, other in zip(recorded(plain).drawn, recorded(moved).drawn, strict=True):
        shift = (1.5, -0.5) if one.page == 1 else (0.0, 0.0)
        for (x, y), point in zip(one.points, other.points, strict=True):
            assert point == pytest.approx((x + shift[0], y + shift[1]))


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "two-sheet"])
def test_svg_and_recording_place_art_alike(method: str) -> None:
    """The SVG, its transforms multiplied by hand along the tree, puts every picture where the recording has it."""
    plan = planned(3, 2, method=method)
    for number, face in enumerate(plan.plan.faces):
        surface = SvgSurface(lambda art: f"/art/{art.key}")
        draw_face(surface, plan, face)
        tree = ElementTree.fromstring(surface.svg())
        pictures = list(walk(tree, Affine()))
        expected = on_layer(recorded(plan), "art", number)
        assert [href for href, _ in pictures] == [f"/art/{one.art.key}" for one in expected if one.art]
        for (_, matrix), one in zip(pictures, expected, strict=True):
            for corner, point in zip(((0, 0), (1, 0), (1, 1), (0, 1)), one.points, strict=True):
                assert matrix(corner) == pytest.approx(point, abs=2e-3)


def walk(element: ElementTree.Element, outer: Affine) -> list[tuple[str, Affine]]:
    text = element.get("transform", "")
    matrix = outer
    if text.startswith("matrix("):
        matrix = outer.after(Affine(*(float(value) for value in text[7:-1].split())))
    if element.tag == f"{SVG}image":
        return [(element.get("href", ""), matrix)]
    if element.tag == f"{SVG}defs":
        return []
    return [found for child in element for found in walk(child, matrix)]


def test_svg_has_no_inline_style_and_escapes_names() -> None:
    plan = plan_deck(plain_deck(9), DeckSettings())
    named = replace(plan, plan=replace(plan.plan, deck_name='<script>"&'))
    surface = SvgSurface(lambda art: '/art/"><script>')
    draw_face(surface, named, named.plan.faces[0])
    text = surface.svg()
    assert "style=" not in text and "<script" not in text
    ElementTree.fromstring(text)
