"""No light shows where art meets its made bleed, or a card its neighbour, at any zoom, in two independent readers."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pymupdf
import pytest
from PIL import Image, ImageDraw

from server.core.art import Art, Card, Deck
from server.core.geometry import Rect, bounds
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.drawing.pdf_surface import PdfSurface
from server.drawing.sheet import draw_face, printed_boxes
from tests.drawing.pdf_help import READERS, art_of

TONE = (70, 90, 110)
# Of the 185 steps from the darkest channel of the tone to white paper, three may go to rounding.
UNSEEN = 3
# From a page on a small screen to print; odd values so that edges fall everywhere within a pixel.
ZOOMS = (47, 72, 96, 133, 251)
KINDS = {"png": {}, "jpeg": {"quality": 95}, "pdf": {}}


def flat_art(folder: Path, kind: str, size: tuple[int, int] = (635, 889)) -> tuple[Art, Path]:
    path = folder / f"flat.{kind}"
    Image.new("RGB", size, TONE).save(path, **KINDS[kind])  # type: ignore[arg-type]
    return art_of(path, kind, *size, size_mm=(63.5, 88.9), edge_rgb=TONE), path  # type: ignore[arg-type]


def face_pdf(planned: Planned, path: Path, face: int = 0) -> bytes:
    out = io.BytesIO()
    surface = PdfSurface(out, lambda art: path, title="Seams", duplex="Simplex")
    draw_face(surface, planned, planned.plan.faces[face])
    surface.close()
    surface.release()
    return out.getvalue()


def planned(art: Art, cards: int = 4, **settings: object) -> Planned:
    deck = Deck("Seams", (Card("flat", art, art, cards),))
    base = {"card": "63.5x88.9", "cut_lines": "none", "paper": "a5"}
    return plan_deck(deck, DeckSettings().changed({**base, **settings}))


def cut(shown: np.ndarray, rect: Rect, ppi: float) -> np.ndarray:
    """The pixels that lie wholly inside ``rect``."""
    k = ppi / 25.4
    return shown[int(np.ceil(rect.y * k)) + 1:int(rect.bottom * k) - 1,
                 int(np.ceil(rect.x * k)) + 1:int(rect.right * k) - 1]


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("edges", ["mirror", "stretch", "colour"])
@pytest.mark.parametrize("method", ["duplex", "vertical-fold"])
def test_a_block_of_one_tone_is_of_one_tone_to_the_edge_of_its_bleed(
        tmp_path: Path, method: str, edges: str, kind: str, reader: str) -> None:
    art, path = flat_art(tmp_path, kind)
    plan = planned(art, method=method, edges=edges)
    pdf = face_pdf(plan, path)
    _, bleed = printed_boxes(plan.plan.layout, plan.plan.faces[0].name)
    block = plan.plan.layout.block if method == "vertical-fold" else bleed
    for ppi in ZOOMS:
        inside = cut(READERS[reader](pdf, ppi), block, ppi)
        assert inside.size
        assert np.abs(inside - np.array(TONE)).max() <= UNSEEN, f"at {ppi} ppi"


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("gutter", [0, 1, 7])
@pytest.mark.parametrize("turned", ["no", "yes"])
def test_neighbours_meet_without_light(tmp_path: Path, turned: str, gutter: float, reader: str) -> None:
    art, path = flat_art(tmp_path, "png")
    plan = planned(art, cards=3, gutter_mm=gutter, card_turned=turned, bleed_mm=3)
    pdf = face_pdf(plan, path)
    placements = plan.plan.placements(plan.plan.faces[0])
    for ppi in ZOOMS:
        shown = READERS[reader](pdf, ppi)
        rects = [placement.trim.grown(placement.bleed) for placement in placements]
        if gutter == 0:
            rects.append(bounds(corner for placement in placements[:2] for corner in placement.trim.corners))
        for rect in rects:
            inside = cut(shown, rect, ppi)
            assert np.abs(inside - np.array(TONE)).max() <= UNSEEN, f"at {ppi} ppi"


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("edges", ["mirror", "stretch", "colour"])
def test_a_page_of_white_under_its_ground_shows_none_at_the_trim(tmp_path: Path, edges: str, reader: str) -> None:
    # As design programs export it: two rectangles of the page's size, whose soft edges would mix.
    path = tmp_path / "page.pdf"
    with pymupdf.open() as document:
        page = document.new_page(width=180, height=252)
        page.draw_rect(page.rect, color=None, fill=(1, 1, 1))
        page.draw_rect(page.rect, color=None, fill=tuple(value / 255 for value in TONE))
        document.save(path)
    plan = planned(art_of(path, "pdf", size_mm=(63.5, 88.9), edge_rgb=TONE), cards=1, edges=edges)
    placement, = plan.plan.placements(plan.plan.faces[0])
    inside = cut(READERS[reader](face_pdf(plan, path), 611), placement.trim.grown(placement.bleed), 611)
    # A line along the trim would be one pixel in 500; mirrored corners may meet the sides softly, out in the bleed.
    assert (np.abs(inside - np.array(TONE)).max(axis=2) > UNSEEN).mean() < 4e-4


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("edges", ["mirror", "stretch", "colour"])
def test_made_bleed_doesnt_show_through_art(tmp_path: Path, edges: str, reader: str) -> None:
    # A PDF page with one dark bar and no background, and the same as a PNG with alpha: inside the trim there is the
    # bar, once, and paper.
    path = tmp_path / "bar.pdf"
    with pymupdf.open() as document:
        document.new_page(width=180, height=252).draw_rect((30, 20, 150, 40), color=None, fill=(0.1, 0.1, 0.1))
        document.save(path)
    picture = Image.new("RGBA", (360, 504), (255, 0, 0, 0))
    picture.paste((26, 26, 26, 255), (60, 40, 300, 80))
    picture.save(tmp_path / "bar.png")
    for art in (art_of(path, "pdf", size_mm=(63.5, 88.9)),
                art_of(tmp_path / "bar.png", "png", 360, 504, has_alpha=True, size_mm=(63.5, 88.9))):
        plan = planned(art, cards=1, edges=edges)
        shown = READERS[reader](face_pdf(plan, tmp_path / art.file), 144)
        trim = plan.plan.placements(plan.plan.faces[0])[0].trim
        inside = cut(shown, trim, 144)[2:-2, 2:-2].max(axis=2)
        rows = np.nonzero((inside < 128).any(axis=1))[0]
        assert inside.min() <= 30
        assert len(rows) == pytest.approx(40, abs=2)  # 20 points at 144 ppi
        assert (inside < 128).sum() == pytest.approx(240 * 40, rel=0.05)
        assert ((inside > 30) & (inside < 250)).mean() < 0.01


@pytest.mark.parametrize("reader", READERS)
def test_mirrored_bleed_continues_what_touches_the_trim(tmp_path: Path, reader: str) -> None:
    # Stripes that run over the edge: beyond the trim they go on, and the trim itself can't be told from them.
    path = tmp_path / "striped.png"
    picture = Image.new("RGB", (635, 889), (200, 180, 90))
    pen = ImageDraw.Draw(picture)
    for at in range(0, 889, 80):
        pen.rectangle((0, at, 635, at + 39), fill=(50, 60, 80))
    picture.save(path)
    art = art_of(path, "png", 635, 889, size_mm=(63.5, 88.9))
    plan = planned(art, cards=1, edges="mirror")
    trim = plan.plan.placements(plan.plan.faces[0])[0].trim
    shown = READERS[reader](face_pdf(plan, path), 254.0)
    left = round(trim.x * 10)
    rows = slice(round(trim.y * 10) + 20, round(trim.bottom * 10) - 20)
    inner, outer = shown[rows, left + 5], shown[rows, left - 25:left + 5]
    unlike = np.abs(outer - inner[:, None]).max(axis=(1, 2)) > 40
    assert unlike.mean() < 0.05  # the rows where two stripes meet


@pytest.mark.parametrize("reader", READERS)
def test_a_neighbour_is_covered_to_its_trim_and_not_beyond(tmp_path: Path, reader: str) -> None:
    # Two tones side by side without a gutter: at 1270 ppi a pixel is 0.02 mm, and the change of tone lies at the trim.
    art, path = flat_art(tmp_path, "png")
    other_path = tmp_path / "other.png"
    Image.new("RGB", (635, 889), (200, 60, 40)).save(other_path)
    other = art_of(other_path, "png", 635, 889, size_mm=(63.5, 88.9))
    deck = Deck("Two", (Card("a", art), Card("b", other)))
    plan = plan_deck(deck, DeckSettings().changed({"card": "63.5x88.9", "cut_lines": "none", "paper": "a5"}))
    first, second = plan.plan.placements(plan.plan.faces[0])
    out = io.BytesIO()
    surface = PdfSurface(out, lambda one: path if one is art else other_path, title="Two", duplex="Simplex")
    draw_face(surface, plan, plan.plan.faces[0])
    surface.close()
    shown = READERS[reader](out.getvalue(), 600)
    k = 600 / 25.4
    middle = shown[round(first.trim.centre[1] * k), :, 0] if first.trim.y == second.trim.y else \
        shown[:, round(first.trim.centre[0] * k), 0]
    at = second.trim.x if first.trim.y == second.trim.y else second.trim.y
    change = np.nonzero((middle[:-1] < 135) & (middle[1:] >= 135) & (middle[1:] < 250))[0]
    assert np.abs((change + 1) / k - at).min() < 0.05
