"""Nudge: shift, turn and scale the back pages of a PDF that exists already, nothing else touched.

A back page's content is carried by one matrix, written before it as a stream of its own: no stream of the file is
decoded, none that pages share is changed, page sizes and boxes stay. Runs in a worker, a server's or the command
line's, never on a server's request (PyMuPDF holds the interpreter and isn't thread-safe).
"""

from __future__ import annotations

import re
import secrets
import shutil
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

from server.core.geometry import Affine, Rect, bounds
from server.core.methods.duplex import turn_of
from server.core.registration.correction import back_correction
from server.core.registration.printer import Printer
from server.core.units import POINTS_PER_MM, mm_text
from server.core.wording import page_list_text, parse_pages
from server.errors import BadValue, Unreadable

pymupdf: Any = import_module("pymupdf")
mupdf = pymupdf.mupdf
pymupdf.TOOLS.mupdf_display_errors(False)  # they would land between our own lines on stderr
pymupdf.TOOLS.mupdf_display_warnings(False)

# A page within this of the paper is that paper: ISO 216 allows 2 mm on sides up to 600 mm.
_SAME_PAPER_MM = 2.0
_SEEN_MM = 0.05  # what runs off by less is nothing that anybody could see


@dataclass(frozen=True, slots=True)
class Nudged:
    """What was done: pages in all, the numbers (from 1) of those moved, and what a person should look at."""

    pages: int
    moved: tuple[int, ...]
    warnings: tuple[str, ...]


@dataclass
class _Findings:
    """What is noticed page by page, gathered by what it says."""

    off_paper: dict[str, dict[int, float]] = field(default_factory=dict)
    other_size: list[int] = field(default_factory=list)
    landscape: list[int] = field(default_factory=list)
    annotated: list[int] = field(default_factory=list)

    def warnings(self, printer: Printer) -> tuple[str, ...]:
        found = []
        for edge, pages in self.off_paper.items():
            found.append(f"Content of {page_list_text(pages)} runs off the paper by up to "
                         f"{mm_text(max(pages.values()), 1)} mm at the {edge}.")
        if self.other_size:
            found.append(f"The size of {page_list_text(self.other_size)} isn't {printer.paper.label}, on which "
                         f"{printer.name} was measured: the correction holds if it is printed in the paper's middle.")
        if self.landscape:
            found.append(f"{page_list_text(self.landscape).capitalize()} lie across: a printer may turn them either "
                         "way, and a clockwise turn was taken. Print one sheet and look before the rest.")
        if self.annotated:
            found.append(f"Notes or form fields on {page_list_text(self.annotated)} stay where they are.")
        return tuple(found)


def nudge_pdf(source: Path, out: Path, printer: Printer, backs: Iterable[int], label: str = "") -> Nudged:
    """Write ``source`` to ``out``, the pages ``backs`` (from 0) drawn through ``printer``'s back correction.

    Raises BadValue where the printer has no drift or a page isn't there, Unreadable where ``source`` is no PDF that
    can be changed; ``label`` is what errors call it. ``out`` is written beside its place and moved there when whole.
    """
    label = label or source.name
    if printer.drift is None:
        raise BadValue(f"printer: {printer.name} isn't trued up.", "Print and read the test sheet first.")
    under_way = out.with_name(f".{out.name}.{secrets.token_hex(4)}.part")
    try:
        shutil.copyfile(source, under_way)
        with _opened(under_way, label) as document:
            numbers = sorted(set(backs))
            if not numbers or numbers[0] < 0 or numbers[-1] >= document.page_count:
                raise BadValue(f"backs: {label} has {document.page_count} pages, and no page to move was found among "
                               f"{page_list_text(number + 1 for number in numbers) or 'none'}.",
                               "Name pages that are there, such as even or 2,4,6-8.")
            findings = _Findings()
            try:
                _move_pages(document, numbers, printer, findings)
                whole = _saved(document, under_way)
            except (RuntimeError, ValueError) as error:  # PyMuPDF's errors
                raise Unreadable(f"{label}: can't be changed ({_one_line(error)}).",
                                 "Print it to a new PDF and nudge that.") from None
            count = document.page_count
        whole.replace(out)
        return Nudged(count, tuple(number + 1 for number in numbers), findings.warnings(printer))
    finally:
        under_way.unlink(missing_ok=True)
        _anew(under_way).unlink(missing_ok=True)


def nudge_named(source: Path, out: Path, printer: Printer, backs: str, label: str, argument: str = "backs") -> Nudged:
    """``nudge_pdf`` of the pages that ``backs`` names: ``even``, ``odd`` or a list. Raises BadValue, naming
    ``argument``, for pages that aren't there."""
    with _opened(source, label) as document:
        numbers = parse_pages(backs, int(document.page_count), argument)
    return nudge_pdf(source, out, printer, [number - 1 for number in numbers], label)


