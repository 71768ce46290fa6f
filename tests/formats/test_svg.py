"""SVG as art: its size, what is refused and why, its bounds, and what becomes of it in a PDF.

That it is drawn as a browser draws it is held by ``tests/browser/test_svg.py``, for the same files.
"""

from __future__ import annotations

import io
from contextlib import suppress
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from server.core.art import Art
from server.formats.limits import ArtLimits, ArtTooLarge, BadArt
from server.formats.pdf_pages import open_pdf
from server.formats.reader import read_art
from server.formats.svg import open_svg
from tests.formats.svg_files import DRAWN, REFUSED, link, svg

_PUT = ["", "0", "-1", "1e9", "none", "inherit", "url(#g)", "%", "'", "<g>", "/>", "M0 0", "NaN", "((", ",", "auto",
        "em", "\0", "é"]
_RECT = '<rect width="9" height="9"/>'


def read(folder: Path, text: str | bytes, name: str = "art.svg", limits: ArtLimits | None = None) -> Art:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    art, = read_art(path, name, "key", limits or ArtLimits())
    return art


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_not_drawn_right_is_refused_with_its_name_and_the_way_out(tmp_path: Path, name: str) -> None:
    text, code, says = REFUSED[name]
    with pytest.raises(BadArt) as refused:
        read(tmp_path, text)
    assert (refused.value.code, refused.value.message[:9]) == (code, "art.svg: ")
    assert says in refused.value.message and refused.value.fix


def test_everything_that_is_drawn_is_read(tmp_path: Path) -> None:
    for name, text in DRAWN.items():
        art = read(tmp_path, text)
        assert (art.kind, art.key, art.is_vector) == ("svg", "key#0", True), name


# CSS Values 4, 6.2: 1 in is 96 px and 25.4 mm; a viewBox without a size is in px.
@pytest.mark.parametrize(("size", "width_mm", "height_mm"), [
    ('width="63mm" height="88mm"', 63, 88), ('width="6.3cm" height="8.8cm"', 63, 88),
    ('width="2.5in" height="3.5in" viewBox="0 0 5 7"', 63.5, 88.9), ('width="180pt" height="252pt"', 63.5, 88.9),
    ('width="240" height="336px"', 63.5, 88.9), ('width="15pc" height="21pc"', 63.5, 88.9),
    ('viewBox="10 20 240 336"', 63.5, 88.9), ('width="63.5mm" viewBox="0 0 5 7"', 63.5, 88.9),
    ('height="88.9mm" viewBox="0 0 5 7"', 63.5, 88.9), ('width="100%" height="100%" viewBox="0 0 240 336"', 63.5, 88.9),
    ('width="252Q" height="352q"', 63, 88),
])
def test_its_size_is_what_it_says(tmp_path: Path, size: str, width_mm: float, height_mm: float) -> None:
    assert read(tmp_path, svg(_RECT, size)).size_mm == pytest.approx((width_mm, height_mm), abs=0.01)


@pytest.mark.parametrize("text", [svg(_RECT).encode("utf-16"), b"\xef\xbb\xbf" + svg(_RECT).encode(),
                                  f'<?xml version="1.0" encoding="iso-8859-1"?>{svg("<title>é</title>" + _RECT)}'
                                  .encode("latin-1")])
def test_it_may_be_in_any_encoding_and_under_any_name(tmp_path: Path, text: bytes) -> None:
    assert read(tmp_path, text, "card.png").kind == "svg"


@pytest.mark.parametrize(("text", "limits", "code"), [
    (svg(_RECT), ArtLimits(stream_bytes=100), "file-too-large"),
    (svg("<g/>" * 60_001), ArtLimits(), "too-much-inside"),
    (svg("<g>" * 120 + "</g>" * 120), ArtLimits(), "too-much-inside"),
    # A use of ten uses of ten uses ...: 10^8 drawings in a kilobyte.
    (svg("".join(f'<g id="a{at}">' + f'<use href="#a{at - 1}"/>' * 10 * bool(at) + _RECT + "</g>" for at in range(9))),
     ArtLimits(), "too-much-inside"),
    (svg(f'<image width="9" height="9" href="{link(Image.new("1", (4000, 4000)), "PNG")}"/>'),
     ArtLimits(pixels=1_000_000), "too-many-pixels"),
    (svg("".join(f'<image width="9" height="9" href="{link(Image.new("1", (800, height)), "PNG")}"/>'
                 for height in (800, 801))),
     ArtLimits(pixels=1_000_000), "too-many-pixels"),
    (svg('<path stroke="red" stroke-dasharray="1e-4" d="M0 0H100"/>'), ArtLimits(), "too-much-inside"),
    (svg('<path d="M0 0' + "h1v1" * 1_100 + '"/>'), ArtLimits(), "too-much-inside"),
    # The same where it is only measured, for a clip by its box.
    (svg("".join(f'<g id="a{at}">' + f'<use href="#a{at - 1}"/>' * 10 * bool(at) + _RECT + "</g>" for at in range(9))
         .join(('<clipPath id="c" clipPathUnits="objectBoundingBox"/><g clip-path="url(#c)">', "</g>"))),
     ArtLimits(), "too-much-inside"),
    (svg('<path id="a" d="M0 0' + "h1v1" * 900 + '" fill="none"/>' + '<use href="#a"/>' * 20), ArtLimits(),
     "too-much-inside"),
    (svg('<path d="M0 0V9"/>' * 1_000), ArtLimits(stream_bytes=20_000), "too-much-inside"),
    (svg("<style>" + "a{}" * 2_001 + "</style>"), ArtLimits(), "too-much-inside"),
    # Each mask draws all that lies in it twice.
    (svg("".join(f'<mask id="m{at}"><g mask="url(#m{at - 1})">{_RECT * 30}</g></mask>' for at in range(1, 70))
         + '<mask id="m0"/><g mask="url(#m69)">' + _RECT + "</g>"), ArtLimits(), "too-much-inside"),
])
def test_it_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, limits: ArtLimits,
                       code: str) -> None:
    monkeypatch.setattr("server.formats.svg_draw.MOST_DRAWN", 2_000)  # the work of some seconds; here of none
    monkeypatch.setattr("server.formats.svg_draw.MOST_STEPS", 20_000)
    monkeypatch.setattr("server.formats.svg_values._MOST_STEPS", 2_000)
    with pytest.raises(ArtTooLarge) as refused:
        read(tmp_path, text, limits=limits)
    assert refused.value.code == code


