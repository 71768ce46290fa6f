"""The PDF surface: boxes, preferences, layers, shapes and text, read back by pikepdf and two renderers."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest
from PIL import Image

from server.core.geometry import Affine, Rect
from server.core.lettering import text_width_mm
from server.core.plan import Line
from server.drawing.pdf_surface import Duplex, PdfSurface
from server.drawing.pdf_text import runs
from server.drawing.surface import Stroke
from tests.drawing.pdf_help import READERS, art_of, drawn

PPI = 254.0  # ten pixels to the millimetre


def opened(draw: object, **options: object) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(drawn(draw, **options)))  # type: ignore[arg-type]


def dark(shown: np.ndarray, below: int = 128) -> np.ndarray:
    return shown.max(axis=2) < below


def extent_mm(mask: np.ndarray) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of what is set, in mm."""
    rows, columns = np.nonzero(mask.any(axis=1))[0], np.nonzero(mask.any(axis=0))[0]
    return columns[0] / 10, rows[0] / 10, (columns[-1] + 1) / 10, (rows[-1] + 1) / 10


@pytest.mark.parametrize("duplex", ["Simplex", "DuplexFlipShortEdge", "DuplexFlipLongEdge"])
def test_pages_have_their_boxes_and_the_print_dialogue_its_preferences(duplex: Duplex) -> None:
    # Boxes: ISO 32000-1, 14.11.2. A4 in points: 595.2756 x 841.8898 (ISO 216, computed). Preferences: Table 150.
    out = io.BytesIO()
    surface = PdfSurface(out, lambda art: Path(), title="Harbour lamps · duplex", duplex=duplex)
    trim = Rect(10, 20, 189, 264)
    for label in ("1 front", "1 back"):
        surface.page(Rect(0, 0, 210, 297), trim, Rect(7, 17, 195, 270), label)
    surface.close()
    with pikepdf.open(out) as document:
        for page in document.pages:
            k = 72 / 25.4
            assert [float(side) for side in page.obj.MediaBox] == pytest.approx([0, 0, 595.2756, 841.8898], abs=5e-4)
            assert [float(side) for side in page.obj.TrimBox] == pytest.approx(
                [10 * k, (297 - 284) * k, 199 * k, (297 - 20) * k], abs=5e-4)
            assert [float(side) for side in page.obj.BleedBox] == pytest.approx(
                [7 * k, (297 - 287) * k, 202 * k, (297 - 17) * k], abs=5e-4)
            assert "/Rotate" not in page.obj
        preferences = document.Root.ViewerPreferences
        assert preferences.PrintScaling == "/None"
        assert preferences.Duplex == f"/{duplex}"
        assert preferences.DisplayDocTitle is True
        assert str(document.docinfo["/Title"]) == "Harbour lamps · duplex"
        assert not {"/CreationDate", "/ModDate"} & set(document.docinfo.keys())
    reader = pypdfium2.PdfDocument(out.getvalue())
    assert [reader.get_page_label(page) for page in range(2)] == ["1 front", "1 back"]


def layers_in_turn(surface: PdfSurface) -> None:
    for at, layer in enumerate(("notes", "art", "cut lines", "creases", "safe zone")):
        with surface.within(layer=layer):  # type: ignore[arg-type]
            surface.fill(Rect(at * 20, 0, 10, 10).corners, (0, 0, 0))


def test_layers_are_listed_in_the_order_of_printing() -> None:
    # ISO 32000-1, 8.11.4: groups, their order in the viewer, and the marked content that belongs to them.
    with opened(layers_in_turn) as document:
        layers = document.Root.OCProperties
        assert [str(group.Name) for group in layers.D.Order] == ["Art", "Cut lines", "Creases", "Notes"]
        assert len(layers.OCGs) == 4
        content = document.pages[0].Contents.read_bytes()
        assert content.count(b"/OC ") == content.count(b"BDC") == content.count(b"EMC") == 4