def _saved(document: Any, path: Path) -> Path:
    """What was changed is added to the file's end, so that all that stood there stays as it is; a file that had to be
    mended is written anew, beside it. Returns where the whole is."""
    if document.can_save_incrementally():
        document.saveIncr()
        return path
    document.save(_anew(path))
    return _anew(path)


def _anew(path: Path) -> Path:
    return path.with_suffix(".anew")


def page_correction(printer: Printer, width_mm: float, height_mm: float) -> Affine:
    """What a back page of that size is drawn through, as it is seen on a screen: mm, origin top-left, y down.

    The page's middle is taken to lie in the paper's. A page that lies across is turned by a quarter clockwise to
    stand on the paper, corrected there and turned back.
    """
    if printer.drift is None:
        return Affine()
    paper = printer.page.centre
    move = back_correction(printer.drift, turn_of(printer.flip, printer.paper))
    wide = width_mm > height_mm
    stand = Affine.shift(height_mm, 0.0).after(Affine.turn(90)) if wide else Affine()
    centre = (height_mm / 2, width_mm / 2) if wide else (width_mm / 2, height_mm / 2)
    onto = Affine.shift(paper[0] - centre[0], paper[1] - centre[1]).after(stand)
    return onto.inverse().after(move).after(onto)


def _opened(path: Path, label: str) -> Any:
    fix = "Choose a PDF file."
    try:
        document: Any = pymupdf.open(str(path), filetype="pdf")
    except (RuntimeError, ValueError) as error:
        raise Unreadable(f"{label}: no PDF that can be read ({_one_line(error)}).", fix) from None
    if document.needs_pass:
        document.close()
        raise Unreadable(f"{label}: is locked with a password.", "Save a copy without one.")
    if not document.page_count:
        document.close()
        raise Unreadable(f"{label}: has no page.", fix)
    return document


@dataclass(frozen=True, slots=True)
class _Move:
    """One kind of page: its size as it is seen in mm, the correction there, the operator that does it, and whether
    it is another paper than the printer's."""

    paper: Rect
    seen: Affine
    operator: bytes
    other_size: bool


def _move_pages(document: Any, numbers: list[int], printer: Printer, findings: _Findings) -> None:
    pdf = mupdf.pdf_document_from_fz_document(document)
    _part_shared_pages(document, numbers)
    pieces: dict[bytes, Any] = {}
    moves: dict[tuple[float, ...], _Move] = {}
    ctm, box, eye = mupdf.FzMatrix(), mupdf.FzRect(), _Eye()
    for number in numbers:
        page = mupdf.pdf_load_page(pdf, number)
        obj = page.obj()
        mupdf.pdf_page_obj_transform(obj, box, ctm)
        kind = (box.x0, box.y0, box.x1, box.y1, ctm.a, ctm.b, ctm.c, ctm.d, ctm.e, ctm.f)
        if kind not in moves:
            moves[kind] = _move(Rect(box.x0, box.y0, box.x1 - box.x0, box.y1 - box.y0), Affine(*kind[4:]), printer)
        _look(eye, page, obj, number + 1, moves[kind], findings)
        _put_before(pdf, obj, moves[kind].operator, pieces)


def _move(box: Rect, transform: Affine, printer: Printer) -> _Move:
    """``box`` in the page's own units; ``transform`` carries them to points as they are seen, y down: it holds
    Rotate, UserUnit and the box's own corner (ISO 32000-1, Table 30)."""
    to_mm = Affine.scaling(1 / POINTS_PER_MM, 1 / POINTS_PER_MM).after(transform)
    seen = bounds(to_mm(corner) for corner in box.corners)
    to_mm = Affine.shift(-seen.x, -seen.y).after(to_mm)
    correction = page_correction(printer, seen.width, seen.height)
    own = to_mm.inverse().after(correction).after(to_mm)
    values = " ".join(_number(value) for value in (own.a, own.b, own.c, own.d, own.e, own.f))
    short, long = sorted((seen.width, seen.height))
    paper = printer.paper
    other = max(abs(short - paper.width_mm), abs(long - paper.height_mm)) > _SAME_PAPER_MM
    return _Move(Rect(0.0, 0.0, seen.width, seen.height), correction, f"{values} cm\n".encode("ascii"), other)


