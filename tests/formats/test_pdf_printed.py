"""Annotations and form fields: a card prints, and the screen shows, what pdfium prints of the page by itself.

Flags by ISO 32000-1, 12.5.3; placing of an appearance by 12.5.5. Pages are small and rendered at 72 ppi.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name

from server.core.art import Art
from server.formats.limits import DEFAULT_LIMITS
from server.formats.pdf_pages import read_pdf
from server.formats.pixels import upright
from tests.drawing.pdf_help import by_pdfium, page_of

WIDTH, HEIGHT = 96, 132
PRINT, HIDDEN, NO_VIEW, NO_ROTATE, NO_ZOOM, LOCKED = 4, 2, 32, 16, 8, 128
CONTENT = b"0.85 0.9 1 rg 0 0 200 200 re f 0.1 0.5 0.2 rg 10 10 30 20 re f"
Made = Callable[[pikepdf.Pdf], Dictionary]


def stamp(flags: int = PRINT, box: tuple[float, ...] = (0, 0, 50, 20), matrix: tuple[float, ...] = (1, 0, 0, 1, 0, 0),
          rect: tuple[float, ...] = (24.4, 40.3, 83.7, 88.6), subtype: Name = Name.Stamp, **more: object) -> Made:
    """A red appearance with a blue corner."""
    def make(document: pikepdf.Pdf) -> Dictionary:
        look = document.make_stream(b"1 0 0 rg 0 0 50 20 re f 0 0 1 rg 0 0 12 12 re f", Type=Name.XObject,
                                    Subtype=Name.Form, BBox=Array(box), Matrix=Array(matrix))
        return Dictionary(Type=Name.Annot, Subtype=subtype, Rect=Array(rect), F=flags, AP=Dictionary(N=look), **more)
    return make


def choice(state: Name) -> Made:
    """A ticked or unticked box: an appearance for each state, chosen by /AS."""
    def make(document: pikepdf.Pdf) -> Dictionary:
        tick = document.make_stream(b"0 0 0 rg 2 2 16 16 re f", Type=Name.XObject, Subtype=Name.Form,
                                    BBox=Array((0, 0, 20, 20)))
        clear = document.make_stream(b"0.5 G 1 1 18 18 re S", Type=Name.XObject, Subtype=Name.Form,
                                     BBox=Array((0, 0, 20, 20)))
        return Dictionary(Type=Name.Annot, Subtype=Name.Widget, FT=Name.Btn, T="tick", Rect=Array((30, 40, 60, 70)),
                          F=PRINT, V=state, AS=state, AP=Dictionary(N=Dictionary(Yes=tick, Off=clear)))
    return make


def by_mupdf(kind: str) -> Made:
    """As a drawing program writes it, its appearance included."""
    def make(document: pikepdf.Pdf) -> Dictionary:
        with pymupdf.open() as made:
            page = made.new_page(width=WIDTH, height=HEIGHT)
            add(page, kind)
            with pikepdf.open(io.BytesIO(made.tobytes())) as other:
                found = document.copy_foreign(other.make_indirect(other.pages[0].Annots[0]))
        if "/P" in found:
            del found["/P"]
        found.F = PRINT
        return found
    return make


def add(page: pymupdf.Page, kind: str) -> None:
    if kind == "ink":
        annotation = page.add_ink_annot([[(20, 30), (40, 60), (70, 35), (80, 90)]])
        annotation.set_border(width=4)
        annotation.set_colors(stroke=(0.7, 0, 0.4))
    elif kind == "highlight":
        annotation = page.add_highlight_annot(pymupdf.Rect(5, 100, 60, 125))
    elif kind == "square":
        annotation = page.add_rect_annot((20, 30, 70, 80))
        annotation.set_colors(stroke=(1, 0, 0), fill=(1, 1, 0))
    elif kind == "note":
        annotation = page.add_freetext_annot((15, 40, 85, 70), "Lamp 12", fontsize=14, fill_color=(1, 1, 0.8))
    else:
        widget = pymupdf.Widget()
        widget.field_name, widget.field_value, widget.rect = "name", "Harbour", pymupdf.Rect(10, 50, 86, 74)
        widget.field_type, widget.fill_color, widget.text_fontsize = pymupdf.PDF_WIDGET_TYPE_TEXT, (1, 1, 0), 12  # type: ignore[attr-defined]
        page.add_widget(widget)
        return
    annotation.update()


KINDS: dict[str, Made] = {
    "stamp": stamp(), "turned appearance": stamp(matrix=(0, 1, -1, 0, 5, 7)),
    "slanted appearance": stamp(matrix=(0.8, 0.6, -0.6, 0.8, 3, -4)), "part of a box": stamp(box=(5, 4, 33, 18)),
    "upright": stamp(PRINT | NO_ROTATE),
    "upright, turned appearance": stamp(PRINT | NO_ROTATE, matrix=(0, 1, -1, 0, 5, 7)),
    "locked": stamp(PRINT | LOCKED), "print, not view": stamp(PRINT | NO_VIEW), "tick": choice(Name.Yes),
    "no tick": choice(Name.Off), "ink": by_mupdf("ink"), "highlight": by_mupdf("highlight"),
    "square": by_mupdf("square"), "note": by_mupdf("note"), "field": by_mupdf("field"),
}
PAGES: dict[str, dict[str, object]] = {
    "plain": {}, "turned 90": {"Rotate": 90}, "turned 180": {"Rotate": 180},
    "cropped, turned 270": {"Rotate": 270, "CropBox": Array((8, 12, 90, 126))},
    "UserUnit, cropped": {"UserUnit": 2.5, "CropBox": Array((6, 4, 92, 120))},
}
NOT_PRINTED: dict[str, Made] = {
    "no flag": stamp(0), "hidden": stamp(PRINT | HIDDEN), "only for the screen": stamp(NO_ZOOM | NO_ROTATE),
    "popup": stamp(subtype=Name.Popup, Open=True),
    "link": lambda _: Dictionary(Type=Name.Annot, Subtype=Name.Link, Rect=Array((20, 40, 80, 90)), F=PRINT,
                                 Border=Array((0, 0, 4)), C=Array((1, 0, 0))),
}
ODD: dict[str, tuple[Made, bytes, dict[str, object]]] = {
    "rect from the wrong corner": (stamp(rect=(84, 88, 24, 40)), CONTENT, {}),
    "empty page": (stamp(), b"", {}),
    "content leaves its matrix": (stamp(), b"0.5 0 0 0.5 9 0 cm " + CONTENT, {}),
    "content leaves states open": (stamp(), b"q q 0.5 0 0 0.5 9 0 cm " + CONTENT, {"Rotate": 90}),
    "content closes too many": (stamp(), CONTENT + b" Q Q 3 0 0 3 0 0 cm", {}),
    "no appearance's box": (stamp(box=(0, 0, 0, 0)), CONTENT, {}),
    "made by the reader": (lambda _: Dictionary(Type=Name.Annot, Subtype=Name.Square, Rect=Array((20, 40, 80, 90)),
                                                F=PRINT, C=Array((1, 0, 0)), IC=Array((0, 1, 0))), CONTENT, {}),
    "link with an appearance": (stamp(subtype=Name.Link), CONTENT, {}),
    "kind nobody knows": (stamp(subtype=Name.Beacon), CONTENT, {}),
}


def saved(folder: Path, made: Made | None, content: bytes = CONTENT, page: dict[str, object] | None = None) -> Path:
    document = pikepdf.new()
    sheet = document.add_blank_page(page_size=(WIDTH, HEIGHT))
    sheet.Contents = document.make_stream(content)
    for key, value in (page or {}).items():
        sheet.obj[Name("/" + key)] = value
    if made:
        annotation = document.make_indirect(made(document))
        sheet.obj.Annots = Array((annotation,))
        if annotation.Subtype == Name.Widget:
            document.Root.AcroForm = Dictionary(Fields=Array((annotation,)), DA="/Helv 12 Tf 0 g")
    path = folder / f"{'with' if made else 'without'}.pdf"
    document.save(path)
    return path


def printed_by_pdfium(path: Path) -> np.ndarray:
    with pypdfium2.PdfDocument(path) as document:
        document.init_forms()
        return np.asarray(document[0].render(optimize_mode="print").to_pil().convert("RGB")).astype(int)


def as_card(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """(what pdfium shows of a card of that page, what the screen shows of it)."""
    height, width = printed_by_pdfium(path).shape[:2]
    page, = read_pdf(path, path.name, DEFAULT_LIMITS)
    art = Art(path.name, path.name, "pdf", size_mm=page.size_mm)
    shown = np.asarray(upright(path, art, max(width, height))).astype(int)
    return by_pdfium(page_of(art, path, width, height)), shown


def differing(first: np.ndarray, second: np.ndarray, by: int = 60) -> float:
    assert first.shape == second.shape
    return float((np.abs(first - second).max(axis=2) > by).mean())


@pytest.mark.parametrize("kind", KINDS)
def test_what_prints_of_a_page_prints_of_its_card(tmp_path: Path, kind: str) -> None:
    for name, page in PAGES.items():
        path = saved(tmp_path, KINDS[kind], page=page)
        alone, bare = printed_by_pdfium(path), printed_by_pdfium(saved(tmp_path, None, page=page))
        seen = differing(alone, bare)
        assert seen > 0.005, name
        printed, shown = as_card(path)
        # pdfium sets a field's text anew, in letters of its own.
        assert differing(printed, alone) < (0.1 * seen if kind == "field" else 0.004), name
        assert differing(shown, alone) < 0.03, name


@pytest.mark.parametrize("kind", ODD)
def test_odd_pages_print_as_a_reader_prints_them(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path, *ODD[kind])
    printed, shown = as_card(path)
    assert differing(printed, printed_by_pdfium(path)) < 0.004
    assert differing(shown, printed_by_pdfium(path)) < 0.03


@pytest.mark.parametrize("kind", NOT_PRINTED)
def test_what_is_not_for_print_stays_away(tmp_path: Path, kind: str) -> None:
    path = saved(tmp_path, NOT_PRINTED[kind])
    bare = printed_by_pdfium(saved(tmp_path, None))
    assert differing(printed_by_pdfium(path), bare, 0) == 0  # pdfium agrees
    for seen in as_card(path):
        assert differing(seen, bare) < 0.002
