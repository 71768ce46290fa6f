"""PNG art in a PDF: its own compressed rows where they can be, seen alike by two independent readers."""

from __future__ import annotations

import io
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image, ImageCms

from server.drawing.pdf_file import PdfFile
from server.drawing.pdf_images import ImageWriter
from server.errors import TooMuch, Unreadable
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.formats.png import read_png
from tests.drawing.pdf_help import READERS, art_of, chunk, make_png, page_of, pixels, png_data, xobjects

GREY, RGB, PALETTE, GREY_ALPHA, RGB_ALPHA = 0, 2, 3, 4, 6
CHANNELS = {GREY: 1, RGB: 3, PALETTE: 1, GREY_ALPHA: 2, RGB_ALPHA: 4}
# Every pair of colour type and bit depth that PNG knows (W3C PNG, third edition, IHDR).
ALL_KINDS = [(GREY, 1), (GREY, 2), (GREY, 4), (GREY, 8), (GREY, 16), (RGB, 8), (RGB, 16), (PALETTE, 1), (PALETTE, 2),
             (PALETTE, 4), (PALETTE, 8), (GREY_ALPHA, 8), (GREY_ALPHA, 16), (RGB_ALPHA, 8), (RGB_ALPHA, 16)]
OPAQUE = [kind for kind in ALL_KINDS if kind[0] in (GREY, RGB, PALETTE)]
WIDTH, HEIGHT = 23, 17  # odd on purpose: rows of 1, 2 and 4 bits end in the middle of a byte


def samples_of(colour_type: int, depth: int, seed: int = 7) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 2 ** depth, (HEIGHT, WIDTH, CHANNELS[colour_type]))


def palette_of(depth: int) -> np.ndarray:
    return np.random.default_rng(3).integers(0, 256, (2 ** depth, 3)).astype(np.uint8)


def seen(samples: np.ndarray, colour_type: int, depth: int) -> np.ndarray:
    """The colours that anyone should see on white paper, as 8-bit RGB."""
    if colour_type == PALETTE:
        return palette_of(depth)[samples[:, :, 0]].astype(int)
    share = samples / (2 ** depth - 1)
    colour = share[:, :, :3] if colour_type in (RGB, RGB_ALPHA) else np.repeat(share[:, :, :1], 3, axis=2)
    if colour_type in (GREY_ALPHA, RGB_ALPHA):
        alpha = share[:, :, -1:]
        colour = colour * alpha + 1 - alpha
    return np.round(colour * 255).astype(int)


def written(folder: Path, png: bytes) -> bytes:
    path = folder / "lamp.png"
    path.write_bytes(png)
    return page_of(art_of(path, "png", WIDTH, HEIGHT), path, WIDTH, HEIGHT)


def before_data(colour_type: int, depth: int) -> list[tuple[bytes, bytes]]:
    return [(b"PLTE", palette_of(depth).tobytes())] if colour_type == PALETTE else []


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("interlaced", [False, True], ids=["plain", "interlaced"])
@pytest.mark.parametrize(("colour_type", "depth"), ALL_KINDS)
def test_every_kind_of_png_looks_as_it_should(tmp_path: Path, colour_type: int, depth: int, interlaced: bool,
                                              reader: str) -> None:
    samples = samples_of(colour_type, depth)
    pdf = written(tmp_path, make_png(samples, depth, colour_type, interlaced=interlaced,
                                     before_data=before_data(colour_type, depth)))
    # Grey of 255: one step each for reading 16 bits as 8, for the reader's own rounding and for its blending.
    assert np.abs(pixels(reader, pdf) - seen(samples, colour_type, depth)).max() <= 3