def test_the_safe_zone_is_never_printed() -> None:
    shown = READERS["pdfium"](drawn(layers_in_turn), PPI)
    assert dark(shown)[:, 600:700].any()
    assert not dark(shown)[:, 750:].any()


@pytest.mark.parametrize("reader", READERS)
def test_a_layer_can_be_put_out(reader: str) -> None:
    with opened(layers_in_turn) as document:
        groups = {str(group.Name): group for group in document.Root.OCProperties.OCGs}
        document.Root.OCProperties.D.OFF = pikepdf.Array([groups["Cut lines"]])
        out = io.BytesIO()
        document.save(out)
    mask = dark(READERS[reader](out.getvalue(), PPI))
    assert mask[:, :110].any() and mask[:, 200:310].any() and mask[:, 600:710].any()
    assert not mask[:, 395:510].any()


@pytest.mark.parametrize("reader", READERS)
def test_a_millimetre_is_a_millimetre_and_y_runs_down(reader: str) -> None:
    shown = READERS[reader](drawn(lambda surface: surface.fill(Rect(10, 5, 30, 20).corners, (0, 0, 0))), PPI)
    assert extent_mm(dark(shown)) == pytest.approx((10, 5, 40, 25), abs=0.15)


@pytest.mark.parametrize("reader", READERS)
def test_frames_nest_and_clips_cut_in_the_inner_frame(reader: str) -> None:
    def draw(surface: PdfSurface) -> None:
        # Turned clockwise by a quarter about the origin, then moved: x' = 80 - y, y' = 10 + x.
        with (surface.within(matrix=Affine.shift(80, 10).after(Affine.turn(90))),
              surface.within(matrix=Affine.shift(5, 5), clip=Rect(0, 0, 40, 10))):
            surface.fill(Rect(-50, -50, 200, 200).corners, (0, 0, 0))
    shown = READERS[reader](drawn(draw), PPI)
    assert extent_mm(dark(shown)) == pytest.approx((65, 15, 75, 55), abs=0.15)


@pytest.mark.parametrize("reader", READERS)
def test_art_lies_where_its_matrix_says(tmp_path: Path, reader: str) -> None:
    path = tmp_path / "corner.png"
    picture = Image.new("RGB", (40, 40), (0, 0, 0))
    picture.paste((250, 60, 40), (0, 0, 20, 20))  # the top-left quarter
    picture.save(path)
    art = art_of(path, "png", 40, 40)
    # The unit square turned clockwise by a quarter: its top-left corner lies top right, at (60, 20).
    matrix = Affine.shift(60, 20).after(Affine.turn(90)).after(Affine.scaling(30, 40))
    shown = READERS[reader](drawn(lambda surface: surface.art(art, matrix), {art.key: path}), PPI)
    assert extent_mm(shown.min(axis=2) < 128) == pytest.approx((20, 20, 60, 50), abs=0.15)
    assert extent_mm((shown[:, :, 0] > 200) & (shown[:, :, 1] < 128)) == pytest.approx((40, 20, 60, 35), abs=0.2)


@pytest.mark.parametrize("reader", READERS)
def test_a_ring_is_round_and_a_rounded_outline_has_its_corners(reader: str) -> None:
    # A Bézier quarter with handles of 4/3 (sqrt 2 - 1) radii leaves the circle by less than 0.03 % (common practice).
    def draw(surface: PdfSurface) -> None:
        surface.ring((50, 50), 30, Stroke(0.4))
    mask = dark(READERS[reader](drawn(draw), PPI), 200)
    rows, columns = np.nonzero(mask)
    distance = np.hypot((columns + 0.5) / 10 - 50, (rows + 0.5) / 10 - 50)
    assert distance.min() > 29.65 and distance.max() < 30.35
    assert len(set(np.round(np.degrees(np.arctan2(rows - 500, columns - 500))))) > 355

    def card(surface: PdfSurface) -> None:
        surface.outline(Rect(5, 20, 85.6, 53.98), 3.18, Stroke(0.2))  # ISO/IEC 7810, ID-1
    mask = dark(READERS[reader](drawn(card), PPI), 200)
    assert extent_mm(mask) == pytest.approx((4.9, 19.9, 90.7, 74.08), abs=0.15)
    rows, columns = np.nonzero(mask[:245, :95])  # the top-left corner
    x, y = (columns + 0.5) / 10, (rows + 0.5) / 10
    curved = (x < 8.1) & (y < 23.1)
    assert np.abs(np.hypot(x[curved] - 8.18, y[curved] - 23.18) - 3.18).max() < 0.2


