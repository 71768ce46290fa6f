"""A page of another PDF as a form XObject: vectors stay vectors, and only what it takes to draw comes along.

Objects are copied one by one with new numbers (ISO 32000-1, 8.10). What prints of annotations is part of the page by
then; scripts, actions, attachments, metadata and structure stay behind. PyMuPDF opens and mends the file; it is only
loaded when a PDF is met.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Sequence
from pathlib import Path

from server.core.art import Art
from server.core.geometry import Affine, Rect
from server.drawing.pdf_file import PdfFile, number
from server.drawing.pdf_images import Placeable
from server.errors import Unreadable
from server.formats.jpeg import read_jpeg
from server.formats.limits import BadArt
from server.formats.pdf_pages import open_pdf
from server.formats.pdf_source import PdfSource, SourcePage
from server.formats.pdf_syntax import NULL, Name, Value, entries, written

MOST_OBJECTS = 50_000  # from one file; a page of outlined type and shadings has some hundreds
_KEPT_OPEN = 4

# What doesn't draw. Kinds are not followed, and leave null behind; keys are left out of typed dictionaries and streams
# (in others, such as lists of fonts or glyphs, a key is only somebody's name for something).
_LEFT_BEHIND = frozenset((b"/Page", b"/Pages", b"/Catalog", b"/Annot", b"/Action", b"/Filespec", b"/F",
                          b"/EmbeddedFile", b"/StructTreeRoot", b"/StructElem", b"/MCR", b"/OBJR", b"/Metadata",
                          b"/Outlines", b"/Sig"))
_UNWANTED_KEYS = frozenset((b"/Metadata", b"/PieceInfo", b"/StructParent", b"/StructParents", b"/LastModified", b"/AF",
                            b"/OPI", b"/Parent", b"/Annots", b"/AA", b"/A", b"/OpenAction", b"/JS", b"/Thumb", b"/Ref"))
# A stream's data may lie in another file (7.3.8.2); ours brings its own or has none.
_STREAM_KEYS = frozenset((b"/Length", b"/F", b"/FFilter", b"/FDecodeParms", b"/DL"))


class PageImporter:
    """Copies pages into ``file``; what several pages of one source share is copied once.

    ``groups`` and ``hidden`` hold the numbers of the optional-content groups that came along, and of those that the
    source doesn't show: the catalogue has to name them.
    """

    def __init__(self, file: PdfFile, groups: Sequence[int] = (), hidden: Sequence[int] = ()) -> None:
        self._file = file
        self._sources: OrderedDict[Path, PdfSource] = OrderedDict()
        self._numbers: dict[Path, dict[int, int]] = {}
        self.groups = list(groups)
        self.hidden = list(hidden)

    def add(self, art: Art, path: Path) -> Placeable:
        """Import one page. Raises Unreadable, naming the file."""
        source = self._sources.pop(path, None) or open_pdf(path, art.file, kind=art.kind)
        self._sources[path] = source
        while len(self._sources) > _KEPT_OPEN:
            self._sources.popitem(last=False)[1].close()
        return self.add_page(source, art.page, self._numbers.setdefault(path, {}))

    def add_page(self, source: PdfSource, index: int, numbers: dict[int, int]) -> Placeable:
        """Import page ``index`` of an open source; ``numbers`` says what has been copied from it already."""
        page = source.page(index)
        copy = _Copy(self, self._file, source, numbers)
        form: dict[bytes, Value] = {b"/Type": Name(b"/XObject"), b"/Subtype": Name(b"/Form"),
                                    b"/Resources": _cleaned(source.resolved(page.resources) or {})}
        if page.group:
            form[b"/Group"] = _cleaned(page.group)
        box = page.box
        heading = b"/BBox [%b] " % " ".join(
            number(value, 5) for value in (box.x, box.y, box.right, box.bottom)).encode("ascii")
        mine = copy.put_content(heading, form, page)
        copy.finish()
        return Placeable(mine, upright(page))

    def close(self) -> None:
        for source in self._sources.values():
            source.close()
        self._sources.clear()


def upright(page: SourcePage) -> Affine:
    """The page's own points (y up) onto the unit square as the page is viewed (y down), its ``/Rotate`` carried out."""
    box: Rect = page.box
    onto_unit = Affine(1 / box.width, 0.0, 0.0, -1 / box.height, -box.x / box.width, 1 + box.y / box.height)
    return Affine.turn(page.rotation, (0.5, 0.5)).after(onto_unit)


