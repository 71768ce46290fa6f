"""The file around the art: structure, strings and numbers by ISO 32000-1, 7.2 to 7.5, read back by qpdf."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterator
from pathlib import Path

import pikepdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.drawing.pdf_file import PdfFile, literal, number, text_string
from server.errors import Unreadable


def small_pdf(text: bytes = b"hello", entries: bytes = b"") -> bytes:
    out = io.BytesIO()
    file = PdfFile(out)
    tree = file.reserve()
    stream = file.put_deflated(entries, text)
    page = file.put(b"<</Type /Page /Parent %d 0 R /MediaBox [0 0 72 72] /Contents %d 0 R /Resources <<>>>>"
                    % (tree, stream))
    file.put(b"<</Type /Pages /Count 1 /Kids [%d 0 R]>>" % page, tree)
    file.close(file.put(b"<</Type /Catalog /Pages %d 0 R>>" % tree), file.put(b"<</Title (t)>>"))
    return out.getvalue()


def test_every_object_is_where_the_table_says() -> None:
    pdf = small_pdf()
    start = int(pdf.rsplit(b"startxref\n", 1)[1].split(b"\n")[0])
    assert pdf[start:start + 5] == b"xref\n"
    rows = pdf[start:].split(b"trailer")[0].split(b"\n", 2)[2]
    assert len(rows) % 20 == 0  # 7.5.4: each entry is 20 bytes, end of line included
    for at in range(1, len(rows) // 20):
        row = rows[at * 20:at * 20 + 20]
        assert row[10:18] == b" 00000 n"
        assert pdf[int(row[:10]):].startswith(b"%d 0 obj\n" % at)


def test_qpdf_reads_it_without_a_complaint() -> None:
    with pikepdf.open(io.BytesIO(small_pdf())) as document:
        assert document.check_pdf_syntax() == []
        assert document.pdf_version == "1.7"
        assert document.pages[0].Contents.read_bytes() == b"hello"


def test_the_same_content_has_the_same_identifier_and_other_content_another() -> None:
    def identifier(pdf: bytes) -> bytes:
        with pikepdf.open(io.BytesIO(pdf)) as document:
            first, second = document.trailer.ID
            assert bytes(first) == bytes(second)
            return bytes(first)
    assert identifier(small_pdf()) == identifier(small_pdf())
    assert identifier(small_pdf(b"other")) != identifier(small_pdf())
    assert identifier(small_pdf(entries=b"/Some 1")) != identifier(small_pdf())


def test_mistakes_of_the_caller_are_told() -> None:
    file = PdfFile(io.BytesIO())
    reserved = file.reserve()
    with pytest.raises(ValueError, match="never written"):
        file.close(1, 1)
    file.put(b"null", reserved)
    with pytest.raises(ValueError, match="already written"):
        file.put(b"null", reserved)


def in_pieces(whole: bytes) -> Iterator[memoryview]:
    """Each good only until the next is asked for."""
    buffer = bytearray(99_999)
    for at in range(0, len(whole), len(buffer)):
        piece = whole[at:at + len(buffer)]
        buffer[:len(piece)] = piece
        yield memoryview(buffer)[:len(piece)]


@pytest.mark.parametrize("places", [True, False])
def test_large_streams_of_many_parts_are_whole_on_disk(tmp_path: Path, places: bool,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    if not places:
        monkeypatch.delattr(os, "pwrite", raising=False)
    parts = [os.urandom(size) for size in (70_000, 1, 0, 65_536, 300_000, *([997] * 1200))]
    poured = [os.urandom(size) for size in (*([400_000, 10, 70_000] * 50), 0)]  # more than may wait
    with (tmp_path / "out.pdf").open("wb", buffering=0) as out:
        out.write(b"%before")  # it goes on where the file stands
        file = PdfFile(out)
        number = file.put_stream(b"", [memoryview(part) for part in parts])
        numbers = [file.pour_stream(b"", len(whole), in_pieces(whole), b"") for whole in poured]
        file.close(file.put(b"<</Type /Catalog /Pages %d 0 R>>" % file.put(b"<</Type /Pages /Count 0 /Kids []>>")),
                   file.put(b"<<>>"))
        assert out.tell() == (tmp_path / "out.pdf").stat().st_size
    with pikepdf.open(io.BytesIO((tmp_path / "out.pdf").read_bytes().removeprefix(b"%before"))) as document:
        assert document.get_object(number, 0).read_raw_bytes() == b"".join(parts)
        for made, whole in zip(numbers, poured, strict=True):
            assert document.get_object(made, 0).read_raw_bytes() == whole


def test_what_pours_and_fails_is_told_by_a_later_call(tmp_path: Path) -> None:
    def broken() -> Iterator[bytes]:
        yield bytes(300_000)
        raise Unreadable("lamp.png: is torn.")
    with (tmp_path / "out.pdf").open("wb", buffering=0) as out:
        file = PdfFile(out)
        with pytest.raises(Unreadable, match="torn"):
            file.pour_stream(b"", 600_000, broken(), b"")
            file.close(file.put(b"null"), file.put(b"null"))
        file.release()


def test_a_system_that_writes_less_than_it_was_given_is_asked_again(tmp_path: Path,
                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    # POSIX pwrite may write a part of what it was given and says how much.
    if not hasattr(os, "pwrite"):
        pytest.skip("this system has no writing to a place")
    whole = os.pwrite
    monkeypatch.setattr(os, "pwrite", lambda handle, part, at: whole(handle, part[:1000], at))
    parts = [os.urandom(100_000) for _ in range(4)]
    with (tmp_path / "out.pdf").open("wb", buffering=0) as out:
        file = PdfFile(out)
        number = file.put_stream(b"", parts)
        file.close(file.put(b"<</Type /Catalog /Pages %d 0 R>>" % file.put(b"<</Type /Pages /Count 0 /Kids []>>")),
                   file.put(b"<<>>"))
    with pikepdf.open(tmp_path / "out.pdf") as document:
        assert document.get_object(number, 0).read_raw_bytes() == b"".join(parts)


@given(st.binary(max_size=60))
def test_any_bytes_survive_as_a_string(data: bytes) -> None:
    assert bytes(pikepdf.Object.parse(literal(data))) == data


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_any_text_survives_as_a_text_string(text: str) -> None:
    assert str(pikepdf.Object.parse(text_string(text))) == text


@given(st.floats(-1e5, 1e5), st.integers(0, 8))
def test_numbers_have_no_exponent_and_are_near_enough(value: float, digits: int) -> None:
    text = number(value, digits)
    assert set(text) <= set("-.0123456789")
    assert text not in ("-0", "") and not text.endswith(".")
    assert math.isclose(float(text), value, rel_tol=0, abs_tol=0.5000001 * 10 ** -digits)
