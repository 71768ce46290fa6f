"""Edges, borders and nearest art, measured on art that the tests draw themselves, so that every number is known.

The drawings are made by Pillow and numpy at known places in mm; nothing here is read back from the code under test.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFilter

from server.core.art import Art
from server.core.bleed import decide
from server.core.geometry import Edges, Rect
from server.core.leeway import Leeway, Sides, leeway, on_card
from server.core.sizes import CARD_SIZES
from server.errors import Unreadable
from server.intake.border import measure_back, measure_backs, profile_of

CARD = CARD_SIZES["poker-metric"]
BLUE, GOLD, WHITE = (20, 40, 120), (230, 180, 40), (255, 255, 255)
EXACT_MM = 0.05
Box = tuple[float, float, float, float]


def drawn(ppi: float, motif: Box, *, bleed: float = 0.0, ground: tuple[int, int, int] = BLUE, fine: int = 8,
          rim: tuple[int, int, int] | None = None, rim_mm: Edges = Edges()) -> Image.Image:
    """A card with one motif, (left, top, right, bottom) in mm from the trim's corner, blended at its edges.

    Drawn ``fine`` times as large and averaged down, so that a motif's edge may lie anywhere within a pixel.
    """
    size = round((63 + 2 * bleed) * ppi / 25.4), round((88 + 2 * bleed) * ppi / 25.4)
    scale_x, scale_y = size[0] * fine / (63 + 2 * bleed), size[1] * fine / (88 + 2 * bleed)
    big = Image.new("RGB", (size[0] * fine, size[1] * fine), rim or ground)
    pen = ImageDraw.Draw(big)

    def box(left: float, top: float, right: float, bottom: float) -> tuple[int, int, int, int]:
        return (round((left + bleed) * scale_x), round((top + bleed) * scale_y),
                round((right + bleed) * scale_x) - 1, round((bottom + bleed) * scale_y) - 1)

    if rim:
        pen.rectangle(box(-rim_mm.left, -rim_mm.top, 63 + rim_mm.right, 88 + rim_mm.bottom), fill=ground)
    pen.rectangle(box(*motif), fill=GOLD)
    return big.reduce(fine)


def measured(image: Image.Image, *, bleed: float = 0.0, lossy: bool = False) -> Leeway:
    art = Art("backs/a.png", "k", "png", image.width, image.height)
    fit = decide(art, CARD, bleed or 3.0, "art" if bleed else "mirror")
    assert fit.carries_mm == bleed
    window = Rect(bleed / (63 + 2 * bleed), bleed / (88 + 2 * bleed), 63 / (63 + 2 * bleed), 88 / (88 + 2 * bleed))
    return leeway(on_card(profile_of(image, window, lossy), fit, CARD, Edges.all(3.0)))


def values(sides: Sides[float | None]) -> list[float | None]:
    return [sides.left, sides.right, sides.top, sides.bottom]


@pytest.mark.parametrize("ppi", [150, 300, 328.6, 600])
@pytest.mark.parametrize("bleed", [0.0, 3.0])
def test_exact_on_drawn_art(ppi: float, bleed: float) -> None:
    """Borders of 4, 5, 6 and 7 mm on left, right, top and bottom: to 0.05 mm, blended edges and all."""
    found = measured(drawn(ppi, (4, 6, 58, 81), bleed=bleed, fine=8 if ppi < 400 else 4), bleed=bleed)
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=EXACT_MM)
    assert values(found.uneven_mm) == pytest.approx([1, 2, 5 / 3, 8 / 3], abs=EXACT_MM)
    assert values(found.paper_shows_mm) == [3, 3, 3, 3]


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 12), st.floats(0.5, 12), st.floats(0.5, 12), st.floats(0.5, 12))
def test_exact_wherever_the_motif_lies(left: float, right: float, top: float, bottom: float) -> None:
    found = measured(drawn(300, (left, top, 63 - right, 88 - bottom)))
    assert values(found.art_cut_mm) == pytest.approx([left, right, top, bottom], abs=EXACT_MM)


@pytest.mark.parametrize("corner", ["top left", "top right", "bottom left", "bottom right"])
def test_a_motif_in_a_corner(corner: str) -> None:
    """A small mark, 1.5 mm from the side and 2.5 mm from the top or bottom; the far sides are 59.5 and 82.5 away."""
    left, top = (1.5 if "left" in corner else 59.5), (2.5 if "top" in corner else 82.5)
    found = measured(drawn(300, (left, top, left + 2, top + 3)))
    near = [left, 63 - left - 2, top, 88 - top - 3]
    assert values(found.art_cut_mm) == pytest.approx(near, abs=EXACT_MM)
    assert found.leeway_mm == pytest.approx(1.5, abs=EXACT_MM)
    assert values(found.uneven_mm) == [None] * 4  # the pairs are not even to begin with


@pytest.mark.parametrize(("kind", "quality"), [("JPEG", 85), ("JPEG", 70), ("WEBP", 80)])
def test_ringing_is_not_art(kind: str, quality: int) -> None:
    held = io.BytesIO()
    drawn(300, (4, 6, 58, 81)).save(held, kind, quality=quality)
    image = Image.open(held).convert("RGB")
    found = measured(image, lossy=True)
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=0.1)  # a pixel is 0.085 mm


def test_a_textured_border_is_still_one_colour() -> None:
    noise = np.random.default_rng(4).integers(-9, 10, (1039, 744, 1))
    image = Image.fromarray((np.asarray(drawn(300, (4, 6, 58, 81)), dtype=int) + noise).clip(0, 255).astype(np.uint8))
    assert values(measured(image).art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=0.1)


def test_art_over_the_edge_is_background() -> None:
    picture = Image.radial_gradient("L").resize((744, 1039)).convert("RGB").filter(ImageFilter.SHARPEN)
    ImageDraw.Draw(picture).rectangle((300, 400, 500, 600), fill=GOLD)
    found = measured(picture)
    assert values(found.art_cut_mm) == values(found.uneven_mm) == [None] * 4
    assert values(found.paper_shows_mm) == [3] * 4


def test_one_side_run_over_leaves_the_others() -> None:
    found = measured(drawn(300, (4, -1, 59, 82)))
    assert values(found.art_cut_mm) == pytest.approx([4, 4, None, 6], abs=EXACT_MM)
    assert (found.uneven_mm.top, found.uneven_mm.bottom) == (None, None)


@pytest.mark.parametrize(("level", "shows"), [(255, None), (250, None), (240, 3.0)])
def test_a_white_edge_never_shows_paper(level: int, shows: float | None) -> None:
    found = measured(drawn(300, (2, 2, 61, 86), ground=(level, level, level)))
    assert values(found.paper_shows_mm) == [shows] * 4
    assert values(found.art_cut_mm) == pytest.approx([2] * 4, abs=EXACT_MM)


def test_bleed_left_white_is_seen() -> None:
    """Art exported with 3 mm of bleed that is only printed to 1, 2, 0.5 and 3 mm beyond the trim."""
    image = drawn(300, (5, 5, 58, 83), bleed=3.0, rim=WHITE, rim_mm=Edges(left=1, top=2, right=0.5, bottom=3))
    found = measured(image, bleed=3.0)
    assert values(found.paper_shows_mm) == pytest.approx([0.5, 1, 3, 2], abs=EXACT_MM)


def test_round_corners_drawn_in_are_told_from_a_busy_edge() -> None:
    image = Image.new("RGB", (744, 1039), WHITE)
    ImageDraw.Draw(image).rounded_rectangle((0, 0, 743, 1038), 35, fill=BLUE)
    ImageDraw.Draw(image).rectangle((60, 60, 683, 978), fill=GOLD)
    profile = profile_of(image, Rect(0, 0, 1, 1))
    assert all(look.is_one_colour and look.corners_differ for _, look in profile.looks.items())
    assert values(profile.nearest) == pytest.approx([60 / 744, 684 / 744, 60 / 1039, 979 / 1039], abs=1e-6)


def test_a_frame_behind_ornament() -> None:
    """A frame 6 mm in all round; a small mark stands in the left border 2 mm from the cut."""
    image = drawn(300, (6, 6, 57, 82))
    ImageDraw.Draw(image).ellipse((round(2 * 744 / 63), 500, round(4 * 744 / 63), 530), fill=WHITE)
    found = measured(image)
    assert found.art_cut_mm.left == pytest.approx(2, abs=EXACT_MM)
    assert values(found.uneven_mm) == pytest.approx([2] * 4, abs=EXACT_MM)


def test_a_plain_back_has_nothing_to_cut() -> None:
    found = measured(Image.new("RGB", (744, 1039), BLUE))
    assert values(found.art_cut_mm) == [None] * 4
    assert found.leeway_mm == 3


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_photo_is_measured_as_it_is_seen(tmp_path: Path, orientation: int) -> None:
    """EXIF orientation (CIPA DC-008), written the other way round by numpy: stored = the view, undone."""
    seen = np.asarray(drawn(150, (4, 6, 58, 81)))
    undo = {1: lambda a: a, 2: lambda a: a[:, ::-1], 3: lambda a: a[::-1, ::-1], 4: lambda a: a[::-1],
            5: lambda a: a.transpose(1, 0, 2), 6: lambda a: a.transpose(1, 0, 2)[::-1],
            7: lambda a: a[::-1, ::-1].transpose(1, 0, 2), 8: lambda a: a.transpose(1, 0, 2)[:, ::-1]}
    stored = Image.fromarray(np.ascontiguousarray(undo[orientation](seen)))
    stored.save(tmp_path / "a.png")
    art = Art("backs/a.png", "k", "png", stored.width, stored.height, orientation)
    fit = decide(art, CARD, 3.0, "auto")
    found = leeway(on_card(measure_back(tmp_path / "a.png", art, CARD, fit), fit, CARD, Edges.all(3)))
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=EXACT_MM)


@pytest.mark.parametrize("mode", ["RGBA", "P", "L", "CMYK", "I;16"])
def test_other_pixel_formats(tmp_path: Path, mode: str) -> None:
    image = drawn(150, (4, 6, 58, 81), ground=WHITE)
    if mode == "RGBA":  # clear where it was white: paper
        image.putalpha(image.convert("L").point(lambda value: 0 if value > 250 else 255))
    elif mode == "I;16":
        image = Image.fromarray(np.asarray(image.convert("L"), dtype=np.uint16) * 257)
    else:
        image = image.convert(mode)
    path = tmp_path / ("a.tif" if mode in ("CMYK", "I;16") else "a.png")
    image.save(path)
    art = Art(f"backs/{path.name}", "k", "tiff" if path.suffix == ".tif" else "png", image.width, image.height)
    fit = decide(art, CARD, 3.0, "auto")
    found = leeway(on_card(measure_back(path, art, CARD, fit), fit, CARD, Edges.all(3)))
    assert values(found.paper_shows_mm) == [None] * 4
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=0.1)


def test_a_pdf_page_is_measured_by_what_it_shows(tmp_path: Path) -> None:
    """A page written by hand to ISO 32000: 63 x 88 mm, blue, and a gold rectangle 4, 5, 6 and 7 mm inside."""
    point = 72 / 25.4
    content = (f"0.08 0.16 0.47 rg 0 0 {63 * point} {88 * point} re f 0.9 0.7 0.16 rg "
               f"{4 * point} {7 * point} {54 * point} {75 * point} re f").encode()
    objects = [b"<</Type/Catalog/Pages 2 0 R>>", b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
               f"<</Type/Page/Parent 2 0 R/MediaBox[0 0 {63 * point} {88 * point}]/Contents 4 0 R>>".encode(),
               b"<</Length %d>>stream\n%s\nendstream" % (len(content), content)]
    out, places = bytearray(b"%PDF-1.7\n"), []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj%s endobj\n" % (number, body)
    table = len(out)
    out += b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer<</Size 5/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF" % table
    (tmp_path / "a.pdf").write_bytes(out)
    art = Art("backs/a.pdf", "k", "pdf", size_mm=(63.0, 88.0))
    fit = decide(art, CARD, 3.0, "auto")
    found = leeway(on_card(measure_back(tmp_path / "a.pdf", art, CARD, fit), fit, CARD, Edges.all(3)))
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 7], abs=EXACT_MM)


def test_broken_art_is_named(tmp_path: Path) -> None:
    held = io.BytesIO()
    drawn(150, (4, 6, 58, 81)).save(held, "PNG")
    (tmp_path / "a.png").write_bytes(held.getvalue()[:400])
    art = Art("backs/a.png", "k", "png", 372, 520)
    with pytest.raises(Unreadable, match=r"backs/a\.png: is damaged"):
        measure_back(tmp_path / "a.png", art, CARD, decide(art, CARD, 3.0, "auto"))


def test_many_backs_at_once_each_once(tmp_path: Path) -> None:
    """Two pictures, one of them under two names, and a broken one, which is answered for and stops no other."""
    drawn(150, (4, 6, 58, 81)).save(tmp_path / "a.png")
    drawn(150, (7, 7, 56, 81)).save(tmp_path / "b.png")
    (tmp_path / "c.png").write_bytes((tmp_path / "a.png").read_bytes()[:300])
    arts = [Art(f"backs/{name}.png", key, "png", 372, 520) for name, key in
            (("a", "A"), ("b", "B"), ("again", "A"), ("c", "C"))]
    asked: list[str] = []

    def source(art: Art) -> Path:
        asked.append(art.key)
        return tmp_path / f"{art.key.lower()}.png"

    fits = [(art, decide(art, CARD, 3.0, "auto")) for art in arts]
    found = measure_backs(fits, source, CARD)
    assert sorted(asked) == ["A", "B", "C"]
    assert isinstance(found["C"], Unreadable)
    nearest = {key: profile.nearest.left for key, profile in found.items() if not isinstance(profile, Unreadable)}
    assert nearest == {"A": pytest.approx(4 / 63, abs=EXACT_MM / 63), "B": pytest.approx(7 / 63, abs=EXACT_MM / 63)}
