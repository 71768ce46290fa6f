"""Headers against what Pillow and pikepdf read from the same bytes."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
import pytest
from PIL import Image, ImageOps

from server.core.art import ORIENTATIONS, Art
from server.errors import TooMuch, Unreadable
from server.formats.limits import ArtLimits, BadArt
from server.formats.pixels import upright
from server.formats.reader import read_art
from tests.formats.artwork import ENDINGS, MM_PER_POINT, PICTURES, encoded, oriented, pdf, picture, write


def read(folder: Path, data: bytes, file: str = "fronts/lamp.png") -> Art:
    (art,) = read_art(write(folder, file, data), file, "key")
    return art


# What Pillow writes in each format.
MODES = {"PNG": ("1", "L", "LA", "P", "RGB", "RGBA", "I;16"), "JPEG": ("1", "L", "RGB", "CMYK"),
         "WEBP": ("L", "P", "RGB", "RGBA"), "TIFF": ("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16"),
         "AVIF": ("L", "P", "RGB", "RGBA")}


@pytest.mark.parametrize(("kind", "mode"), [(kind, mode) for kind, modes in MODES.items() for mode in modes])
def test_size_and_alpha_are_those_that_pillow_reads(tmp_path: Path, kind: str, mode: str) -> None:
    image = Image.new("I;16", (40, 56), 9000) if mode == "I;16" else picture(40, 56, mode)
    data = encoded(kind, image)
    art = read(tmp_path, data)
    with Image.open(io.BytesIO(data)) as seen:
        assert (art.width_px, art.height_px) == seen.size
        assert art.kind == kind.lower()
        assert art.has_alpha == seen.has_transparency_data
        assert art.is_cmyk == (seen.mode == "CMYK")


@pytest.mark.parametrize("mode", ["P", "RGB", "L"])
def test_a_transparent_colour_counts_as_alpha(tmp_path: Path, mode: str) -> None:
    clear = (255, 0, 0) if mode == "RGB" else 0
    assert read(tmp_path, encoded("PNG", picture(mode=mode), transparency=clear)).has_alpha
    assert not read(tmp_path, encoded("PNG", picture(mode=mode))).has_alpha


@pytest.mark.parametrize("lossless", [True, False])
@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_each_kind_of_webp_is_read(tmp_path: Path, lossless: bool, mode: str) -> None:
    image = picture(211, 301, mode)
    image.putpixel((0, 0), (1, 2, 3, 100) if mode == "RGBA" else (1, 2, 3))
    for extra in ({}, {"exif": b"Exif\0\0II*\0\x08\0\0\0\0\0\0\0"}):
        art = read(tmp_path, encoded("WEBP", image, lossless=lossless, **extra))
        assert (art.width_px, art.height_px, art.has_alpha) == (211, 301, mode == "RGBA")


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", PICTURES)
def test_all_orientations_are_as_pillow_turns_them(tmp_path: Path, kind: str, orientation: int) -> None:
    # The meaning of EXIF's orientation (CIPA DC-008) is taken from Pillow's ImageOps.exif_transpose.
    data = oriented(kind, orientation)
    path = write(tmp_path, "turned", data)
    (art,) = read_art(path, "turned", "key")
    with Image.open(path) as opened:
        opened.load()
        expected = ImageOps.exif_transpose(opened).convert("RGB")
    assert art.view_px == expected.size == ((88, 63) if orientation >= 5 else (63, 88))
    seen = np.asarray(upright(path, art), dtype=int)
    assert np.abs(seen - np.asarray(expected, dtype=int)).max() <= 2
    assert_matrix_agrees(path, art, seen)


def assert_matrix_agrees(path: Path, art: Art, seen: np.ndarray) -> None:
    """The matrix that the PDF turns art by must carry each stored corner to where the upright picture shows it."""
    with Image.open(path) as opened:
        opened.load()
        stored = np.asarray(opened.convert("RGB"), dtype=int)
    for u, v in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)):
        x, y = ORIENTATIONS[art.orientation]((u, v))
        there = stored[int(v * stored.shape[0]), int(u * stored.shape[1])]
        here = seen[int(y * seen.shape[0]), int(x * seen.shape[1])]
        assert np.abs(there - here).max() <= 12, (art.orientation, u, v)


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_an_orientation_that_means_nothing_turns_nothing(tmp_path: Path, value: int) -> None:
    for kind in ("JPEG", "PNG", "WEBP"):
        assert read(tmp_path, oriented(kind, value)).orientation == 1


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF"])
def test_the_size_that_a_file_claims(tmp_path: Path, kind: str) -> None:
    art = read(tmp_path, encoded(kind, picture(815, 1110), dpi=(300, 300)))
    assert art.size_mm == pytest.approx((815 / 300 * 25.4, 1110 / 300 * 25.4), abs=0.02)


def test_the_claimed_size_is_as_seen(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    turned = picture(1110, 815)
    for kind in ("JPEG", "TIFF"):
        data = encoded(kind, turned, dpi=(300, 600), exif=exif)
        assert read(tmp_path, data).size_mm == pytest.approx((815 / 600 * 25.4, 1110 / 300 * 25.4), abs=0.02)


def test_a_resolution_in_exif_counts_where_the_format_has_none(tmp_path: Path) -> None:
    # CIPA DC-008, 4.6.4: XResolution, YResolution, and ResolutionUnit 3 for the centimetre.
    exif = Image.Exif()
    exif[0x011A], exif[0x011B], exif[0x0128] = 100, 100, 3
    for kind in ("JPEG", "WEBP"):
        assert read(tmp_path, encoded(kind, picture(630, 880), exif=exif)).size_mm == pytest.approx((63, 88))


def test_a_pixel_shape_without_a_unit_claims_no_size(tmp_path: Path) -> None:
    assert read(tmp_path, encoded("PNG")).size_mm is None
    assert read(tmp_path, encoded("JPEG")).size_mm is None


def test_frames_are_counted(tmp_path: Path) -> None:
    images = [picture(), picture().rotate(180), picture().convert("L").convert("RGB")]
    for kind in ("PNG", "WEBP", "AVIF", "TIFF"):
        several = read(tmp_path, encoded(kind, images[0], save_all=True, append_images=images[1:]))
        assert several.frames == 3, kind
        assert read(tmp_path, encoded(kind)).frames == 1, kind


@pytest.mark.parametrize("variant", ["plain", "progressive", "grey", "with bytes after the end",
                                     "with a film after the end"])
def test_jpegs_of_many_kinds(tmp_path: Path, variant: str) -> None:
    data = encoded("JPEG", picture(320, 240, "L" if variant == "grey" else "RGB"), progressive=variant == "progressive")
    if variant == "with bytes after the end":
        data += b"\0" * 50_000
    if variant == "with a film after the end":
        data += b"film" * 50_000
    art = read(tmp_path, data)
    assert (art.width_px, art.height_px) == (320, 240)


def test_a_thumbnail_in_the_head_does_not_pass_for_the_end(tmp_path: Path) -> None:
    small = encoded("JPEG", picture(16, 16))
    whole = encoded("JPEG", picture(400, 600).effect_spread(40), comment=small, quality=90)
    assert len(whole) < 64_000 + len(small)  # the tail that is searched holds the thumbnail as well
    with pytest.raises(Unreadable, match="incomplete"):
        read(tmp_path, whole[:len(whole) * 2 // 3])


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_a_page_is_as_large_as_it_is_seen(tmp_path: Path, rotate: int) -> None:
    path = tmp_path / "cards.pdf"
    with pikepdf.new() as made:
        made.add_blank_page(page_size=(400, 500))
        page = made.pages[0]
        page.mediabox = [0, 0, 400, 500]
        page.cropbox = [50, 40, 250, 340]
        page.rotate(rotate, relative=False)
        made.save(path)
    (art,) = read_art(path, "cards.pdf", "key")
    # pikepdf reads the boxes; ISO 32000-1, 14.11.2 and Table 30: shown is the crop box, turned by /Rotate clockwise.
    with pikepdf.open(path) as seen:
        left, bottom, right, top = (float(value) for value in seen.pages[0].cropbox)
        size = ((right - left) * MM_PER_POINT, (top - bottom) * MM_PER_POINT)
        turned = int(seen.pages[0].obj.get("/Rotate", 0)) % 180 == 90
    assert art.size_mm == pytest.approx(size[::-1] if turned else size, abs=1e-3)
    assert (art.kind, art.page, art.key, art.file) == ("pdf", 0, "key#0", "cards.pdf")


def test_a_larger_unit_makes_a_larger_page(tmp_path: Path) -> None:
    # ISO 32000-1, Table 30: UserUnit is the size of a unit in 1/72 in.
    path = tmp_path / "cards.pdf"
    with pikepdf.new() as made:
        made.add_blank_page(page_size=(100, 150))
        made.pages[0].obj.UserUnit = 2
        made.save(path, min_version="1.6")
    (art,) = read_art(path, "cards.pdf", "key")
    assert art.size_mm == pytest.approx((200 * MM_PER_POINT, 300 * MM_PER_POINT), abs=1e-3)


def test_each_page_is_one_card(tmp_path: Path) -> None:
    arts = read_art(write(tmp_path, "cards.pdf", pdf(3)), "fronts/cards.pdf", "k")
    assert [art.file for art in arts] == ["fronts/cards.pdf#1", "fronts/cards.pdf#2", "fronts/cards.pdf#3"]
    assert [art.key for art in arts] == ["k#0", "k#1", "k#2"]
    assert [art.page for art in arts] == [0, 1, 2]


def test_limits_are_the_callers(tmp_path: Path) -> None:
    path = write(tmp_path, "lamp", encoded("PNG"))
    with pytest.raises(TooMuch, match=r"lamp: is 63 × 88 pixels, over the limit of 0\.005 megapixels"):
        read_art(path, "lamp", "k", ArtLimits(pixels=5000))
    with pytest.raises(Unreadable, match="over the limit"):
        read_art(path, "lamp", "k", ArtLimits(file_bytes=100))
    with pytest.raises(BadArt, match="has 3 pages, over the limit of 2") as caught:
        read_art(write(tmp_path, "cards.pdf", pdf(3)), "cards.pdf", "k", ArtLimits(pdf_pages=2))
    assert caught.value.code == "too-many-pages"


def test_a_picture_inside_a_pdf_meets_the_same_limit(tmp_path: Path) -> None:
    with pymupdf.open() as document:
        document.new_page(width=180, height=250).insert_image((0, 0, 180, 250), stream=encoded("PNG", picture(90, 125)))
        data = document.tobytes()
    with pytest.raises(TooMuch, match="90 × 125 pixels"):
        read_art(write(tmp_path, "a.pdf", data), "a.pdf", "k", ArtLimits(pixels=10_000))
    assert read_art(tmp_path / "a.pdf", "a.pdf", "k", ArtLimits(pixels=12_000))


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match=r"fronts/gone\.png: can't be read"):
        read_art(tmp_path / "gone.png", "fronts/gone.png", "k")


def test_endings_are_labels_only(tmp_path: Path) -> None:
    for kind in PICTURES:
        for ending in ENDINGS.values():
            assert read(tmp_path, encoded(kind), f"lamp.{ending}").kind == kind.lower()
