"""PDF objects read and written, against qpdf's own reading and ISO 32000-1."""

from __future__ import annotations

import pikepdf
import pytest

from server.formats.pdf_syntax import parse, written


@pytest.mark.parametrize("text", [
    b"<</A (a\\)b(nested \\( )c) /B<0aF>/C[1 2 3] /E/Name#20x /F null/G -1.5/H true/I .5/J +3>>",
    b"[(\\\\) (\\\\\\)) () <> /]", b"<</A<</B<</C [[[]]]>>>>>>", b"(12 0 R % no comment)", b"[1%comment ( \n2]",
])
def test_objects_are_read_and_written_as_qpdf_reads_them(text: bytes) -> None:
    ours = written(parse(text), lambda number: number)
    assert pikepdf.Object.parse(ours) == pikepdf.Object.parse(text)


def test_references_and_nothing_else_are_renumbered() -> None:
    # ISO 32000-1, 7.3.10: two integers and R; not within strings, names or comments, not across a longer word.
    text = b"<</A 12 0 R/B[1 0 R 2 0 R%3 0 R\n4\t0\nR]/C(5 0 R)/7 0/D[1 0]/E[8 0 Rx]>>"
    assert written(parse(text), lambda number: number + 100) == (
        b"<</A 112 0 R /B [101 0 R 102 0 R 104 0 R] /C (5 0 R) /7 0 /D [1 0] /E [8 0 Rx]>>")


@pytest.mark.parametrize("text", [b"<</A", b"(abc", b"[1 2", b"<</A 1 2>>", b"<0a", b")", b"", b"[" * 100 + b"]" * 100])
def test_what_is_no_object_is_refused(text: bytes) -> None:
    with pytest.raises(ValueError, match=r".+"):
        parse(text)
