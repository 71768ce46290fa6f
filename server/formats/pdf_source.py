"""A PDF that is read from: its objects, its streams, and what a page is made of (ISO 32000-1, 7.7.3)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from server.core.geometry import Rect
from server.errors import Unreadable
from server.formats.limits import refusing
from server.formats.pdf_syntax import NULL, Name, Ref, Value, parse

_MOST_PARENTS = 100
_MOST_CONTENTS = 10_000


@dataclass(frozen=True, slots=True)
class SourcePage:
    """A page: the visible box in its own points (y up: ``box.y`` is the lower edge), the clockwise turn for viewing,
    the numbers of its content streams, and its resources and transparency group as they stand in the file."""

    box: Rect
    rotation: int
    contents: tuple[int, ...]
    resources: Value
    group: Value | None


class PdfSource:
    """An open PDF, by PyMuPDF. ``file`` is what errors call it; a broken file raises Unreadable from every call."""

    def __init__(self, document: Any, file: str) -> None:
        self.document = document
        self.file = file
        # Nodes of the page tree: one may list thousands of pages, and each of them asks for it.
        self._tree: dict[int, Value] = {}
        self._turned: set[int] = set()  # forms that are upright already
        self.hidden_groups = self._hidden_groups()

    def close(self) -> None:
        self.document.close()

    @property
    def page_count(self) -> int:
        with refusing(self.file):
            return int(self.document.page_count)

    def object(self, number: int) -> Value:
        """Object ``number``; of a stream, its dictionary. One that the file doesn't have is null (7.3.10)."""
        with refusing(self.file):
            if not 0 < number < self.document.xref_length():
                return NULL
            return parse(self.document.xref_object(number, compressed=True, ascii=True).encode("latin-1"))

    def resolved(self, value: Value | None) -> Value | None:
        """``value`` itself, or what it refers to."""
        for _ in range(_MOST_PARENTS):
            if not isinstance(value, Ref):
                return None if value == b"null" else value
            value = self.object(value.number)
        raise Unreadable(f"{self.file}: its references run in a loop.", "Export the PDF again.")

    def entry(self, value: Value | None, key: bytes) -> Value | None:
        """What a dictionary, or a reference to one, holds under ``key``; None for none."""
        found = self.resolved(value)
        return self.resolved(found.get(key)) if isinstance(found, dict) else None

    def is_stream(self, number: int) -> bool:
        with refusing(self.file):
            return 0 < number < self.document.xref_length() and bool(self.document.xref_is_stream(number))

    def raw_stream(self, number: int) -> bytes:
        """The data as stored, still compressed."""
        with refusing(self.file):
            return bytes(self.document.xref_stream_raw(number) or b"")

    def stream(self, number: int) -> bytes:
        """The data with all filters undone."""
        with refusing(self.file):
            return bytes(self.document.xref_stream(number) or b"")

    def streams(self) -> Iterator[int]:
        """The numbers of all streams but pictures and those that hold the file together (7.5.7, 7.5.8)."""
        with refusing(self.file):
            for number in range(1, self.document.xref_length()):
                if self.document.xref_is_stream(number) and not (
                        self.document.xref_get_key(number, "Subtype")[1] == "/Image"
                        or self.document.xref_get_key(number, "Type")[1] in ("/ObjStm", "/XRef")):
                    yield number

    def pictures(self) -> Iterator[int]:
        """The numbers of all pictures, masks among them."""
        with refusing(self.file):
            for number in range(1, self.document.xref_length()):
                if self.document.xref_is_stream(number) \
                        and self.document.xref_get_key(number, "Subtype")[1] == "/Image":
                    yield number

    def filters(self, number: int) -> list[bytes]:
        """The names of a stream's filters, the first to undo first."""
        with refusing(self.file):
            kind, text = self.document.xref_get_key(number, "Filter")
        named = self.resolved(parse(text.encode("latin-1"))) if kind != "null" else None
        names = named if isinstance(named, list) else [named]
        return [bytes(name) for item in names if isinstance(name := self.resolved(item), Name)]

    def contents(self, index: int) -> tuple[int, ...]:
        """The numbers of a page's content streams."""
        with refusing(self.file):
            return self._contents(self.object(self.document.page_xref(index)))

    def page(self, index: int) -> SourcePage:
        with refusing(self.file):
            if not 0 <= index < self.document.page_count:
                raise ValueError(f"there is no page {index + 1}")
            at = self.document.page_xref(index)
        own = self.object(at)
        chain = list(self._chain(own))
        box = self._box(chain)
        rotation = self._rotation(chain)
        group = self.resolved(own.get(b"/Group")) if isinstance(own, dict) else None
        return SourcePage(box, rotation, self._contents(own), _inherited(chain, b"/Resources") or {}, group)

    def printers_box(self, index: int, name: str) -> Rect | None:
        """A page's own TrimBox or BleedBox in its points (14.11.2.1), None where it has none; y up, as ``page``'s."""
        with refusing(self.file):
            kind, text = self.document.xref_get_key(self.document.page_xref(index), name)
        return self.rect(parse(text.encode("latin-1"))) if kind in ("array", "xref") else None

    def set_visible(self, index: int, box: Rect) -> None:
        """Make ``box``, in the page's points, all that is seen of it."""
        with refusing(self.file):
            self.document.xref_set_key(self.document.page_xref(index), "CropBox",
                                       f"[{box.x:.4f} {box.y:.4f} {box.right:.4f} {box.bottom:.4f}]")

    def annotations(self, index: int) -> list[Value]:
        """The page's annotations as they stand in its dictionary (12.5.2); often none."""
        with refusing(self.file):
            kind, text = self.document.xref_get_key(self.document.page_xref(index), "Annots")
            found = self.resolved(parse(text.encode("latin-1"))) if kind in ("array", "xref") else None
        return found if isinstance(found, list) else []

    def set_annotations(self, index: int, text: bytes) -> None:
        with refusing(self.file):
            self.document.xref_set_key(self.document.page_xref(index), "Annots", text.decode("latin-1"))

    def change(self, number: int, text: bytes) -> None:
        """Put another object in the place of ``number``, in memory."""
        with refusing(self.file):
            self.document.update_object(number, text.decode("latin-1"))

    def turn_form(self, number: int, across: int, up: int) -> None:
        """Turn a form XObject, once, so that its right points to (across, up); by its /Matrix, in memory."""
        if number in self._turned:
            return
        self._turned.add(number)
        given = self.entry(self.object(number), b"/Matrix")
        try:
            a, b, c, d, e, f = (float(_plain(self.resolved(one))) for one in given or ()) if isinstance(
                given, list) and len(given) == 6 else (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
        except ValueError:
            return
        turned = [f"{across * x - up * y:.6f} {up * x + across * y:.6f}" for x, y in ((a, b), (c, d), (e, f))]
        with refusing(self.file):
            self.document.xref_set_key(number, "Matrix", f"[{' '.join(turned)}]")

    def bake(self) -> None:
        """Make all annotations and fields that are left part of their pages."""
        with refusing(self.file):
            self.document.bake()

    def is_shown(self, content: Value | None) -> bool:
        """True unless the optional-content group or membership (8.11.2) ``content`` is hidden."""
        found = self.resolved(content)
        if not isinstance(found, dict):
            return True
        if found.get(b"/Type") != b"/OCMD":
            return not (isinstance(content, Ref) and content.number in self.hidden_groups)
        named = found.get(b"/OCGs")
        groups = self._group_numbers([named] if isinstance(self.resolved(named), dict) and named else named)
        shown = [group not in self.hidden_groups for group in groups]
        rule = found.get(b"/P")
        if not shown or rule == b"/AllOn":
            return all(shown)
        return {b"/AllOff": not any(shown), b"/AnyOff": not all(shown)}.get(
            bytes(rule) if isinstance(rule, Name) else b"", any(shown))

    def _chain(self, page: Value) -> Iterator[dict[bytes, Value]]:
        """The page and its ancestors, from which some entries are inherited (7.7.3.4)."""
        node: Value | None = page
        for _ in range(_MOST_PARENTS):
            if not isinstance(node, dict):
                return
            yield node
            parent = node.get(b"/Parent")
            if isinstance(parent, Ref):
                if parent.number not in self._tree:
                    self._tree[parent.number] = self.resolved(parent) or NULL
                parent = self._tree[parent.number]
            node = parent
        raise Unreadable(f"{self.file}: its page tree runs in a loop.", "Export the PDF again.")

    def _box(self, chain: list[dict[bytes, Value]]) -> Rect:
        """CropBox within MediaBox (14.11.2); Letter where a file says neither, as readers do."""
        media = self.rect(_inherited(chain, b"/MediaBox")) or Rect(0, 0, 612, 792)
        crop = self.rect(_inherited(chain, b"/CropBox"))
        shared = crop.shared(media) if crop else media
        return shared if shared.width > 0 and shared.height > 0 else media

    def rect(self, value: Value | None) -> Rect | None:
        """A rectangle (7.9.5), y up; None for what is none."""
        corners = self.resolved(value)
        if not isinstance(corners, list) or len(corners) != 4:
            return None
        try:
            left, bottom, right, top = (float(_plain(self.resolved(corner))) for corner in corners)
        except ValueError:
            return None
        rect = Rect(min(left, right), min(bottom, top), abs(right - left), abs(top - bottom))
        return rect if 0 < rect.width < 1e6 and 0 < rect.height < 1e6 else None

    def _rotation(self, chain: list[dict[bytes, Value]]) -> int:
        try:
            turn = int(float(_plain(self.resolved(_inherited(chain, b"/Rotate")))))
        except (ValueError, OverflowError):
            return 0
        return round(turn / 90) * 90 % 360

    def _contents(self, page: Value) -> tuple[int, ...]:
        if not isinstance(page, dict) or b"/Contents" not in page:
            return ()
        first = page[b"/Contents"]
        whole = self.resolved(first)
        streams = whole if isinstance(whole, list) else [first]
        if len(streams) > _MOST_CONTENTS:
            raise Unreadable(f"{self.file}: a page has {len(streams)} content streams.", "Export the PDF again.")
        return tuple(part.number for part in streams if isinstance(part, Ref) and self.is_stream(part.number))

    def _hidden_groups(self) -> frozenset[int]:
        """The optional-content groups that the file's own default doesn't show (8.11.4.3)."""
        with refusing(self.file):
            root = self.document.pdf_catalog()
        catalogue = self.object(root) if root else None
        layers = self.resolved(catalogue.get(b"/OCProperties")) if isinstance(catalogue, dict) else None
        default = self.resolved(layers.get(b"/D")) if isinstance(layers, dict) else None
        if not isinstance(layers, dict) or not isinstance(default, dict):
            return frozenset()
        hidden = self._group_numbers(default.get(b"/OFF"))
        if default.get(b"/BaseState") == b"/OFF":
            return self._group_numbers(layers.get(b"/OCGs")) - self._group_numbers(default.get(b"/ON"))
        return hidden

    def _group_numbers(self, value: Value | None) -> frozenset[int]:
        groups = self.resolved(value)
        return frozenset(group.number for group in groups if isinstance(group, Ref)) if isinstance(groups, list) \
            else frozenset()


def load_pymupdf() -> Any:
    """The library, which has no types; its complaints about odd files aren't printed."""
    import pymupdf

    library: Any = pymupdf
    library.TOOLS.mupdf_display_errors(False)
    library.TOOLS.mupdf_display_warnings(False)
    return library


def _inherited(chain: list[dict[bytes, Value]], key: bytes) -> Value | None:
    return next((node[key] for node in chain if key in node), None)


def _plain(value: Value | None) -> bytes:
    """A number's own text; raises ValueError for anything else once it is read as one."""
    return bytes(value) if isinstance(value, bytes) and not isinstance(value, Name) else b""