def _part_shared_pages(document: Any, numbers: list[int]) -> None:
    """A page object that the file uses twice would be moved twice, or move with a front: each back gets its own."""
    uses = Counter(_page_xrefs(document))
    if len(uses) == document.page_count:
        return
    for number in numbers:
        xref = document.page_xref(number)
        if uses[xref] > 1:
            uses[xref] -= 1
            document.fullcopy_page(number, number)
            document.delete_page(number + 1)


def _page_xrefs(document: Any) -> Iterator[int]:
    """The object numbers of all pages: from a flat page tree in one go, otherwise one by one."""
    kind, pages = document.xref_get_key(document.pdf_catalog(), "Pages")
    if kind == "xref":
        array = document.xref_get_key(int(pages.split()[0]), "Kids")[1]
        kids = [int(found) for found in re.findall(r"(\d+) 0 R", array)]
        if len(kids) == document.page_count:
            yield from kids
            return
    yield from (document.page_xref(number) for number in range(document.page_count))


def _put_before(pdf: Any, page: Any, operator: bytes, pieces: dict[bytes, Any]) -> None:
    """Put the matrix before the page's content.

    It isn't enclosed in ``q`` and ``Q``: the matrix then holds to the page's end whatever the content leaves open, and
    a ``Q`` too many in the content still finds nothing to restore, which readers pass over as they did before.
    """
    contents = mupdf.pdf_dict_get(page, mupdf.PDF_ENUM_NAME_Contents)
    parts = mupdf.pdf_new_array(pdf, 2)
    mupdf.pdf_array_push(parts, _piece(pdf, operator, pieces))
    if mupdf.pdf_is_array(contents):
        for at in range(mupdf.pdf_array_len(contents)):
            mupdf.pdf_array_push(parts, mupdf.pdf_array_get(contents, at))
    elif mupdf.pdf_is_stream(contents):
        mupdf.pdf_array_push(parts, contents)
    mupdf.pdf_dict_put(page, mupdf.PDF_ENUM_NAME_Contents, parts)


def _piece(pdf: Any, content: bytes, pieces: dict[bytes, Any]) -> Any:
    """A stream object with that content, the same for all pages that need the same."""
    if content not in pieces:
        buffer = mupdf.fz_new_buffer_from_copied_data(content)
        pieces[content] = mupdf.pdf_add_stream(pdf, buffer, mupdf.pdf_new_dict(pdf, 1), 0)
    return pieces[content]


def _look(eye: _Eye, page: Any, obj: Any, number: int, move: _Move, findings: _Findings) -> None:
    """Note what a person should know of this page: by the box of all that it draws, not by its pixels."""
    paper = move.paper
    drawn = eye.drawn(page).shared(paper)  # what was off the paper before doesn't count
    if drawn.width > 0 and drawn.height > 0:
        matrix = move.seen
        x, y = matrix(drawn.centre)
        reach_x = (abs(matrix.a) * drawn.width + abs(matrix.c) * drawn.height) / 2 - _SEEN_MM
        reach_y = (abs(matrix.b) * drawn.width + abs(matrix.d) * drawn.height) / 2 - _SEEN_MM
        for edge, over in (("left", reach_x - x), ("top", reach_y - y), ("right", x + reach_x - paper.right),
                           ("bottom", y + reach_y - paper.bottom)):
            if over > 0:
                findings.off_paper.setdefault(edge, {})[number] = over + _SEEN_MM
    if move.other_size:
        findings.other_size.append(number)
    if paper.width > paper.height:
        findings.landscape.append(number)
    if mupdf.pdf_array_len(mupdf.pdf_dict_get(obj, mupdf.PDF_ENUM_NAME_Annots)):
        findings.annotated.append(number)


class _Eye:
    """Sees what a page draws. PyMuPDF's own objects are made once: on light pages they cost as much as the looking."""

    def __init__(self) -> None:
        self._box, self._upright, self._cookie = mupdf.FzRect(), mupdf.FzMatrix(), mupdf.FzCookie()

    def drawn(self, page: Any) -> Rect:
        """The box of all that ``page`` draws, in mm as it is seen; a side of zero or less where it draws nothing."""
        device = mupdf.fz_new_bbox_device(self._box)
        mupdf.pdf_run_page_contents(page, device, self._upright, self._cookie)
        mupdf.fz_close_device(device)
        left, top, scale = self._box.x0, self._box.y0, 1 / POINTS_PER_MM
        return Rect(left * scale, top * scale, (self._box.x1 - left) * scale, (self._box.y1 - top) * scale)


def _number(value: float) -> str:
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:120]


def nudged_to_json(nudged: Nudged) -> Mapping[str, Any]:
    """Plain values for ``--json`` and the page."""
    return {"pages": nudged.pages, "moved": list(nudged.moved), "warnings": list(nudged.warnings)}
