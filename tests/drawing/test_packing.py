"""PNG rows taken apart without decoding, and decoded pictures packed in bands: the same pixels, by Pillow's decoder."""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from server.drawing import packing
from server.drawing.packing import Odd, pack_picture, pack_png
from server.drawing.pdf_images import ImageWriter
from server.formats import straight
from server.formats.limits import DEFAULT_LIMITS
from server.formats.png import Png, read_png
from tests.drawing.pdf_help import READERS, art_of, page_of, pixels
from tests.formats.artwork import chunk, png_header

WIDTH, HEIGHT = 37, 60
KINDS = {"RGBA": (6, 4, 8), "RGBA 16": (6, 4, 16), "LA": (4, 2, 8), "LA 16": (4, 2, 16)}


def filtered(rows: np.ndarray, kinds: list[int], step: int) -> bytes:
    """Rows of bytes, each by its filter: 0 None, 1 Sub, 2 Up, 3 Average, 4 Paeth (W3C PNG, third edition, 9.2)."""
    rows = rows.astype(int)
    above = np.vstack([np.zeros_like(rows[:1]), rows[:-1]])
    left = np.hstack([np.zeros_like(rows[:, :step]), rows[:, :-step]])
    corner = np.hstack([np.zeros_like(above[:, :step]), above[:, :-step]])
    guess = left + above - corner
    far = [np.abs(guess - one) for one in (left, above, corner)]
    paeth = np.where((far[0] <= far[1]) & (far[0] <= far[2]), left, np.where(far[1] <= far[2], above, corner))
    taken = np.stack([np.zeros_like(rows), left, above, (left + above) // 2, paeth])
    out = (rows - taken[kinds, np.arange(len(rows))]) % 256
    return b"".join(bytes((kind,)) + row.astype(np.uint8).tobytes() for kind, row in zip(kinds, out, strict=True))


def png_bytes(samples: np.ndarray, kind: str, kinds: list[int], spoil: Callable[[bytes], bytes] = bytes) -> bytes:
    colour, count, depth = KINDS[kind]
    wide = samples.astype(">u2" if depth == 16 else "u1").reshape(len(samples), -1)
    rows = wide.view(np.uint8).reshape(len(samples), -1)
    packed = spoil(zlib.compress(filtered(rows, kinds, count * depth // 8), 9))
    header = png_header(samples.shape[1], samples.shape[0], depth, colour)
    return header + chunk(b"IDAT", packed[:90]) + chunk(b"IDAT", packed[90:]) + chunk(b"IEND", b"")


def png_of(samples: np.ndarray, kind: str, kinds: list[int], spoil: Callable[[bytes], bytes] = bytes) -> Png:
    return read_png(png_bytes(samples, kind, kinds, spoil), "lamp", DEFAULT_LIMITS)


def seen(png: Png) -> np.ndarray:
    """By Pillow, which knows nothing of how it was packed; four channels that are CMYK pass for RGBA."""
    data = (png_header(png.header.width, png.header.height, 8, png.colour_type)
            + chunk(b"IDAT", b"".join(png.parts)) + chunk(b"IEND", b""))
    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(picture)


def samples_of(kind: str, seed: int = 3) -> np.ndarray:
    _, count, depth = KINDS[kind]
    noise = np.random.default_rng(seed).integers(0, 2 ** depth, (HEIGHT, WIDTH, count))
    noise[10:30] = noise[10:11]  # rows alike, and clear beside opaque
    noise[:20, :, -1], noise[40:, :, -1] = 2 ** depth - 1, 0
    return noise


@pytest.mark.parametrize("band_bytes", [1, 2000, 10 ** 6])
@pytest.mark.parametrize("kind", KINDS)
def test_a_png_of_any_filters_is_taken_apart_as_it_is(monkeypatch: pytest.MonkeyPatch, kind: str,
                                                      band_bytes: int) -> None:
    monkeypatch.setattr(packing, "_BAND_BYTES", band_bytes)
    samples, depth = samples_of(kind), KINDS[kind][2]
    narrow = samples >> (depth - 8)
    random = np.random.default_rng(band_bytes)
    for kinds in ([0] * HEIGHT, [1] * HEIGHT, [4] * HEIGHT, [2, 3] * (HEIGHT // 2), [3, 1, 2, 4] * (HEIGHT // 4),
                  [0, 0, 0, *random.integers(1, 5, HEIGHT - 3).tolist()]):
        packed = pack_png(png_of(samples, kind, kinds))
        assert packed.alpha is not None
        assert np.array_equal(seen(packed.alpha), narrow[:, :, -1])
        colour = seen(packed.colour).reshape(HEIGHT, WIDTH, -1)
        assert np.array_equal(colour, narrow[:, :, :-1])


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", KINDS)
def test_readers_show_it_on_white_as_it_is_meant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str,
                                                 reader: str) -> None:
    monkeypatch.setattr(ImageWriter, "_decoded", None)  # nothing has to be
    samples = samples_of(kind)
    path = tmp_path / "lamp.png"
    path.write_bytes(png_bytes(samples, kind, [4, 1, 2, 3] * (HEIGHT // 4)))
    shares = samples / (2 ** KINDS[kind][2] - 1)
    alpha = shares[:, :, -1:]
    expected = 255 * (np.broadcast_to(shares[:, :, :-1], (HEIGHT, WIDTH, 3)) * alpha + 1 - alpha)
    shown = pixels(reader, page_of(art_of(path, "png", WIDTH, HEIGHT), path, WIDTH, HEIGHT))
    # A step each for 16 bits as 8, for the reader's own rounding and for its blending.
    assert np.abs(shown - np.round(expected)).max() <= 3


@pytest.mark.parametrize("kind", [0, 1, 2, 3, 4])
def test_alpha_that_is_opaque_is_seen_through_every_filter(kind: int) -> None:
    samples = samples_of("RGBA")
    samples[:, :, 3] = 255
    kinds = [*([0] if kind == 0 else [1, 2, 3, 4]), *[kind] * HEIGHT][:HEIGHT]
    kinds[0] = kind
    assert pack_png(png_of(samples, "RGBA", kinds)).alpha is None
    for x, y in ((0, 0), (WIDTH - 1, 0), (5, HEIGHT - 1), (0, 20)):
        veiled = samples.copy()
        veiled[y, x, 3] = 254
        alpha = pack_png(png_of(veiled, "RGBA", kinds)).alpha
        assert alpha is not None
        assert np.array_equal(seen(alpha), veiled[:, :, 3])


@pytest.mark.parametrize(("what", "spoil"), [
    ("its sum is wrong", lambda data: data[:-1] + bytes((data[-1] ^ 1,))),
    ("it ends early", lambda data: data[:-30]),
    ("it is no such stream", lambda data: b"\0" + data[1:]),
    ("it holds more", lambda data: zlib.compress(zlib.decompress(data) + b"\0")),
    ("it holds less", lambda data: zlib.compress(zlib.decompress(data)[:-1])),
    ("a filter that isn't", lambda data: zlib.compress(b"\5" + zlib.decompress(data)[1:])),
])
def test_what_is_odd_is_left_to_a_decoder(what: str, spoil: Callable[[bytes], bytes]) -> None:
    with pytest.raises(Odd):
        pack_png(png_of(samples_of("RGBA"), "RGBA", [1, 2] * (HEIGHT // 2), spoil))


def test_rows_without_a_filter_between_others_are_left_to_a_decoder() -> None:
    # They pack badly by themselves; decoded, all get one.
    with pytest.raises(Odd):
        pack_png(png_of(samples_of("RGBA"), "RGBA", [0, 1, 2] * (HEIGHT // 3)))


def test_what_a_program_in_a_hurry_filtered_packs_small() -> None:
    # Sub alone shows no likeness of rows, so that a search finds what runs don't.
    samples = np.broadcast_to(np.random.default_rng(1).integers(0, 256, (1, 400, 4)), (300, 400, 4)).copy()
    samples[0, 0, 3] = 7
    packed = pack_png(png_of(samples, "RGBA", [1] * 300))
    assert sum(map(len, packed.colour.parts)) < 300 * 400 * 3 / 20
    assert np.array_equal(seen(packed.colour), samples[:, :, :3])


def _pictures() -> dict[str, tuple[Image.Image, int]]:
    noise = np.random.default_rng(5).integers(0, 256, (HEIGHT, WIDTH, 4), dtype=np.uint8)
    rgba = Image.fromarray(noise)
    keyed = rgba.convert("RGB")
    keyed.info["transparency"] = keyed.getpixel((3, 4))
    palette = rgba.convert("RGB").quantize(60)
    palette.info["transparency"] = bytes(range(0, 240, 4))
    wide = Image.fromarray((noise[:, :, 0].astype(np.uint16) << 8) + noise[:, :, 1])
    wide.info["transparency"] = int(np.asarray(wide)[2, 2])
    return {"RGB": (rgba.convert("RGB"), 8), "RGBA": (rgba, 8), "LA": (rgba.convert("LA"), 8),
            "L": (rgba.convert("L"), 8), "RGBa": (rgba.convert("RGBa"), 8),
            "CMYK": (Image.frombytes("CMYK", rgba.size, noise.tobytes()), 8),
            "keyed": (keyed, 8), "palette": (palette, 8), "wide": (wide, 16),
            "float": (Image.fromarray(noise[:, :, 0].astype(np.float32)), 8)}


@pytest.mark.parametrize("threads", [0, 2])
@pytest.mark.parametrize("name", _pictures())
def test_a_picture_in_bands_is_the_picture(monkeypatch: pytest.MonkeyPatch, name: str, threads: int) -> None:
    picture, depth = _pictures()[name]
    whole = pack_picture(picture, depth)
    monkeypatch.setattr(straight, "BAND_PX", 7 * WIDTH)
    helpers = ThreadPoolExecutor(threads) if threads else None
    banded = pack_picture(picture, depth, helpers)
    for one, other in ((whole.colour, banded.colour), (whole.alpha, banded.alpha)):
        assert (one is None) == (other is None)
        if one and other:
            assert one.components == other.components
            if not one.indexed and one.depth == 8:
                assert np.array_equal(seen(one), seen(other))
    if helpers:
        helpers.shutdown()
    expected = np.asarray(picture.convert({"RGBa": "RGBA", "wide": "I"}.get(picture.mode, picture.mode)))
    if name in ("RGB", "RGBA", "L", "LA", "CMYK", "RGBa", "keyed"):
        colours = expected if name in ("RGB", "L", "CMYK", "keyed") else expected[:, :, :-1]
        assert np.array_equal(seen(banded.colour).reshape(colours.shape), colours)
    if name in ("RGBA", "LA"):
        assert banded.alpha is not None
        assert np.array_equal(seen(banded.alpha), expected[:, :, -1])
    if name == "wide":
        assert banded.alpha is not None
        assert np.array_equal(seen(banded.alpha) == 0, np.asarray(picture) == picture.info["transparency"])
