"""Art that is decoded once: WebP, AVIF and TIFF in all the modes that people save."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image, ImageCms

from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_images import ImageWriter
from server.errors import TooMuch, Unreadable
from server.formats.limits import ArtLimits
from tests.drawing.pdf_help import READERS, art_of, page_of, pixels, xobjects

WIDTH, HEIGHT = 40, 28


def ramp(channels: int) -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, 1, WIDTH), np.linspace(0, 1, HEIGHT))
    layers = [220 * x + 20, 200 * y + 30, 150 * (1 - x), 255 * (0.5 + 0.5 * y)]
    return np.stack(layers[:channels], axis=2).astype(np.uint8)


RGB = Image.fromarray(ramp(3))
RGBA = Image.fromarray(ramp(4))
GREY = Image.fromarray(ramp(1)[:, :, 0])


def written(folder: Path, picture: Image.Image, kind: str, **options: object) -> bytes:
    path = folder / f"lamp.{kind}"
    picture.save(path, kind.upper(), **options)
    size = picture.size
    return page_of(art_of(path, kind, *size), path, *size)  # type: ignore[arg-type]


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(("kind", "options"), [
    ("webp", {"lossless": True}), ("tiff", {}), ("tiff", {"compression": "tiff_lzw"}),
    ("tiff", {"compression": "tiff_adobe_deflate"}),
])
def test_lossless_formats_look_as_they_were_saved(tmp_path: Path, kind: str, options: dict[str, object],
                                                  reader: str) -> None:
    pdf = written(tmp_path, RGB, kind, **options)
    assert np.abs(pixels(reader, pdf) - ramp(3)).max() <= 1


@pytest.mark.parametrize("reader", READERS)
def test_avif_is_shown_as_pillow_decodes_it(tmp_path: Path, reader: str) -> None:
    pdf = written(tmp_path, RGB, "avif", quality=90)
    expected = np.asarray(Image.open(tmp_path / "lamp.avif").convert("RGB")).astype(int)
    assert np.abs(pixels(reader, pdf) - expected).max() <= 1


@pytest.mark.parametrize("kind", ["webp", "tiff", "avif"])
def test_alpha_comes_along_as_a_soft_mask(tmp_path: Path, kind: str) -> None:
    with xobjects(written(tmp_path, RGBA, kind)) as (image,):
        mask = np.asarray(pikepdf.PdfImage(image.SMask).as_pil_image()).astype(int)
    assert np.abs(mask - ramp(4)[:, :, 3]).max() <= 3  # AVIF's alpha is lossy


def test_the_rows_are_compressed_with_a_predictor(tmp_path: Path) -> None:
    with xobjects(written(tmp_path, RGB, "tiff")) as (image,):
        assert image.Filter == "/FlateDecode"
        assert image.DecodeParms.Predictor == 15
        assert len(image.read_raw_bytes()) < WIDTH * HEIGHT * 3 / 2


def test_a_cmyk_tiff_keeps_its_inks(tmp_path: Path) -> None:
    inks = ramp(4)
    picture = Image.frombytes("CMYK", (WIDTH, HEIGHT), inks.tobytes())
    with xobjects(written(tmp_path, picture, "tiff")) as (image,):
        assert image.ColorSpace == "/DeviceCMYK"
        assert "/Decode" not in image
        # By qpdf, predictor undone: the samples themselves.
        assert image.read_bytes() == inks.tobytes()


WIDE = (np.linspace(0, 65535, WIDTH * HEIGHT).reshape(HEIGHT, WIDTH)).astype(np.uint16)
NARROW = np.round(WIDE / 257).astype(int)


@pytest.mark.parametrize(("name", "picture"), [
    ("16 bits", Image.fromarray(WIDE)),
    ("32 bits", Image.fromarray(WIDE.astype(np.int32))),
    ("float to 1", Image.fromarray((WIDE / 65535).astype(np.float32))),
    ("float to 255", Image.fromarray((WIDE / 257).astype(np.float32))),
])
def test_wide_grey_keeps_its_tones(tmp_path: Path, name: str, picture: Image.Image) -> None:
    shown = pixels("pdfium", written(tmp_path, picture, "tiff"))
    assert np.abs(shown[:, :, 0] - NARROW).max() <= 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_tiff_stands_upright(tmp_path: Path, orientation: int) -> None:
    # CIPA DC-008: 1 as stored, 3 half a turn, 6 a quarter clockwise to view, and so on; numpy does the turning here.
    upright: dict[int, Callable[[np.ndarray], np.ndarray]] = {
        1: lambda a: a, 2: lambda a: a[:, ::-1], 3: lambda a: a[::-1, ::-1], 4: lambda a: a[::-1],
        5: lambda a: a.transpose(1, 0, 2), 6: lambda a: np.rot90(a, -1), 7: lambda a: np.rot90(a, 2).transpose(1, 0, 2),
        8: lambda a: np.rot90(a),
    }
    expected = upright[orientation](ramp(3))
    path = tmp_path / "lamp.tiff"
    RGB.save(path, tiffinfo={274: orientation})
    down, across = expected.shape[:2]
    pdf = page_of(art_of(path, "tiff", across, down), path, across, down)
    assert np.abs(pixels("pdfium", pdf) - expected).max() <= 1


@pytest.mark.parametrize("kind", ["webp", "tiff", "avif"])
def test_profiles_stay(tmp_path: Path, kind: str) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with xobjects(written(tmp_path, RGB, kind, icc_profile=profile)) as (image,):
        assert image.ColorSpace[0] == "/ICCBased"
        assert image.ColorSpace[1].read_bytes() == profile


def test_a_lab_tiff_becomes_rgb(tmp_path: Path) -> None:
    lab = Image.new("LAB", (WIDTH, HEIGHT), (200, 128, 128))
    with xobjects(written(tmp_path, lab, "tiff")) as (image,):
        shown = np.asarray(pikepdf.PdfImage(image).as_pil_image()).astype(int)
    assert np.ptp(shown[0, 0]) <= 6  # a neutral stays neutral
    assert 170 < shown[0, 0, 0] < 220


def test_only_the_first_of_several_pictures_is_drawn(tmp_path: Path) -> None:
    pdf = written(tmp_path, RGB, "webp", save_all=True, append_images=[RGB.transpose(Image.Transpose.ROTATE_180)],
                  lossless=True)
    assert np.abs(pixels("pdfium", pdf) - ramp(3)).max() <= 1


@pytest.mark.parametrize("kind", ["webp", "tiff", "avif"])
@pytest.mark.parametrize("tenth", range(0, 10, 2))
def test_a_cut_off_file_is_refused_by_name(tmp_path: Path, kind: str, tenth: int) -> None:
    whole = io.BytesIO()
    Image.effect_noise((200, 150), 90).convert("RGB").save(whole, kind.upper())
    path = tmp_path / f"lamp.{kind}"
    path.write_bytes(whole.getvalue()[:len(whole.getvalue()) * tenth // 10])
    with pytest.raises(Unreadable, match=r"^lamp\."):
        page_of(art_of(path, kind, 200, 150), path, 200, 150)  # type: ignore[arg-type]


def test_other_formats_dont_get_in_under_a_known_name(tmp_path: Path) -> None:
    path = tmp_path / "lamp.webp"
    RGB.save(path, "PPM")
    with pytest.raises(Unreadable, match=r"^lamp\.webp: is damaged"):
        page_of(art_of(path, "webp", WIDTH, HEIGHT), path, WIDTH, HEIGHT)


def test_size_is_looked_at_before_anything_is_decoded(tmp_path: Path) -> None:
    path = tmp_path / "lamp.webp"
    RGB.save(path, lossless=True)
    images = ImageWriter(PdfFile(io.BytesIO()), ArtLimits(pixels=1000))
    with pytest.raises(TooMuch, match=r"lamp\.webp: is 40 × 28 pixels"):
        images.add(art_of(path, "webp", WIDTH, HEIGHT), path)


def test_a_file_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match=r"^gone\.png: can't be read"):
        page_of(art_of(tmp_path / "gone.png", "png", 1, 1), tmp_path / "gone.png", 1, 1)


@pytest.mark.parametrize("kind", ["png", "webp", "tiff", "avif"])
def test_damaged_art_ends_as_a_page_or_a_refusal(tmp_path: Path, kind: str) -> None:
    whole = io.BytesIO()
    RGBA.save(whole, kind.upper(), **({"compression": "tiff_lzw"} if kind == "tiff" else {}))
    path = tmp_path / f"lamp.{kind}"
    random = np.random.default_rng(11)
    refused = 0
    for _ in range(60):
        spoilt = bytearray(whole.getvalue())
        for _ in range(int(random.integers(1, 6))):
            spoilt[int(random.integers(len(spoilt)))] ^= 1 << int(random.integers(8))
        path.write_bytes(bytes(spoilt))
        try:
            pdf = page_of(art_of(path, kind, WIDTH, HEIGHT), path, WIDTH, HEIGHT)  # type: ignore[arg-type]
        except (Unreadable, TooMuch) as error:
            assert error.message.startswith(f"lamp.{kind}: ")
            refused += 1
            continue
        with pikepdf.open(io.BytesIO(pdf)) as document:
            assert len(document.pages) == 1
    assert refused > 0
