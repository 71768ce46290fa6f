"""What Pillow reads becomes a card, and looks on paper and on the screen as its file means it."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pymupdf
import pytest
from PIL import Image, ImageOps

from server.core.art import Art, Card, Deck
from server.core.bleed import decide
from server.core.checks import check_deck
from server.core.settings import DeckSettings
from server.core.sizes import card_size_named
from server.formats import straight as straight_module
from server.formats.pixels import upright
from server.formats.reader import read_art
from server.formats.straight import straight
from tests.drawing.pdf_help import READERS, chunk, page_of, pixels
from tests.formats.artwork import encoded, oriented, picture, write

WIDTH, HEIGHT = 63, 88


def shown(folder: Path, data: bytes, reader: str = "pdfium") -> tuple[Art, np.ndarray, np.ndarray]:
    """The art, what a PDF reader shows of its card, and what the screen shows."""
    path = write(folder, "lamp", data)
    (art,) = read_art(path, "lamp", "key")
    width, height = art.view_px
    return art, pixels(reader, page_of(art, path, width, height)), np.asarray(upright(path, art)).astype(int)


def with_chunks(data: bytes, *chunks: tuple[bytes, bytes]) -> bytes:
    return data[:33] + b"".join(chunk(*one) for one in chunks) + data[33:]


def srgb(light: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1."""
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "P"])
def test_a_png_with_a_gamma_is_shown_by_it(tmp_path: Path, mode: str, reader: str) -> None:
    # gAMA 1.0: samples are light itself (W3C PNG, third edition, 11.3.2.2).
    ramp = np.tile(np.linspace(0, 255, WIDTH).astype(np.uint8), (HEIGHT, 1))
    image = Image.fromarray(ramp).convert(mode)
    if mode == "RGBA":
        image.putpixel((0, 0), (0, 0, 0, 100))
    data = with_chunks(encoded("PNG", image), (b"gAMA", struct.pack(">I", 100_000)))
    _, printed, screen = shown(tmp_path, data, reader)
    expected = srgb(ramp / 255)[5:, :, None]
    assert np.abs(printed[5:] - expected).max() < 10
    assert np.abs(screen[5:] - expected).max() < 8


@pytest.mark.parametrize("reader", READERS)
def test_a_png_with_primaries_of_its_own_is_shown_by_them(tmp_path: Path, reader: str) -> None:
    # Adobe RGB (1998), 4.3.1.1 and 4.3.4.2: its green is out of sRGB, its half-green, half-white is not.
    points = struct.pack(">8I", 31270, 32900, 64000, 33000, 21000, 71000, 15000, 6000)
    data = with_chunks(encoded("PNG", Image.new("RGB", (WIDTH, HEIGHT), (140, 180, 140))),
                       (b"gAMA", struct.pack(">I", 45455)), (b"cHRM", points))
    _, printed, screen = shown(tmp_path, data, reader)
    # By that standard's matrix to XYZ (4.3.5.3) and sRGB's from it.
    to_xyz = np.array([[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]])
    from_xyz = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    expected = srgb(np.clip(from_xyz @ to_xyz @ (np.array([140, 180, 140]) / 255) ** 2.2, 0, 1))
    assert np.abs(printed[20, 20] - expected).max() < 5
    assert np.abs(screen[20, 20] - expected).max() < 5


@pytest.mark.parametrize("chunks", [
    ((b"sRGB", b"\0"), (b"gAMA", struct.pack(">I", 100_000))), ((b"gAMA", struct.pack(">I", 45455)),),
    ((b"gAMA", struct.pack(">I", 0)),), ((b"cHRM", bytes(32)),),
], ids=["says sRGB", "comes to sRGB", "no gamma", "no primaries"])
def test_what_says_srgb_or_nonsense_keeps_its_values(tmp_path: Path, chunks: tuple[tuple[bytes, bytes], ...]) -> None:
    image = picture()
    _, printed, screen = shown(tmp_path, with_chunks(encoded("PNG", image), *chunks))
    assert np.array_equal(screen, np.asarray(image))
    assert np.abs(printed - np.asarray(image).astype(int)).max() <= 1


