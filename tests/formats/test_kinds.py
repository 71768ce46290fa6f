"""Kinds by content."""

from __future__ import annotations

import pytest

from server.formats.header import HEAD_BYTES, ending_of, kind_of
from tests.formats.artwork import PICTURES, encoded, pdf


@pytest.mark.parametrize("kind", PICTURES)
def test_each_format_is_known_by_what_pillow_writes(kind: str) -> None:
    assert kind_of(encoded(kind)[:HEAD_BYTES]) == kind.lower()


def test_a_pdf_is_known_also_behind_leading_bytes() -> None:
    # PDF Reference 1.7, Appendix H, note 13: the header may come anywhere within the first 1,024 bytes.
    data = pdf()
    assert kind_of(data[:HEAD_BYTES]) == "pdf"
    assert kind_of((b"\n" * 1000 + data)[:HEAD_BYTES]) == "pdf"
    assert kind_of((b"\n" * 1024 + data)[:HEAD_BYTES]) is None


@pytest.mark.parametrize("head", [
    b"", b"\x89PNG", b"GIF89a" + b"\0" * 20, b"BM" + b"\0" * 60, b"%!PS-Adobe-3.0 EPSF-3.0", b"8BPS\0\1" + b"\0" * 30,
    b"\0\0\0\x0cjP  \r\n\x87\n", b"<html><svg xmlns='http://www.w3.org/2000/svg'/>", b"RIFF\x24\0\0\0WAVEfmt ",
    b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", b"PK\x03\x04", b"harbour lamps",
])
def test_nothing_else_is_taken_for_art(head: bytes) -> None:
    assert kind_of(head) is None


def test_an_avif_may_name_its_brand_second() -> None:
    # ISO/IEC 14496-12, 4.3: major brand, minor version, compatible brands.
    assert kind_of(b"\0\0\0\x1cftypmif1\0\0\0\0miafavif\0\0\0\0") == "avif"
    assert kind_of(b"\0\0\0\x14ftypmif1avifmiaf") is None  # "avif" as the version says nothing


@pytest.mark.parametrize(("file", "ending"), [
    ("fronts/a.PNG", "png"), ("fronts/a.tar.gz", "gz"), ("fronts.d/a", ""), (".png", ""), ("a.", ""),
])
def test_endings(file: str, ending: str) -> None:
    assert ending_of(file) == ending
