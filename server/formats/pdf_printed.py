"""What a reader prints of a PDF page beside its own content: annotations and filled form fields (ISO 32000-1, 12.5).

They are made part of the page as soon as the file is opened, so that screen, check and print see one and the same page.
"""

from __future__ import annotations

from server.formats.pdf_source import PdfSource
from server.formats.pdf_syntax import Atom, Name, Ref, Value, written

_HIDDEN, _PRINT = 2, 4  # flags (12.5.3)
_MOST_ANNOTATIONS = 10_000


def print_annotations(source: PdfSource) -> None:
    """Draw the normal appearance of what prints into the pages, by the algorithm of 12.5.5, and drop all else.

    Appearances that a file leaves to its reader are made by MuPDF. Raises Unreadable, naming the file.
    """
    pages = {number: annotations for number in range(source.page_count)
             if (annotations := source.annotations(number))}
    for number, annotations in pages.items():
        kept = [prepared for item in annotations[:_MOST_ANNOTATIONS] if (prepared := _prepared(source, item))]
        source.set_annotations(number, written(kept, lambda own: own))
    if pages:
        source.bake()


def _prepared(source: PdfSource, item: Value) -> Value | None:
    """The annotation as it is to be drawn, changed in its place; None for one that doesn't print."""
    found = source.resolved(item)
    if not isinstance(found, dict) or found.get(b"/Subtype") == b"/Popup":
        return None  # a popup is a window of the reader's, and has no appearance (12.5.6.14)
    flags = _whole(source.resolved(found.get(b"/F")))
    if not flags & _PRINT or flags & _HIDDEN or not source.is_shown(found.get(b"/OC")):
        return None
    # NoView and the like are for the screen; NoRotate isn't honoured by printing readers, and a card is turned anyway.
    changed: dict[bytes, Value] = {**found, b"/F": Atom(b"%d" % _PRINT)}
    if changed.get(b"/Subtype") == b"/Link" and b"/AP" in changed:
        changed[b"/Subtype"] = Name(b"/Stamp")  # MuPDF takes links for no annotations
    if not isinstance(item, Ref):
        return changed
    source.change(item.number, written(changed, lambda own: own))
    return item


def _whole(value: Value | None) -> int:
    try:
        return int(float(value)) if isinstance(value, Atom) else 0
    except (ValueError, OverflowError):
        return 0