def test_it_is_drawn_as_vector_and_always_to_the_same_bytes(tmp_path: Path) -> None:
    for name in ("gradient that turns clear", "clip by text", "pattern turned", "mask in colours"):
        path = tmp_path / "art.svg"
        path.write_text(DRAWN[name], encoding="utf-8")
        made = []
        for _ in range(2):
            with open_svg(path, "art.svg") as document:
                made.append([document.xref_object(number) + repr(document.xref_stream(number))
                             for number in range(1, document.xref_length())])
                with pikepdf.open(io.BytesIO(document.tobytes())) as pdf:
                    assert not any(thing.get("/Subtype") == "/Image" for thing in pdf.objects
                                   if isinstance(thing, pikepdf.Stream))
        assert made[0] == made[1]


def test_a_pattern_of_faint_cells_keeps_its_pitch_in_pdfium(tmp_path: Path) -> None:
    """pdfium lays cells that fill their step by whole pixels, which adds up along a row."""
    path = tmp_path / "art.svg"
    bar = '<rect x="1" width="2" height="49" fill="#04a" opacity=".9"/>'
    path.write_text(svg(f'<pattern id="p" width="5" height="50" patternUnits="userSpaceOnUse">{bar}</pattern>'
                        '<rect width="100" height="100" fill="url(#p)"/>'), encoding="utf-8")
    with open_svg(path, "art.svg") as document, pypdfium2.PdfDocument(document.tobytes()) as pdf:
        row = np.asarray(pdf[0].render(scale=488 / pdf[0].get_width()).to_pil().convert("L"))[120]
    starts = np.flatnonzero((row[1:] < 200) & (row[:-1] >= 200)) + 1
    assert len(starts) == 20
    assert np.abs(starts - 24.4 * (0.2 + np.arange(20))).max() <= 1.5


def test_a_jpeg_in_it_goes_into_the_pdf_as_it_is(tmp_path: Path) -> None:
    plain = io.BytesIO()
    Image.new("RGB", (90, 60), "teal").save(plain, "JPEG")
    (tmp_path / "art.svg").write_text(DRAWN["picture JPEG"], encoding="utf-8")
    with open_svg(tmp_path / "art.svg", "art.svg") as document, pikepdf.open(io.BytesIO(document.tobytes())) as pdf:
        image, = (thing for thing in pdf.objects if isinstance(thing, pikepdf.Stream)
                  and thing.get("/Subtype") == "/Image")
        assert image.Filter == "/DCTDecode" and image.Width == 240
        assert Image.open(io.BytesIO(image.read_raw_bytes())).size == (240, 160)


def test_a_picture_used_over_and_over_is_stored_once(tmp_path: Path) -> None:
    picture = f'<image id="i" width="9" height="9" href="{link(Image.new("RGB", (90, 90), "teal"), "PNG")}"/>'
    (tmp_path / "art.svg").write_text(svg(picture + '<use href="#i" x="20"/>' * 50), encoding="utf-8")
    with open_svg(tmp_path / "art.svg", "art.svg") as document, pikepdf.open(io.BytesIO(document.tobytes())) as pdf:
        streams = [thing for thing in pdf.objects if isinstance(thing, pikepdf.Stream)]
        assert sum(thing.get("/Subtype") == "/Image" for thing in streams) == 1


def test_a_soft_picture_in_it_is_seen(tmp_path: Path) -> None:
    art = read(tmp_path, svg(f'<image width="63" height="88" preserveAspectRatio="none" '
                             f'href="{link(Image.new("RGB", (126, 176)), "PNG")}"/>',
                             'width="63mm" height="88mm" viewBox="0 0 63 88"'))
    assert art.picture_ppi == pytest.approx(126 / 63 * 25.4, abs=0.5)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(sorted(DRAWN)), st.data())
def test_a_file_that_was_tampered_with_is_drawn_or_refused(tmp_path: Path, name: str, data: st.DataObject) -> None:
    """Numbers, words and marks changed anywhere: nothing but a refusal ever comes of it."""
    text = DRAWN[name]
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        put = data.draw(st.sampled_from([*_PUT, text[at:at + 30]]))
        text = text[:at] + put + text[at + data.draw(st.integers(0, 12)):]
    with suppress(BadArt):
        read(tmp_path, text)


def test_it_closes_behind_itself(tmp_path: Path) -> None:
    (tmp_path / "art.svg").write_text(svg(_RECT), encoding="utf-8")
    source = open_pdf(tmp_path / "art.svg", "art.svg", kind="svg")
    assert source.page_count == 1
    source.close()