@pytest.mark.parametrize("reader", READERS)
def test_lines_end_exactly_and_dash_as_told(reader: str) -> None:
    def draw(surface: PdfSurface) -> None:
        surface.lines((Line((10, 10), (90, 10)), Line((50, 20), (50, 80))), Stroke(0.5))
        surface.lines((Line((10, 90), (70, 90)),), Stroke(0.5, dash_mm=(4, 2)))
    mask = dark(READERS[reader](drawn(draw), PPI))
    assert extent_mm(mask[:150]) == pytest.approx((10, 9.75, 90, 10.25), abs=0.15)
    assert extent_mm(mask[150:850, 400:600]) == pytest.approx((9.75, 5, 10.25, 65), abs=0.15)
    dashes = mask[900, :].astype(int)
    assert (np.diff(dashes) == 1).sum() == 10  # 60 mm of 4 mm dash and 2 mm gap
    assert dashes.sum() / 10 == pytest.approx(40, abs=0.6)


def test_greys_print_with_black_alone() -> None:
    with opened(lambda surface: surface.fill(Rect(0, 0, 9, 9).corners, (70, 70, 70))) as document:
        assert b"0.2745 g" in document.pages[0].Contents.read_bytes()


def text_extent(text: str, reader: str, **options: object) -> tuple[float, float, float, float]:
    shown = READERS[reader](drawn(lambda surface: surface.text((50, 50), text, 8, **options)), PPI)  # type: ignore[arg-type]
    return extent_mm(dark(shown, 160))


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(("anchor", "share"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
def test_text_starts_where_its_anchor_says(anchor: str, share: float, reader: str) -> None:
    # H has side bearings of 77 and 75 thousandths of the em and a height of 718 (Helvetica.afm).
    left, top, right, bottom = text_extent("HHHH", reader, anchor=anchor)
    width = text_width_mm("HHHH", 8)
    assert left == pytest.approx(50 - share * width + 0.62, abs=0.25)
    assert right == pytest.approx(50 + (1 - share) * width - 0.6, abs=0.25)
    assert (top, bottom) == pytest.approx((50 - 0.718 * 8, 50), abs=0.25)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("text", ["HHHH", "ФФФФ"])
def test_a_positive_angle_turns_text_clockwise(text: str, reader: str) -> None:
    left, top, right, bottom = text_extent(text, reader, rotation_deg=90)
    assert bottom - top > 2 * (right - left)
    assert left > 49 and top > 49  # read downwards, its baseline on the left


SCRIPTS = {"Greek": "Φάρος λιμανιού", "Cyrillic": "Фонарь гавани", "Japanese": "灯台の札", "Korean": "항구의 등불",
           "Arabic": "مصباح الميناء", "Hebrew": "פנס הנמל", "Thai": "ประภาคาร", "Hindi": "बंदरगाह", "Polish": "Łódź ś"}


@pytest.mark.parametrize("name", SCRIPTS)
def test_text_outside_winansi_shows_and_can_be_searched(name: str) -> None:
    text = SCRIPTS[name]
    pdf = drawn(lambda surface: surface.text((5, 50), text, 6))
    for reader in READERS:
        mask = dark(READERS[reader](pdf, PPI), 160)
        left, top, right, bottom = extent_mm(mask)
        assert left > 4.5 and right < 5.5 + text_width_mm(text, 6)  # never wider than the layout reckoned
        assert 42 < top < bottom < 53.5
        assert mask.mean() > 0.0005 * len(text) / 10
    if name in ("Greek", "Cyrillic", "Polish", "Japanese", "Korean"):
        assert text in pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded()


def test_winansi_text_is_helvetica_and_can_be_searched() -> None:
    pdf = drawn(lambda surface: surface.text((5, 50), "50 mm (Käfig \\ 5 €)", 4))
    with pikepdf.open(io.BytesIO(pdf)) as document:
        (font,) = document.pages[0].Resources.Font.values()
        assert (font.BaseFont, font.Encoding) == ("/Helvetica", "/WinAnsiEncoding")
    assert "50 mm (Käfig \\ 5 €)" in pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded()


def test_control_characters_never_reach_the_page() -> None:
    def draw(surface: PdfSurface) -> None:
        surface.text((5, 20), "one\ntwo\x00", 4)
        surface.text((5, 40), "\n\t", 4)
        surface.text((5, 60), "три\nчетыре", 4)
    text = pypdfium2.PdfDocument(drawn(draw))[0].get_textpage().get_text_bounded()
    assert "one two" in text and "три четыре" in text


def test_scripts_mix_in_one_line_and_what_sheets_share_is_set_once() -> None:
    def draw(surface: PdfSurface) -> None:
        for at in range(5):
            surface.text((5, 10 + 10 * at), f"sheet {at} of 5   Лампа 灯台 (x)", 4)
    pdf = drawn(draw)
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages[0].Resources.XObject) == 1
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded()
    assert [f"sheet {at} of 5" in text for at in range(5)] == [True] * 5
    assert text.count("Лампа 灯台") == 5
    # Nothing overlaps: the gap before "(x)" is one space wide, as before any word.
    shown = dark(READERS["pdfium"](pdf, PPI)[:130], 160)
    columns = np.nonzero(shown.any(axis=0))[0]
    assert np.diff(columns).max() / 10 < 4 * 0.278 * 4


@pytest.mark.parametrize(("line", "expected"), [
    ("abc d", [("abc d", True)]), ("a Я b", [("a ", True), ("Я", False), (" b", True)]),
    ("Я  Я я", [("Я  Я я", False)]), ("Яa 5", [("Яa", False), (" 5", True)]), ("a פנס 5", [("a פנס 5", False)]),
])
def test_runs_are_cut_between_words(line: str, expected: list[tuple[str, bool]]) -> None:
    assert list(runs(line)) == expected


def test_the_same_line_is_set_once() -> None:
    def draw(surface: PdfSurface) -> None:
        for at in range(5):
            surface.text((5, 10 + 10 * at), "Фонарь", 4 + at)
    with opened(draw) as document:
        assert len(document.pages[0].Resources.XObject) == 1


def test_written_numbers_hold_a_page_to_within_half_a_thousandth_of_a_point(tmp_path: Path) -> None:
    # The matrix that art is drawn with, read back by pikepdf, against the one that was asked for.
    path = tmp_path / "a.png"
    Image.new("L", (3, 3)).save(path)
    art = art_of(path, "png", 3, 3)
    asked = Affine.turn(0.37, (148.5, 210)).after(Affine(88.9 / 3, 0, 0, 63.5 / 7, 120.123456, 333.98765))
    with opened(lambda surface: surface.art(art, asked), paths={art.key: path}, size=(297, 420)) as document:
        reached = Affine()
        for operands, operator in pikepdf.parse_content_stream(document.pages[0]):
            if str(operator) == "cm":
                reached = reached.after(Affine(*(float(value) for value in operands)))
    k = 72 / 25.4
    for x, y in ((0, 0), (1, 0), (0, 1), (1, 1)):
        px, py = asked((x, 1 - y))
        assert math.dist(reached((x, y)), (px * k, (420 - py) * k)) < 5e-4
