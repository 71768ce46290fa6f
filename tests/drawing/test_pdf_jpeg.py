"""JPEG art in a PDF: byte for byte where nothing private rides along, without that where it does."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image, ImageCms

from server.core.art import ORIENTATIONS, Art
from server.errors import Unreadable
from server.formats.jpeg import read_jpeg
from tests.drawing.pdf_help import READERS, art_of, page_of, pixels, xobjects

WIDTH, HEIGHT = 48, 32


def colours(mode: str = "RGB") -> Image.Image:
    """Soft colours: what JPEG keeps well, so that two decoders differ by rounding alone."""
    x, y = np.meshgrid(np.linspace(0, 1, WIDTH), np.linspace(0, 1, HEIGHT))
    layers = np.stack([220 * x + 20, 200 * y + 30, 120 * (1 - x) + 80 * y, 90 * x * y + 10], axis=2).astype(np.uint8)
    if mode == "L":
        return Image.fromarray(layers[:, :, 0])
    return Image.fromarray(layers[:, :, :3]) if mode == "RGB" else Image.frombytes("CMYK", (WIDTH, HEIGHT),
                                                                                   layers.tobytes())


def saved(picture: Image.Image, **options: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=95, subsampling=0, **options)
    return out.getvalue()


def written(folder: Path, jpeg: bytes, orientation: int = 1) -> bytes:
    path = folder / "lamp.jpg"
    path.write_bytes(jpeg)
    art = art_of(path, "jpeg", WIDTH, HEIGHT, orientation=orientation)
    return page_of(art, path, *art.view_px)


def segment(marker: int, content: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


def with_segments(jpeg: bytes, *segments: bytes) -> bytes:
    """Put in after the JFIF segment, where programs put theirs."""
    after = 4 + int.from_bytes(jpeg[4:6], "big") if jpeg[2:4] == b"\xff\xe0" else 2
    return jpeg[:after] + b"".join(segments) + jpeg[after:]


def without(jpeg: bytes, marker: int) -> bytes:
    at = jpeg.index(bytes((0xFF, marker)))
    return jpeg[:at] + jpeg[at + 2 + int.from_bytes(jpeg[at + 2:at + 4], "big"):]


@pytest.mark.parametrize("progressive", [False, True], ids=["baseline", "progressive"])
@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_a_plain_jpeg_goes_in_byte_for_byte(tmp_path: Path, mode: str, progressive: bool) -> None:
    jpeg = saved(colours(mode), progressive=progressive)
    with xobjects(written(tmp_path, jpeg)) as (image,):
        assert image.read_raw_bytes() == jpeg
        assert image.Filter == "/DCTDecode"
        assert image.ColorSpace == {"L": "/DeviceGray", "RGB": "/DeviceRGB", "CMYK": "/DeviceCMYK"}[mode]
        assert (image.Width, image.Height, image.BitsPerComponent) == (WIDTH, HEIGHT, 8)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_readers_see_what_pillow_sees(tmp_path: Path, mode: str, reader: str) -> None:
    jpeg = saved(colours(mode))
    expected = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB")).astype(int)
    assert np.abs(pixels(reader, written(tmp_path, jpeg)) - expected).max() <= 2


@pytest.mark.parametrize("reader", READERS)
def test_an_inverted_cmyk_jpeg_isnt_a_negative(tmp_path: Path, reader: str) -> None:
    # Adobe's APP14 marker says that 0 is full ink (Pillow writes CMYK so); ISO 32000-1, 8.9.5.2: /Decode turns it.
    jpeg = saved(colours("CMYK"))
    assert b"Adobe" in jpeg
    pdf = written(tmp_path, jpeg)
    with xobjects(pdf) as (image,):
        assert list(image.Decode) == [1, 0, 1, 0, 1, 0, 1, 0]
    shown = pixels(reader, pdf)
    # Readers turn inks to light by formulas of their own; but no ink is white, and more of an ink is darker.
    plain = np.asarray(colours("CMYK")).astype(int)
    light = shown.mean(axis=2)
    ink = plain.sum(axis=2)
    assert np.corrcoef(light.ravel(), ink.ravel())[0, 1] < -0.8
    assert shown[0, 0].sum() > shown[-1, -1].sum()


@pytest.mark.parametrize("reader", READERS)
def test_white_paper_in_a_cmyk_jpeg_stays_white(tmp_path: Path, reader: str) -> None:
    white = Image.new("CMYK", (WIDTH, HEIGHT), (0, 0, 0, 0))
    white.paste((0, 0, 0, 255), (0, 0, WIDTH // 2, HEIGHT))
    shown = pixels(reader, written(tmp_path, saved(white)))
    assert shown[:, WIDTH // 2 + 2:].min() >= 250
    assert shown[:, :WIDTH // 2 - 2].max() <= 60


def test_cmyk_without_adobes_mark_isnt_turned(tmp_path: Path) -> None:
    # No APP14, no claim of inversion: 0 is no ink, as in any DeviceCMYK image.
    jpeg = without(saved(colours("CMYK")), 0xEE)
    with xobjects(written(tmp_path, jpeg)) as (image,):
        assert "/Decode" not in image
        assert image.read_raw_bytes() == jpeg


@pytest.mark.parametrize("reader", READERS)
def test_components_named_r_g_b_arent_taken_for_another_space(tmp_path: Path, reader: str) -> None:
    # ISO 32000-1, Table 13: three components count as YCbCr unless told; libjpeg reads the names R, G, B as RGB.
    jpeg = bytearray(saved(colours(), keep_rgb=True))
    adobe = jpeg.find(b"\xff\xee")
    if adobe >= 0:
        jpeg = bytearray(without(bytes(jpeg), 0xEE))
    if jpeg[2:4] == b"\xff\xe0":
        jpeg = bytearray(without(bytes(jpeg), 0xE0))
    assert read_jpeg(bytes(jpeg), "lamp.jpg", None).component_ids == b"RGB"
    pdf = written(tmp_path, bytes(jpeg))
    with xobjects(pdf) as (image,):
        assert image.DecodeParms.ColorTransform == 0
    assert np.abs(pixels(reader, pdf) - np.asarray(colours()).astype(int)).max() <= 6


# In corners as seen: what the picture of `corner_marks` shows once it is turned as CIPA DC-008 says.
RED, GREEN, BLUE, YELLOW = (200, 30, 30), (30, 160, 60), (40, 60, 200), (220, 200, 40)
TURNED = {
    1: (RED, GREEN, BLUE, YELLOW), 2: (GREEN, RED, YELLOW, BLUE), 3: (BLUE, YELLOW, RED, GREEN),
    4: (YELLOW, BLUE, GREEN, RED), 5: (RED, YELLOW, BLUE, GREEN), 6: (YELLOW, RED, GREEN, BLUE),
    7: (BLUE, GREEN, RED, YELLOW), 8: (GREEN, BLUE, YELLOW, RED),
}


def corner_marks() -> Image.Image:
    """Red top-left, then clockwise green, blue, yellow."""
    picture = Image.new("RGB", (WIDTH, HEIGHT), RED)
    picture.paste(GREEN, (WIDTH // 2, 0, WIDTH, HEIGHT // 2))
    picture.paste(BLUE, (WIDTH // 2, HEIGHT // 2, WIDTH, HEIGHT))
    picture.paste(YELLOW, (0, HEIGHT // 2, WIDTH // 2, HEIGHT))
    return picture


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_exif_orientation_turns_the_page_not_the_pixels(tmp_path: Path, orientation: int, reader: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    jpeg = saved(corner_marks(), exif=exif.tobytes())
    pdf = written(tmp_path, jpeg, orientation)
    shown = pixels(reader, pdf)
    down, across = shown.shape[:2]
    corners = [shown[3, 3], shown[3, across - 4], shown[down - 4, across - 4], shown[down - 4, 3]]
    assert np.abs(np.array(corners) - np.array(TURNED[orientation])).max() <= 8
    with xobjects(pdf) as (image,):
        assert (image.Width, image.Height) == (WIDTH, HEIGHT)


def gps() -> bytes:
    exif = Image.Exif()
    exif[0x0112] = 1
    exif.get_ifd(0x8825)[1] = "N"
    exif[0x010F] = "Lampfold camera"
    return exif.tobytes()


PRIVATE: dict[str, bytes] = {
    "Exif": segment(0xE1, gps()),
    "XMP": segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>secret</x:xmpmeta>"),
    "IPTC": segment(0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x06secret"),
    "comment": segment(0xFE, b"secret"),
    "provenance": segment(0xEB, b"JP\0\0secret"),
    "picture index": segment(0xE2, b"MPF\0secret"),
}


@pytest.mark.parametrize("name", PRIVATE)
@pytest.mark.parametrize("progressive", [False, True], ids=["baseline", "progressive"])
def test_what_is_private_stays_behind_and_the_scans_dont_change(tmp_path: Path, name: str, progressive: bool) -> None:
    plain = saved(colours(), progressive=progressive)
    with xobjects(written(tmp_path, with_segments(plain, PRIVATE[name]))) as (image,):
        assert image.read_raw_bytes() == plain


def test_all_of_it_at_once_and_pictures_after_the_end(tmp_path: Path) -> None:
    plain = saved(colours())
    second = with_segments(saved(colours("L")), PRIVATE["Exif"])
    with xobjects(written(tmp_path, with_segments(plain, *PRIVATE.values()) + second)) as (image,):
        assert image.read_raw_bytes() == plain


def test_a_profile_stays_in_the_stream_and_beside_it(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    jpeg = saved(colours(), icc_profile=profile)
    with xobjects(written(tmp_path, jpeg)) as (image,):
        assert image.read_raw_bytes() == jpeg
        assert image.ColorSpace[0] == "/ICCBased"
        assert image.ColorSpace[1].read_bytes() == profile
        assert image.ColorSpace[1].N == 3


def test_a_profile_in_several_parts_is_put_together() -> None:
    # ICC.1:2022, B.4: number and count after the name; parts may come in any order.
    profile = bytes(range(256)) * 3
    parts = [segment(0xE2, b"ICC_PROFILE\0" + bytes((at + 1, 3)) + profile[at * 256:at * 256 + 256]) for at in range(3)]
    jpeg = with_segments(saved(colours()), parts[2], parts[0], parts[1])
    assert read_jpeg(jpeg, "lamp.jpg", None).profile == profile
    assert read_jpeg(with_segments(saved(colours()), parts[2], parts[0]), "lamp.jpg", None).profile is None


@pytest.mark.parametrize("progressive", [False, True], ids=["baseline", "progressive"])
@pytest.mark.parametrize("tenth", range(10))
def test_a_cut_off_jpeg_is_refused_by_name(tmp_path: Path, tenth: int, progressive: bool) -> None:
    jpeg = saved(Image.effect_noise((300, 200), 90), progressive=progressive)
    with pytest.raises(Unreadable, match=r"^lamp\.jpg: "):
        written(tmp_path, jpeg[:len(jpeg) * tenth // 10])


def test_a_jpeg_that_only_lacks_its_end_mark_gets_one(tmp_path: Path) -> None:
    jpeg = saved(colours())
    with xobjects(written(tmp_path, jpeg[:-2])) as (image,):
        assert image.read_raw_bytes() == jpeg


def test_fill_bytes_and_restart_marks_are_part_of_the_picture(tmp_path: Path) -> None:
    # ITU-T T.81, B.1.1.2 (any number of 0xFF before a marker) and B.1.1.3 (restart markers within a scan).
    jpeg = saved(colours(), restart_marker_rows=1)
    assert any(bytes((0xFF, mark)) in jpeg for mark in range(0xD0, 0xD8))
    filled = jpeg[:2] + b"\xff\xff\xff" + jpeg[2:]
    with xobjects(written(tmp_path, filled)) as (image,):
        assert image.read_raw_bytes() == filled


def spoilt_frame(change: Callable[[bytearray, int], None]) -> bytes:
    jpeg = bytearray(saved(colours()))
    change(jpeg, jpeg.index(b"\xff\xc0"))
    return bytes(jpeg)


@pytest.mark.parametrize(("name", "jpeg"), [
    ("lossless", spoilt_frame(lambda data, at: data.__setitem__(at + 1, 0xC3))),
    ("12 bits", spoilt_frame(lambda data, at: data.__setitem__(at + 4, 12))),
    ("no width", spoilt_frame(lambda data, at: data.__setitem__(slice(at + 7, at + 9), b"\0\0"))),
    ("empty", b""),
    ("only a start", b"\xff\xd8\xff\xd9"),
    ("no JPEG", b"GIF89a" + b"\0" * 50),
])
def test_what_no_reader_could_show_is_refused(tmp_path: Path, name: str, jpeg: bytes) -> None:
    with pytest.raises(Unreadable, match=r"^lamp\.jpg: "):
        written(tmp_path, jpeg)


def test_random_damage_ends_as_a_picture_or_a_refusal(tmp_path: Path) -> None:
    jpeg = saved(colours())
    random = np.random.default_rng(5)
    art: Art = art_of(tmp_path / "lamp.jpg", "jpeg", WIDTH, HEIGHT)
    kept = 0
    for _ in range(200):
        spoilt = bytearray(jpeg)
        spoilt[int(random.integers(len(spoilt)))] ^= 1 << int(random.integers(8))
        (tmp_path / "lamp.jpg").write_bytes(bytes(spoilt))
        try:
            pdf = page_of(art, tmp_path / "lamp.jpg", WIDTH, HEIGHT)
        except Unreadable:
            continue
        with pikepdf.open(io.BytesIO(pdf)) as document:  # the picture may be spoilt, the file around it may not
            kept += len(document.pages) == 1
    assert kept > 100
