"""Every colour stays inside its own trim: card beside card, at any gutter, in two independent readers."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pymupdf
import pypdfium2
import pytest
from PIL import Image

from server.core.art import Art, Card, Deck
from server.core.geometry import Rect
from server.core.plan import Face
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.drawing.pdf_surface import PdfSurface
from server.drawing.sheet import draw_face
from tests.drawing.pdf_help import art_of

PPI = 2540
NEAR_MM = 0.6  # what is looked at round each corner of each card
ALLOWED_MM = {"png": 0.02, "pdf": 0.05}
COLOURS = ((200, 40, 40), (40, 160, 60), (50, 70, 200), (210, 180, 30), (150, 50, 170), (30, 170, 180), (240, 120, 20))
Look = Callable[[Rect], np.ndarray]


def pdfium_look(pdf: bytes, number: int) -> Look:
    page = pypdfium2.PdfDocument(pdf)[number]
    width, height = page.get_size()

    def look(box: Rect) -> np.ndarray:
        k = 72 / 25.4
        crop = (box.x * k, height - box.bottom * k, width - box.right * k, box.y * k)
        return page.render(scale=PPI / 72, crop=crop).to_numpy()[..., 2::-1]

    return look


def mupdf_look(pdf: bytes, number: int) -> Look:
    page = pymupdf.open(stream=pdf)[number]

    def look(box: Rect) -> np.ndarray:
        k = 72 / 25.4
        clip = pymupdf.Rect(box.x * k, box.y * k, box.right * k, box.bottom * k)
        pixmap = page.get_pixmap(matrix=pymupdf.Matrix(PPI / 72, PPI / 72), clip=clip, alpha=False)
        return np.frombuffer(pixmap.samples, np.uint8).reshape(pixmap.height, pixmap.width, 3)

    return look


def deck_of(folder: Path, kind: str, cards: int) -> tuple[Deck, dict[str, Path]]:
    made, paths = [], {}
    for number in range(cards):
        path = folder / f"{number}.{kind}"
        Image.new("RGB", (440, 630), COLOURS[number % len(COLOURS)]).save(path)
        art: Art = art_of(path, kind, 440, 630, size_mm=(44.0, 63.0))  # type: ignore[arg-type]
        paths[art.key] = path
        made.append(Card(str(number), art, art, 1))
    return Deck("Trims", tuple(made)), paths


def pages(planned: Planned, paths: dict[str, Path]) -> tuple[bytes, list[Face]]:
    out = io.BytesIO()
    surface = PdfSurface(out, lambda art: paths[art.key], title="Trims", duplex="Simplex")
    faces = [face for face in planned.plan.faces if face.sheet == 0]
    for face in faces:
        draw_face(surface, planned, face)
    surface.close()
    surface.release()
    return out.getvalue(), faces


def check(planned: Planned, face: Face, look: Look, allowed_mm: float) -> None:
    """Inside its trim every card has its own colour; with no bleed there is nothing outside the trims."""
    placements = planned.plan.placements(face)
    for corner in sorted({(round(x, 3), round(y, 3)) for one in placements for x, y in one.trim.corners}):
        pixel = 25.4 / PPI
        # Whole pixels from a whole pixel on, so that every pixel's place is known.
        left, top = (np.floor((value - NEAR_MM) / pixel) * pixel for value in corner)
        seen = look(Rect(left, top, 2 * NEAR_MM, 2 * NEAR_MM)).astype(int)
        x = left + (np.arange(seen.shape[1]) + 0.5) * pixel
        y = top + (np.arange(seen.shape[0]) + 0.5) * pixel
        bare = np.ones(seen.shape[:2], bool)
        slack = allowed_mm + pixel / 2
        for one in placements:
            trim = one.trim
            within = ((x > trim.x + slack) & (x < trim.right - slack))[None] & (
                (y > trim.y + slack) & (y < trim.bottom - slack))[:, None]
            wrong = np.abs(seen[within] - COLOURS[one.card % len(COLOURS)]).max(initial=0)
            assert wrong <= 3, f"card {one.card} at {corner} on {face.name}"
            bare &= ~(((x > trim.x - slack) & (x < trim.right + slack))[None] & (
                (y > trim.y - slack) & (y < trim.bottom + slack))[:, None])
        if planned.settings.bleed_mm == 0:
            assert seen[bare].min(initial=255) >= 252, f"ink beyond the trims at {corner} on {face.name}"


@pytest.mark.parametrize("look", [pdfium_look, mupdf_look])
@pytest.mark.parametrize(("kind", "gutter", "bleed"), [("png", 0, 0), ("png", 0.1, 0), ("png", 0.1, 3), ("png", 0, 3),
                                                     ("pdf", 0, 0)])
@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "two-sheet"])
def test_no_colour_lies_in_a_neighbours_trim_nor_beyond_its_own(
        tmp_path: Path, method: str, kind: str, gutter: float, bleed: float,
        look: Callable[[bytes, int], Look]) -> None:
    # Seven of nine: the last row is short, so that corners are left open on both faces.
    deck, paths = deck_of(tmp_path, kind, 7 if method in ("duplex", "two-sheet") else 3)
    settings = DeckSettings().changed({"card": "44x63", "paper": "a5", "method": method, "gutter_mm": gutter,
                                       "bleed_mm": bleed, "cut_lines": "none"})
    planned = plan_deck(deck, settings)
    pdf, faces = pages(planned, paths)
    for number, face in enumerate(faces):
        check(planned, face, look(pdf, number), ALLOWED_MM[kind])
