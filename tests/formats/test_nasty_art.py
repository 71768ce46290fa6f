"""Broken and hostile files: each ends as art or as a refusal that names it, never as another exception."""

from __future__ import annotations

import io
import random
import struct
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest
from PIL import Image

from server.core.art import Art
from server.errors import TooMuch, Unreadable
from server.formats.limits import BadArt
from server.formats.pixels import edge_rgb, thumbnail, upright, verify
from server.formats.reader import read_art
from tests.formats.artwork import PICTURES, chunk, encoded, huge, pdf, picture, png_header, write

FILE = "fronts/lamp"
KINDS = (*PICTURES, "PDF")


def sample(kind: str) -> bytes:
    """Something with enough in it that a tenth of it matters."""
    if kind == "PDF":
        return pdf(4)
    noise = Image.effect_noise((240, 330), 60).convert("RGB")
    return encoded(kind, noise, **({"compression": "tiff_lzw"} if kind == "TIFF" else {}))


def taken(folder: Path, data: bytes) -> tuple[Art, ...] | BadArt:
    """The art, decoded whole, or the refusal, which must name the file and a way out."""
    path = write(folder, "file", data)
    try:
        arts = read_art(path, FILE, "key")
        for art in arts:
            verify(path, art)
        return arts
    except Unreadable as error:
        assert isinstance(error, BadArt)
        assert error.message.startswith(FILE)
        assert error.fix
        assert len(error.message) < 300
        assert "\n" not in str(error)
        return error


