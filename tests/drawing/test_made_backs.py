"""Made backs as PDFs, read by pdfium and pikepdf, and taken as art like any other."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest

from server.core.back_designs import FINISHES, PATTERNS, BackDesign, Finish, PatternName
from server.core.bleed import decide
from server.core.geometry import Edges
from server.core.leeway import Leeway, leeway, on_card
from server.core.sizes import CARD_SIZES
from server.drawing.surface import RecordingSurface
from server.formats.reader import read_art
from server.intake.border import measure_back
from server.prepress.backs import draw_back, write_back_pdf

CARD = CARD_SIZES["poker-metric"]


def made(design: BackDesign, bleed_mm: float = 3.0) -> bytes:
    out = io.BytesIO()
    write_back_pdf(design, CARD, bleed_mm, out)
    return out.getvalue()


def pixels(content: bytes, scale: float = 4.0) -> np.ndarray:
    with pypdfium2.PdfDocument(content) as document:
        return document[0].render(scale=scale).to_numpy()[..., ::-1].astype(int)


@pytest.mark.parametrize("finish", FINISHES)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_it_looks_the_same_after_half_a_turn(finish: Finish, pattern: PatternName) -> None:
    seen = pixels(made(BackDesign(finish, pattern, title="Lamps")))
    # Page sizes are no whole number of pixels, so the turn may be off by a part of one: compare a little softened.
    soft = (seen[:-1, :-1] + seen[1:, :-1] + seen[:-1, 1:] + seen[1:, 1:]) / 4
    # The outermost rows are blended with what lies beyond the page, on two of the four sides only.
    inner = soft[3:-3, 3:-3]
    assert np.abs(inner - inner[::-1, ::-1]).mean() < 6
    if pattern != "plain":
        assert np.abs(inner - inner[::-1]).mean() > 0 and inner.std() > 20


def test_it_is_vector_art_of_trim_and_bleed(tmp_path: Path) -> None:
    content = made(BackDesign("inset", "links"))
    with pikepdf.open(io.BytesIO(content)) as pdf:
        page = pdf.pages[0]
        assert [float(side) * 25.4 / 72 for side in page.mediabox] == pytest.approx([0, 0, 69, 94], abs=0.01)
        assert [float(side) * 25.4 / 72 for side in page.trimbox] == pytest.approx([3, 3, 66, 91], abs=0.01)
        assert "/XObject" not in page.Resources or not page.Resources.XObject.keys()  # no picture, no form
    (tmp_path / "a.pdf").write_bytes(content)
    (art,) = read_art(tmp_path / "a.pdf", "backs/a.pdf", "k")
    fit = decide(art, CARD, 3.0, "auto")
    assert (art.is_vector, fit.carries_mm, fit.turned) == (True, pytest.approx(3.0, abs=1e-4), False)


def leeway_of(design: BackDesign, tmp_path: Path, beyond: Edges = Edges()) -> Leeway:
    (tmp_path / "a.pdf").write_bytes(made(design))
    (art,) = read_art(tmp_path / "a.pdf", "backs/a.pdf", "k")
    fit = decide(art, CARD, 3.0, "auto")
    return leeway(on_card(measure_back(tmp_path / "a.pdf", art, CARD, fit), fit, CARD, Edges.all(3.0), beyond))


def test_the_white_buffer_forgives_its_width(tmp_path: Path) -> None:
    """Common practice: 2 mm of white and no line hide an offset of 2 mm in every direction."""
    found = leeway_of(BackDesign("inset", "net", buffer_mm=2.0), tmp_path)
    assert [value for _, value in found.paper_shows_mm.items()] == [None] * 4
    assert [value for _, value in found.art_cut_mm.items()] == pytest.approx([2.0] * 4, abs=0.05)


def test_a_pattern_over_the_cut_forgives_its_bleed(tmp_path: Path) -> None:
    found = leeway_of(BackDesign("full", "net"), tmp_path)
    assert found.leeway_mm == pytest.approx(3.0)
    assert found.art_cut_mm.left is None


def test_a_flood_forgives_what_the_page_has_left(tmp_path: Path) -> None:
    found = leeway_of(BackDesign("flooded", "plain"), tmp_path, beyond=Edges.all(11.5))
    assert found.leeway_mm == 11.5


def test_the_same_design_gives_the_same_bytes() -> None:
    assert made(BackDesign(title="Tide")) == made(BackDesign(title="Tide"))


def test_any_surface_takes_it() -> None:
    surface = RecordingSurface()
    draw_back(surface, BackDesign("flooded", "ripples", title="Tide"), CARD, 2.0)
    assert (surface.pages[0].size.width, surface.pages[0].size.height) == (67, 92)
    assert [drawn.text for drawn in surface.drawn if drawn.kind == "text"] == ["Tide", "Tide"]