@pytest.mark.parametrize(("colour_type", "depth"), OPAQUE)
def test_opaque_rows_go_in_byte_for_byte(tmp_path: Path, colour_type: int, depth: int) -> None:
    # By pikepdf (qpdf): the stream is all IDAT content; FlateDecode with predictor 15, ISO 32000-1, 7.4.4.4, Table 8.
    png = make_png(samples_of(colour_type, depth), depth, colour_type, before_data=before_data(colour_type, depth))
    with xobjects(written(tmp_path, png)) as (image,):
        assert image.read_raw_bytes() == png_data(png)
        assert image.Filter == "/FlateDecode"
        assert dict(image.DecodeParms) == {"/Predictor": 15, "/Colors": CHANNELS[colour_type],
                                           "/BitsPerComponent": depth, "/Columns": WIDTH}
        assert (image.Width, image.Height, image.BitsPerComponent) == (WIDTH, HEIGHT, depth)


def test_an_alpha_becomes_a_soft_mask(tmp_path: Path) -> None:
    samples = samples_of(RGB_ALPHA, 8)
    with xobjects(written(tmp_path, make_png(samples, 8, RGB_ALPHA))) as (image,):
        assert np.array_equal(np.asarray(pikepdf.PdfImage(image.SMask).as_pil_image()), samples[:, :, 3])
        assert np.array_equal(np.asarray(pikepdf.PdfImage(image).as_pil_image()), samples)


def test_an_alpha_that_hides_nothing_is_left_out(tmp_path: Path) -> None:
    samples = samples_of(RGB_ALPHA, 8)
    samples[:, :, 3] = 255
    with xobjects(written(tmp_path, make_png(samples, 8, RGB_ALPHA))) as (image,):
        assert "/SMask" not in image


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(("colour_type", "depth"), OPAQUE)
def test_a_clear_colour_shows_the_paper(tmp_path: Path, colour_type: int, depth: int, reader: str) -> None:
    # tRNS (W3C PNG, third edition): one sample value for grey and RGB, alphas by index for a palette.
    samples = samples_of(colour_type, depth)
    samples[4:9, 4:9] = samples[4, 4]
    if colour_type == PALETTE:
        clear = b"\xff" * int(samples[4, 4, 0]) + b"\0"
        gone = samples[:, :, 0] == samples[4, 4, 0]
    else:
        clear = samples[4, 4].astype(">u2").tobytes()
        gone = (samples == samples[4, 4]).all(axis=2)
    expected = seen(samples, colour_type, depth)
    expected[gone] = 255
    pdf = written(tmp_path, make_png(samples, depth, colour_type,
                                     before_data=[*before_data(colour_type, depth), (b"tRNS", clear)]))
    assert np.abs(pixels(reader, pdf) - expected).max() <= 2


def srgb_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def test_profiles_stay_and_are_kept_once(tmp_path: Path) -> None:
    profile = srgb_profile()
    iccp = (b"iCCP", b"any name\0\0" + zlib.compress(profile))
    out = io.BytesIO()
    file = PdfFile(out)
    images = ImageWriter(file)
    numbers = []
    for name, kind, depth in (("a", RGB, 8), ("b", RGB, 16), ("c", PALETTE, 8)):
        path = tmp_path / f"{name}.png"
        path.write_bytes(make_png(samples_of(kind, depth), depth, kind,
                                  before_data=[iccp, *before_data(kind, depth)]))
        numbers.append(images.add(art_of(path, "png", WIDTH, HEIGHT), path).number)
    file.close(file.put(b"<</Type /Catalog /Pages %d 0 R>>" % file.put(b"<</Type /Pages /Count 0 /Kids []>>")),
               file.put(b"<<>>"))
    document = pikepdf.open(out)
    spaces = [document.get_object(number, 0).ColorSpace for number in numbers]
    # ISO 32000-1, 8.6.5.5: /N is the number of components; 8.6.6.3: a palette's base may be a profile.
    assert spaces[0][0] == "/ICCBased"
    assert spaces[2][0] == "/Indexed"
    profiles = {spaces[0][1].objgen, spaces[1][1].objgen, spaces[2][1][1].objgen}
    assert len(profiles) == 1
    assert spaces[0][1].read_bytes() == profile
    assert (spaces[0][1].N, spaces[0][1].Alternate) == (3, "/DeviceRGB")