@pytest.mark.parametrize("tenth", range(10))
@pytest.mark.parametrize("kind", KINDS)
def test_a_file_cut_off_anywhere_is_refused(tmp_path: Path, kind: str, tenth: int) -> None:
    data = sample(kind)
    assert isinstance(taken(tmp_path, data), tuple)
    answer = taken(tmp_path, data[:len(data) * tenth // 10])
    assert isinstance(answer, BadArt), "a cut-off file passed for whole"
    if tenth == 0:
        assert answer.code == "empty-file"


@pytest.mark.parametrize("kind", PICTURES)
def test_the_header_alone_shows_a_cut(tmp_path: Path, kind: str) -> None:
    data = sample(kind)
    with pytest.raises(BadArt, match="incomplete") as caught:
        read_art(write(tmp_path, "file", data[:len(data) * 9 // 10]), FILE, "key")
    assert caught.value.code == "truncated"


@pytest.mark.parametrize("kind", KINDS)
def test_flipped_bits_never_raise_anything_else(tmp_path: Path, kind: str) -> None:
    data = encoded(kind, picture(24, 32)) if kind != "PDF" else pdf(1)
    source = random.Random(20)
    for _ in range(120):
        broken = bytearray(data)
        for _ in range(source.choice((1, 1, 4))):
            at = source.randrange(len(broken) if source.random() < 0.5 else min(len(broken), 200))
            broken[at] ^= 1 << source.randrange(8)
        taken(tmp_path, bytes(broken))


@pytest.mark.parametrize("kind", PICTURES)
def test_a_header_that_claims_too_many_pixels_is_refused_unopened(tmp_path: Path, kind: str) -> None:
    path = write(tmp_path, "file", huge(kind))
    with pytest.raises(Unreadable) as caught:
        read_art(path, FILE, "key")
    if kind != "AVIF":  # its decoder refuses such a size by itself, before it tells any
        assert isinstance(caught.value, TooMuch)
        assert "over the limit of 64 megapixels" in caught.value.message
        assert ("16384 × 16384" if kind == "WEBP" else "65000 × 65000") in caught.value.message
        assert "Scale it down" in caught.value.fix


@pytest.mark.parametrize(("what", "data", "code"), [
    ("no width", png_header(0, 5) + chunk(b"IDAT", b"") + chunk(b"IEND", b""), "zero-size"),
    ("a sliver", png_header(50_000, 10) + chunk(b"IDAT", b"") + chunk(b"IEND", b""), "odd-shape"),
    ("no pixels", png_header(5, 5) + chunk(b"IEND", b""), "damaged"),
    ("no palette", png_header(5, 5, 8, 3) + chunk(b"IDAT", b"") + chunk(b"IEND", b""), "damaged"),
    ("a depth that isn't", png_header(5, 5, 3) + chunk(b"IDAT", b"") + chunk(b"IEND", b""), "damaged"),
    ("a check sum that is wrong", png_header(5, 5)[:-1] + b"\0" + chunk(b"IEND", b""), "damaged"),
    ("a chunk that isn't", png_header(5, 5) + b"\0\0\0\0\0\0\0\0" + chunk(b"IEND", b""), "damaged"),
    ("a chunk without end", png_header(5, 5) + b"\xff\xff\xff\xffIDAT", "truncated"),
    ("only the first bytes of a JPEG", b"\xff\xd8\xff\xe0", "truncated"),
    ("a JPEG that ends at once", b"\xff\xd8\xff\xd9", "damaged"),
    ("a JPEG segment without length", b"\xff\xd8\xff\xe0\0\0" + b"\0" * 20, "damaged"),
    ("a JPEG that goes astray", b"\xff\xd8\xff\xe0\0\x04\0\0" + b"\0" * 20, "damaged"),
    ("a JPEG of fill bytes", b"\xff\xd8" + b"\xff" * 3000, "truncated"),
    ("a JPEG scan without frame", b"\xff\xd8\xff\xda\0\x04\0\0\xff\xd9", "damaged"),
    ("a WebP without picture", b"RIFF\x16\0\0\0WEBPJUNK\x0a\0\0\0" + b"\0" * 10, "damaged"),
    ("text of that name", b"harbour lamps", "not-art"),
])
def test_headers_that_contradict_themselves(tmp_path: Path, what: str, data: bytes, code: str) -> None:
    with pytest.raises(BadArt) as caught:
        read_art(write(tmp_path, "file", data), FILE, "key")
    assert caught.value.code == code, what


@pytest.mark.parametrize(("marker", "bits", "says"), [
    (0xC3, 8, "lossless"), (0xCB, 8, "arithmetic"), (0xC1, 12, "12 bits"),
])
def test_jpegs_that_no_pdf_holds_are_refused(tmp_path: Path, marker: int, bits: int, says: str) -> None:
    # ITU-T T.81, table B.1: SOF3 and SOF11 are lossless, the second arithmetic; DCTDecode takes neither (ISO 32000-1,
    # 7.4.8), and nor does Pillow. What Pillow takes is decoded.
    data = bytearray(encoded("JPEG", picture()))
    at = data.index(b"\xff\xc0")
    data[at + 1], data[at + 4] = marker, bits
    with pytest.raises(BadArt, match=says) as caught:
        read_art(write(tmp_path, "file", bytes(data)), FILE, "key")
    assert caught.value.code == "unsupported"


def test_a_png_that_unpacks_to_far_more_than_it_says(tmp_path: Path) -> None:
    bomb = zlib.compress(b"\0" * 50_000_000, 9)
    data = png_header(63, 88) + chunk(b"IDAT", bomb) + chunk(b"IEND", b"")
    assert len(data) < 60_000
    path = write(tmp_path, "file", data)
    (art,) = read_art(path, FILE, "key")
    assert upright(path, art).size == (63, 88)


def test_other_pictures_are_named_as_such(tmp_path: Path) -> None:
    for kind, ending in (("GIF", "gif"), ("BMP", "bmp"), ("EPS", "png"), ("JPEG2000", "png"), ("TGA", "png")):
        path = write(tmp_path, f"lamp.{ending}", encoded(kind, picture()))
        with pytest.raises(BadArt) as caught:
            read_art(path, path.name, "key")
        assert caught.value.code == ("unsupported" if ending != "png" else "not-art"), kind
        assert "PNG" in str(caught.value)


def test_an_adobe_cmyk_jpeg_keeps_its_colours(tmp_path: Path) -> None:
    path = write(tmp_path, "file", encoded("JPEG", Image.new("CMYK", (63, 88), (0, 255, 255, 0)), quality=95))
    assert b"Adobe" in path.read_bytes()
    (art,) = read_art(path, FILE, "key")
    assert art.is_cmyk
    # Full magenta and yellow without cyan are red; printed white would be the inversion overlooked.
    assert np.allclose(edge_rgb(path, art), (255, 0, 0), atol=6)


def test_a_cmyk_jpeg_without_that_marker_is_not_inverted(tmp_path: Path) -> None:
    data = encoded("JPEG", Image.new("CMYK", (63, 88), (0, 255, 255, 0)), quality=95)
    at = data.index(b"\xff\xee")
    length, = struct.unpack_from(">H", data, at + 2)
    path = write(tmp_path, "file", data[:at] + data[at + 2 + length:])
    (art,) = read_art(path, FILE, "key")
    assert np.allclose(edge_rgb(path, art), drawn_by_pdfium(path.read_bytes()), atol=40)


def drawn_by_pdfium(jpeg: bytes) -> tuple[int, ...]:
    """The colour that a PDF reader makes of a CMYK JPEG's bytes as they are (ISO 32000-1, 7.4.8, without Decode)."""
    out = io.BytesIO()
    with pikepdf.new() as made:
        made.add_blank_page(page_size=(63, 88))
        image = pikepdf.Stream(made, jpeg, Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=63, Height=88,
                               ColorSpace=pikepdf.Name.DeviceCMYK, BitsPerComponent=8, Filter=pikepdf.Name.DCTDecode)
        made.pages[0].Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
        made.pages[0].Contents = pikepdf.Stream(made, b"63 0 0 88 0 0 cm /Im Do")
        made.save(out)
    document = pypdfium2.PdfDocument(out.getvalue())
    try:
        return tuple(document[0].render().to_pil().convert("RGB").getpixel((30, 40)))
    finally:
        document.close()


@pytest.mark.parametrize("interlace", [0, 1])
def test_rare_pngs_are_art(tmp_path: Path, interlace: int) -> None:
    rows = b"".join(b"\0" + struct.pack(">63H", *range(0, 63 * 1000, 1000)) for _ in range(88))
    header = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 63, 88, 16, 0, 0, 0, 0))
    sixteen = header + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    assert isinstance(taken(tmp_path, sixteen), tuple)
    palette = picture(mode="P")
    palette.info["transparency"] = 3
    assert isinstance(taken(tmp_path, encoded("PNG", palette, interlace=interlace)), tuple)
    bad_profile = encoded("PNG", picture(), icc_profile=b"no profile at all")
    assert isinstance(taken(tmp_path, bad_profile), tuple)


def test_an_animation_shows_its_first_frame(tmp_path: Path) -> None:
    for kind in ("PNG", "WEBP", "AVIF", "TIFF"):
        frames = [Image.new("RGB", (63, 88), colour) for colour in ("red", "green", "blue")]
        data = encoded(kind, frames[0], save_all=True, append_images=frames[1:])
        path = write(tmp_path, "file", data)
        (art,) = read_art(path, FILE, "key")
        assert np.allclose(edge_rgb(path, art), (255, 0, 0), atol=6), kind


@pytest.mark.parametrize("password", ["", "harbour"])
def test_a_pdf_is_refused_only_if_it_asks_for_a_password(tmp_path: Path, password: str) -> None:
    data = pdf(1, encryption=pymupdf.PDF_ENCRYPT_AES_256, owner_pw="owner", user_pw=password)  # type: ignore[attr-defined]
    answer = taken(tmp_path, data)
    if password:
        assert isinstance(answer, BadArt)
        assert answer.code == "encrypted"
    else:
        assert isinstance(answer, tuple)


def test_a_pdf_that_claims_a_hundred_thousand_pages(tmp_path: Path) -> None:
    with pikepdf.new() as made:
        made.add_blank_page()
        made.Root.Pages.Count = 100_000
        made.save(tmp_path / "made.pdf")
    answer = taken(tmp_path, (tmp_path / "made.pdf").read_bytes())
    assert isinstance(answer, BadArt) or len(answer) == 1


def test_a_page_tree_that_loops(tmp_path: Path) -> None:
    with pikepdf.new() as made:
        made.add_blank_page()
        made.add_blank_page()
        pages = made.Root.Pages
        pages.Kids[1] = pages.objgen and pages  # the tree holds itself
        made.save(tmp_path / "made.pdf")
    answer = taken(tmp_path, (tmp_path / "made.pdf").read_bytes())
    assert isinstance(answer, BadArt) or len(answer) <= 2


def test_pages_that_are_no_cards(tmp_path: Path) -> None:
    for size in ((1, 1), (14_000, 100), (30_000, 30_000)):
        with pikepdf.new() as made:
            made.add_blank_page(page_size=(100, 100))
            made.pages[0].mediabox = [0, 0, *size]
            made.save(tmp_path / "made.pdf")
        answer = taken(tmp_path, (tmp_path / "made.pdf").read_bytes())
        assert isinstance(answer, BadArt), size
        assert answer.code == "odd-shape"


def test_our_own_sheets_are_no_art(tmp_path: Path) -> None:
    with pikepdf.new() as made:
        made.add_blank_page()
        made.docinfo["/Producer"] = "Lampfold"
        made.save(tmp_path / "made.pdf")
    answer = taken(tmp_path, (tmp_path / "made.pdf").read_bytes())
    assert isinstance(answer, BadArt)
    assert answer.code == "own-sheets"


def test_an_error_survives_the_way_between_processes(tmp_path: Path) -> None:
    import pickle

    answer = taken(tmp_path, huge("PNG"))
    again = pickle.loads(pickle.dumps(answer))
    assert isinstance(answer, BadArt) and isinstance(again, BadArt) and type(again) is type(answer)
    assert (again.message, again.fix, again.code) == (answer.message, answer.fix, answer.code)


def test_thumbnails_are_small_upright_and_on_white(tmp_path: Path) -> None:
    image = picture(400, 600, "RGBA")
    image.paste((0, 0, 0, 0), (150, 250, 250, 350))
    path = write(tmp_path, "file", encoded("PNG", image))
    (art,) = read_art(path, FILE, "key")
    with Image.open(io.BytesIO(thumbnail(path, art, 120))) as small:
        assert small.format == "WEBP"
        assert small.size == (80, 120)
        # White, but for what a lossy WebP takes off.
        assert np.asarray(small.convert("RGB"))[60, 40].min() > 250
    path = write(tmp_path, "cards", pdf(2))
    with Image.open(io.BytesIO(thumbnail(path, read_art(path, FILE, "key")[1], 176))) as small:
        assert small.size == (126, 176)


def test_a_jpeg_of_thousands_of_scans_is_refused(tmp_path: Path) -> None:
    # Each scan of a progressive JPEG is decoded over the whole picture (ITU-T T.81, G.1), and may be ten bytes long.
    data = encoded("JPEG", picture(240, 330), progressive=True)
    last = data[data.rindex(b"\xff\xda"):-2]
    assert isinstance(taken(tmp_path, data), tuple)
    with pytest.raises(BadArt, match="more than 100 scans") as caught:
        read_art(write(tmp_path, "file", data[:-2] + last * 400 + b"\xff\xd9"), FILE, "key")
    assert caught.value.code == "too-much-inside"
