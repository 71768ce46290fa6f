"""One way from a deck to its sheets, for pages and command line alike: prepare it, summarise it, build it."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from server.prepress.build import Part, build
from server.prepress.prepare import Prepared, ink_figures, pdf_name, plan_file, prepare, prove, summarise

if TYPE_CHECKING:
    from server.prepress.record import Record, as_printed, make_record, picture_of, record_from_text, record_to_json
    from server.prepress.since import ChangeSheet, changes_to_json, prepare_since, printed_says, shown_changes

__all__ = [
    "ChangeSheet",
    "Part",
    "Prepared",
    "Record",
    "as_printed",
    "build",
    "changes_to_json",
    "ink_figures",
    "make_record",
    "pdf_name",
    "picture_of",
    "plan_file",
    "prepare",
    "prepare_since",
    "printed_says",
    "prove",
    "readable_deck",
    "record_from_text",
    "record_to_json",
    "shown_changes",
    "summarise",
]
_SINCE = ("ChangeSheet", "changes_to_json", "prepare_since", "printed_says", "shown_changes")


def __getattr__(name: str) -> Any:
    """Records of what was printed, loaded when they are asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__} has no {name}")
    return getattr(import_module(f"{__name__}.{'since' if name in _SINCE else 'record'}"), name)
