"""Text widths against independent copies of Helvetica's metrics."""

from __future__ import annotations

import ctypes

import pymupdf
import pypdfium2
import pypdfium2.raw
import pytest

from server.core.lettering import HELVETICA_WIDTHS, plain_line, text_width_mm, winansi


def test_ascii_widths_are_those_of_pdfiums_helvetica() -> None:
    # Source: PDFium's own standard font, made to the Core 14 metrics.
    document = pypdfium2.PdfDocument.new()
    font = pypdfium2.raw.FPDFText_LoadStandardFont(document.raw, b"Helvetica")
    width = ctypes.c_float()
    for code in range(32, 127):
        assert pypdfium2.raw.FPDFFont_GetGlyphWidth(font, code, 1000.0, ctypes.byref(width))
        assert HELVETICA_WIDTHS[code - 32] == round(width.value), chr(code)
    pypdfium2.raw.FPDFFont_Close(font)
    document.close()


def test_all_winansi_widths_are_those_of_nimbus_sans() -> None:
    # Source: Nimbus Sans, the metric-compatible Helvetica inside MuPDF.
    font = pymupdf.Font("helv")
    for code in range(32, 256):
        if code in (0x7F, 0x81, 0x8D, 0x8F, 0x90, 0x9D):  # empty in WinAnsi, ISO 32000-1, Annex D.2
            assert HELVETICA_WIDTHS[code - 32] == 0
        else:
            assert HELVETICA_WIDTHS[code - 32] == round(1000 * font.glyph_advance(ord(bytes([code]).decode("cp1252"))))


def test_a_line_is_the_sum_of_its_letters() -> None:
    # Lamp: 556 + 556 + 833 + 556 thousandths (Helvetica.afm).
    assert text_width_mm("Lamp", 10.0) == pytest.approx(25.01)
    assert text_width_mm("", 10.0) == 0.0
    assert text_width_mm("灯台", 5.0) == pytest.approx(10.0)  # wide characters fill the em


def test_what_winansi_holds() -> None:
    assert winansi("Käfig – 5 €") == "Käfig – 5 €".encode("cp1252")
    assert winansi("Фонарь") is None
    assert winansi("a\x7f") is None
    assert winansi("a\nb") is None


def test_a_line_has_no_control_characters() -> None:
    assert plain_line("one\ntwo\x00\u2028three\ud800 ") == "one two  three?"