class _Copy:
    """One page's objects on their way: what they refer to waits in a queue, so depth and loops don't matter."""

    def __init__(self, importer: PageImporter, file: PdfFile, source: PdfSource, numbers: dict[int, int]) -> None:
        self._importer = importer
        self._file = file
        self._source = source
        self._numbers = numbers
        self._waiting: deque[int] = deque()

    def _renumbered(self, old: int) -> int:
        if old not in self._numbers:
            if len(self._numbers) >= MOST_OBJECTS:
                raise Unreadable(f"{self._source.file}: one page is made of more than {MOST_OBJECTS} objects.",
                                 "Export the page again as a flat PDF, or as a PNG.")
            self._numbers[old] = self._file.reserve()
            self._waiting.append(old)
        return self._numbers[old]

    def put_content(self, heading: bytes, form: dict[bytes, Value], page: SourcePage) -> int:
        if len(page.contents) == 1:
            only = page.contents[0]
            stream = self._source.object(only)
            if isinstance(stream, dict) and b"/Filter" in stream and not _is_crypt(stream):
                form = form | {key: stream[key] for key in (b"/Filter", b"/DecodeParms") if key in stream}
                data = self._source.raw_stream(only)
                return self._file.put_stream(heading + entries(form, self._renumbered), (data,))
        data = b"\n".join(self._source.stream(part) for part in page.contents)
        return self._file.put_deflated(heading + entries(form, self._renumbered), data)

    def finish(self) -> None:
        """Copy all that waits."""
        while self._waiting:
            old = self._waiting.popleft()
            self._put(old, self._numbers[old])

    def _put(self, old: int, mine: int) -> None:
        value = self._source.object(old)
        is_stream = self._source.is_stream(old)
        if isinstance(value, dict):
            if _stays_behind(value):
                self._file.put(b"null", mine)
                return
            if value.get(b"/Type") == b"/OCG":
                self._importer.groups.append(mine)
                if old in self._source.hidden_groups:
                    self._importer.hidden.append(mine)
        value = _cleaned(value, is_stream)
        if is_stream and isinstance(value, dict):
            self._put_stream(old, mine, value)
        else:
            self._file.put(written(value, self._renumbered), mine)

    def _put_stream(self, old: int, mine: int, value: dict[bytes, Value]) -> None:
        value = {key: item for key, item in value.items() if key not in _STREAM_KEYS}
        if _is_crypt(value):
            value = {key: item for key, item in value.items() if key not in (b"/Filter", b"/DecodeParms")}
            self._file.put_deflated(entries(value, self._renumbered), self._source.stream(old), mine)
            return
        data = self._source.raw_stream(old)
        if b"/Filter" not in value:
            self._file.put_deflated(entries(value, self._renumbered), data, mine)
            return
        parts = _without_metadata(data) if value[b"/Filter"] in (b"/DCTDecode", [b"/DCTDecode"]) else (data,)
        self._file.put_stream(entries(value, self._renumbered), parts, reserved=mine)


def _without_metadata(data: bytes) -> tuple[bytes | memoryview, ...]:
    try:
        return read_jpeg(data, "picture", None).parts()
    except (BadArt, IndexError):
        return (data,)


def _is_crypt(stream: dict[bytes, Value]) -> bool:
    named = stream.get(b"/Filter")
    return named == b"/Crypt" or (isinstance(named, list) and b"/Crypt" in named)


def _stays_behind(value: dict[bytes, Value]) -> bool:
    return value.get(b"/Type") in _LEFT_BEHIND or value.get(b"/S") == b"/JavaScript"


def _cleaned(value: Value, is_stream: bool = False) -> Value:
    """Without what doesn't draw, all the way down."""
    if isinstance(value, list):
        return [_cleaned(item) for item in value]
    if not isinstance(value, dict):
        return value
    if not is_stream and _stays_behind(value):
        return NULL
    typed = is_stream or isinstance(value.get(b"/Type"), Name)
    return {key: _cleaned(item) for key, item in value.items() if not (typed and key in _UNWANTED_KEYS)}

