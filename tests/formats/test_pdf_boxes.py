"""A PDF's own boxes, written by pikepdf: what is shown of a page, and where its trim lies (ISO 32000-1, 14.11.2.1)."""

from __future__ import annotations

from pathlib import Path

import pikepdf
import pytest

from server.core.bleed import decide
from server.core.sizes import card_size_named
from server.formats.reader import read_art

PT = 72 / 25.4


def saved(path: Path, rotate: int = 0, bleed: bool = True, left: float = 8.0) -> Path:
    """A 63 x 88 mm card with 3 mm of bleed in the middle of crop marks, its trim ``left`` mm from the paper's left."""
    with pikepdf.new() as made:
        made.add_blank_page(page_size=(80 * PT, 110 * PT))
        page = made.pages[0]
        page.trimbox = [left * PT, 12 * PT, (left + 63) * PT, 100 * PT]
        if bleed:
            page.obj.BleedBox = [(left - 3) * PT, 9 * PT, (left + 66) * PT, 103 * PT]
        page.rotate(rotate, relative=False)
        made.save(path)
    return path


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_a_page_is_shown_to_its_bleed_and_lies_by_its_trim(tmp_path: Path, rotate: int) -> None:
    (art,) = read_art(saved(tmp_path / "a.pdf", rotate), "a.pdf", "key")
    assert art.size_mm == pytest.approx((69, 94) if rotate % 180 == 0 else (94, 69), abs=0.01)
    fit = decide(art, card_size_named("63x88"), 3.0, "auto")
    assert (fit.rect.x, fit.rect.y, fit.rect.width, fit.rect.height) == pytest.approx((-3, -3, 69, 94), abs=0.01)
    assert (fit.cropped_mm, fit.turned) == (0.0, rotate % 180 != 0)
    assert fit.decision.startswith("states its trim, with 3 mm of bleed") and "made" not in fit.decision


@pytest.mark.parametrize(("rotate", "inside"), [
    # Trim 8 mm from the left, 9 from the right, 10 from the top and 12 from the bottom of the paper; a page with
    # /Rotate 90 is turned clockwise for viewing (Table 30), so what was below lies to the left.
    (0, (8, 10, 9, 12)), (90, (12, 8, 10, 9)), (180, (9, 12, 8, 10)), (270, (10, 9, 12, 8)),
])
def test_a_trim_without_a_bleed_box_keeps_the_whole_page(tmp_path: Path, rotate: int,
                                                         inside: tuple[float, ...]) -> None:
    (art,) = read_art(saved(tmp_path / "a.pdf", rotate, bleed=False), "a.pdf", "key")
    trim = art.trim_mm
    assert trim is not None
    assert (trim.left, trim.top, trim.right, trim.bottom) == pytest.approx(inside, abs=0.01)


def test_pages_that_are_drawn_alike_are_known_by_it(tmp_path: Path) -> None:
    """As programs export them: every page with a font and a form of its own, and the back the same on each second."""
    with pikepdf.new() as made:
        for text in (b"one", b"back", b"two", b"back"):
            made.add_blank_page(page_size=(63 * PT, 88 * PT))
            form = made.make_stream(b"0 0 20 20 re f", Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Form,
                                    BBox=[0, 0, 20, 20], Resources=pikepdf.Dictionary())
            font = made.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1,
                                                         BaseFont=pikepdf.Name.Helvetica))
            page = made.pages[-1].obj
            page.Resources = pikepdf.Dictionary(Font=pikepdf.Dictionary(F1=font), XObject=pikepdf.Dictionary(X1=form))
            page.Contents = made.make_stream(b"/X1 Do BT /F1 9 Tf 9 9 Td (" + text + b") Tj ET")
        made.save(tmp_path / "a.pdf")
    looks = [art.look for art in read_art(tmp_path / "a.pdf", "a.pdf", "key")]
    assert looks[1] == looks[3] and len(set(looks)) == 3