@pytest.mark.parametrize(("what", "image"), [
    ("32-bit float, 0 to 1", Image.fromarray(np.linspace(0, 1, WIDTH * HEIGHT, dtype=np.float32).reshape(HEIGHT, -1))),
    ("32-bit integer", Image.fromarray(np.linspace(0, 65535, WIDTH * HEIGHT).astype(np.int32).reshape(HEIGHT, -1))),
    ("float with gaps", Image.fromarray(np.full((HEIGHT, WIDTH), np.nan, dtype=np.float32))),
    ("LAB", Image.merge("LAB", [Image.new("L", (WIDTH, HEIGHT), level) for level in (150, 20, 200)])),
])
def test_tiffs_of_every_mode_are_cards(tmp_path: Path, what: str, image: Image.Image) -> None:
    _, printed, screen = shown(tmp_path, encoded("TIFF", image))
    assert np.abs(printed - screen).max() <= 2
    if "0 to 1" in what or "integer" in what:
        assert np.abs(screen[-1, -1] - 255).max() <= 1
        assert np.abs(screen[0, 0]).max() <= 1
        assert np.abs(screen[HEIGHT // 2, WIDTH // 2] - 128).max() <= 3


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("where", ["after the start", "between segments"])
def test_jpegs_with_junk_in_them_are_cards(tmp_path: Path, where: str, progressive: bool) -> None:
    data = encoded("JPEG", picture(), quality=95, progressive=progressive)
    if where == "after the start":
        odd = data[:2] + b"\xff" + b"\0" * 3 + b"junk" + data[2:]
    else:
        at = data.index(b"\xff\xdb")
        odd = data[:at] + b"\0\x01junk" + data[at:]
    with Image.open(io.BytesIO(odd)) as opened:
        opened.load()
        expected = np.asarray(opened.convert("RGB")).astype(int)
    _, printed, screen = shown(tmp_path, odd)
    assert np.array_equal(screen, expected)
    assert np.abs(printed - expected).max() <= 3


def test_a_picture_in_a_pdf_is_as_coarse_as_by_itself(tmp_path: Path) -> None:
    card, settings = card_size_named("poker-metric"), DeckSettings()
    data = encoded("PNG", picture(326, 444))
    (alone,) = read_art(write(tmp_path, "lamp.png", data), "lamp.png", "a")
    with pymupdf.open() as document:
        page = document.new_page(width=69 / 25.4 * 72, height=94 / 25.4 * 72)
        page.insert_image(page.rect, stream=data)
        (inside,) = read_art(write(tmp_path, "lamp.pdf", document.tobytes()), "lamp.pdf", "b")
        page.insert_image(pymupdf.Rect(10, 10, 20, 20), stream=encoded("PNG", picture(4, 4)))
        (with_ornament,) = read_art(write(tmp_path, "lamp.pdf", document.tobytes()), "lamp.pdf", "b")
    assert with_ornament.picture_ppi == pytest.approx(inside.picture_ppi)
    assert decide(inside, card, 3, "auto").ppi(inside) == pytest.approx(decide(alone, card, 3, "auto").ppi(alone), 0.01)
    for art in (alone, inside):
        codes = {problem.code: problem for problem in check_deck(Deck("d", (Card("a", art),)), settings)}
        assert "120 ppi" in codes["low-resolution"].message
    document = pymupdf.open()
    document.new_page(width=180, height=252).insert_text((20, 20), "vector")
    assert read_art(write(tmp_path, "v.pdf", document.tobytes()), "v.pdf", "c")[0].picture_ppi is None


@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_a_tall_picture_is_laid_on_white_as_pillow_lays_it_whole(mode: str) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (1300, 7, len(mode)), dtype=np.uint8)
    tall = Image.fromarray(noise)
    assert tall.mode == mode
    whole = Image.alpha_composite(Image.new("RGBA", tall.size, "white"), tall.convert("RGBA")).convert("RGB")
    assert straight(tall).tobytes() == whole.tobytes()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_is_turned_in_bands_as_it_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                     orientation: int) -> None:
    noise = Image.fromarray(np.random.default_rng(2).integers(0, 256, (61, 47, 4), dtype=np.uint8))
    path = write(tmp_path, "lamp", oriented("PNG", orientation, noise))
    (art,) = read_art(path, "lamp", "key")
    with Image.open(path) as opened:
        layer = ImageOps.exif_transpose(opened)
    expected = Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("RGB")
    small = upright(path, art, 19)
    monkeypatch.setattr(straight_module, "BAND_PX", 5 * 47)
    assert upright(path, art).tobytes() == expected.tobytes()
    assert upright(path, art, 19).tobytes() == small.tobytes()
    assert np.abs(np.asarray(small).astype(int) - np.asarray(expected.resize(small.size, Image.Resampling.HAMMING))
                  ).mean() < 8