@pytest.mark.parametrize("spoil", [
    lambda profile: profile[:-8], lambda profile: b"\0" * 4 + profile[4:], lambda profile: profile[:36] + b"nope"
    + profile[40:], lambda profile: profile[:16] + b"GRAY" + profile[20:], lambda profile: b"",
    lambda profile: profile[:128] + b"\xff" * 4 + profile[132:],
], ids=["short", "no length", "no signature", "for grey", "empty", "tags outside"])
def test_a_broken_profile_is_left_out(tmp_path: Path, spoil: object) -> None:
    profile = spoil(srgb_profile())  # type: ignore[operator]
    iccp = (b"iCCP", b"n\0\0" + zlib.compress(profile))
    with xobjects(written(tmp_path, make_png(samples_of(RGB, 8), 8, RGB, before_data=[iccp]))) as (image,):
        assert image.ColorSpace == "/DeviceRGB"


def test_a_profile_that_unpacks_without_end_is_left_out() -> None:
    bomb = (b"iCCP", b"n\0\0" + zlib.compress(b"\0" * 64_000_000, 9))
    png = make_png(samples_of(RGB, 8), 8, RGB, before_data=[bomb])
    assert read_png(png, "lamp.png", DEFAULT_LIMITS).profile is None


@pytest.mark.parametrize("tenth", range(10))
def test_a_cut_off_png_is_refused_by_name(tmp_path: Path, tenth: int) -> None:
    png = make_png(samples_of(RGB, 8), 8, RGB)
    with pytest.raises(Unreadable, match=r"^lamp\.png: "):
        written(tmp_path, png[:len(png) * tenth // 10])


def test_each_flipped_bit_is_found(tmp_path: Path) -> None:
    # PNG's CRC-32 finds every single-bit error (W3C PNG, third edition, 5.5; any CRC does).
    png = make_png(samples_of(GREY, 8), 8, GREY, part_bytes=10 ** 6)
    whole = read_png(png, "lamp.png", DEFAULT_LIMITS)
    for at in range(8 + 8, len(png) - 12, 13):  # lengths and the last chunk are the walk's own affair
        spoilt = bytearray(png)
        spoilt[at] ^= 1 << (at % 8)
        try:
            found = read_png(bytes(spoilt), "lamp.png", DEFAULT_LIMITS)
            assert found.holds() == (found.parts == whole.parts)  # where the sum alone is wrong, the picture is right
        except Unreadable as error:
            assert error.message.startswith("lamp.png: ")


@pytest.mark.parametrize("lengths", [
    [8192] * 300 + [77], [65536] * 40 + [5], [100, 100, 100, 0, 0, 7], [3_000_000], [70_000, 70_000], [1, 2, 2, 2, 3]])
def test_what_is_poured_is_the_stream_and_each_spoilt_part_is_found(tmp_path: Path, lengths: list[int]) -> None:
    # Parts are summed many at once; the sums that they are held against are zlib's, one for each part.
    parts = [np.random.default_rng(at).bytes(length) for at, length in enumerate(lengths)]
    path = tmp_path / "lamp.png"
    header = make_png(samples_of(GREY, 8), 8, GREY)[:33]
    png = header + b"".join(chunk(b"IDAT", part) for part in parts) + chunk(b"IEND", b"")

    def poured(content: bytes) -> tuple[bytes, bool]:
        path.write_bytes(content)
        looked_at, found = read_png(png, "lamp.png", DEFAULT_LIMITS), bytearray()
        assert looked_at.stream_bytes == sum(lengths)
        with path.open("rb", buffering=0) as source:
            pieces = looked_at.poured(source)
            while True:
                try:
                    found += next(pieces)
                except StopIteration as end:
                    return bytes(found), end.value
    assert poured(png) == (b"".join(parts), True)
    ends = np.cumsum([length + 12 for length in lengths]) + len(header)
    for end, length in zip(ends[::37], lengths[::37], strict=True):
        at = end - 5 - length // 2  # the middle, or of an empty one its name
        assert not poured(png[:at] + bytes([png[at] ^ 1]) + png[at + 1:])[1]
    assert not poured(png[:-40])[1]


@pytest.mark.parametrize("at", [0.3, 0.5, 0.7])
def test_a_byte_turned_over_in_the_midst_of_many_parts_is_refused_by_name(tmp_path: Path, at: float) -> None:
    png = bytearray(make_png(samples_of(RGB, 8), 8, RGB, part_bytes=150))
    parts = read_png(bytes(png), "lamp.png", DEFAULT_LIMITS).parts
    place = png.index(bytes(parts[int(len(parts) * at)]))
    png[place + 40] ^= 0xFF
    with pytest.raises(Unreadable, match=r"^lamp\.png: "):
        written(tmp_path, bytes(png))


@pytest.mark.parametrize(("old", "new"), [
    ((0, 8, 0, 0, 0), (0, 3, 0, 0, 0)), ((0, 8, 0, 0, 0), (0, 8, 5, 0, 0)), ((0, 8, 0, 0, 0), (0, 8, 0, 0, 2)),
], ids=["depth 3", "colour type 5", "interlace 2"])
def test_a_header_without_sense_is_refused(old: tuple[int, ...], new: tuple[int, ...]) -> None:
    png = make_png(samples_of(GREY, 8), 8, GREY)
    header = png[16:29]
    assert tuple(header[7:8] + header[8:12]) == (HEIGHT, *old[1:])
    spoilt = header[:8] + bytes(new[1:]) + header[12:]
    with pytest.raises(Unreadable, match=r"lamp\.png: .* is no PNG"):
        read_png(png[:8] + chunk(b"IHDR", spoilt) + png[33:], "lamp.png", DEFAULT_LIMITS)


@pytest.mark.parametrize("part_bytes", [20, 10 ** 6])
def test_a_picture_with_a_wrong_check_sum_is_printed_as_pillow_decodes_it(tmp_path: Path, part_bytes: int) -> None:
    png = bytearray(make_png(samples_of(GREY, 8), 8, GREY, part_bytes=part_bytes))
    png[-13] ^= 1  # the last byte of the sum before IEND
    written_page = written(tmp_path, bytes(png))
    assert np.array_equal(pixels("pdfium", written_page), samples_of(GREY, 8).repeat(3, axis=2)[..., :3])


def test_a_picture_over_the_limit_is_refused_before_it_is_copied(tmp_path: Path) -> None:
    path = tmp_path / "huge.png"
    path.write_bytes(make_png(samples_of(GREY, 8), 8, GREY))
    art = art_of(path, "png", WIDTH, HEIGHT)
    out = io.BytesIO()
    images = ImageWriter(PdfFile(out), ArtLimits(pixels=WIDTH * HEIGHT - 1))
    before = out.tell()
    with pytest.raises(TooMuch, match=r"huge\.png"):
        images.add(art, path)
    assert out.tell() == before


def test_what_pillow_saves_goes_in_byte_for_byte(tmp_path: Path) -> None:
    for mode in ("1", "L", "P", "RGB", "I;16"):
        picture = Image.effect_noise((60, 40), 60).convert("P" if mode == "P" else "L")
        picture = picture if mode in ("L", "P") else (
            Image.fromarray(np.asarray(picture).astype(np.uint16) * 257) if mode == "I;16" else picture.convert(mode))
        path = tmp_path / "p.png"
        picture.save(path)
        with xobjects(page_of(art_of(path, "png", 60, 40), path, 60, 40)) as (image,):
            assert image.read_raw_bytes() == png_data(path.read_bytes()), mode
