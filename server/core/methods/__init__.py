"""Build methods: each says where the fronts may lie, how the sheet meets its backs, and its words.

To add one: write a module with a ``BuildMethod``, and add it to ``METHODS``. Nothing else knows a method by its name.
"""

from __future__ import annotations

from server.core.methods.duplex import DUPLEX
from server.core.methods.folds import CARD_FOLD, SIDE_FOLD, VERTICAL_FOLD
from server.core.methods.fronts_only import FRONTS_ONLY
from server.core.methods.protocol import BuildMethod, Frame, Pair, Zone
from server.core.methods.steps import Step, Work
from server.core.methods.two_sheet import TWO_SHEET
from server.errors import BadValue

METHODS: dict[str, BuildMethod] = {
    method.name: method for method in (DUPLEX, VERTICAL_FOLD, SIDE_FOLD, CARD_FOLD, TWO_SHEET, FRONTS_ONLY)
}

__all__ = ["METHODS", "BuildMethod", "Frame", "Pair", "Step", "Work", "Zone", "method_named"]


def method_named(name: str) -> BuildMethod:
    """The build method of that name. Raises BadValue, naming those that are known."""
    try:
        return METHODS[name]
    except KeyError:
        raise BadValue(f"method: {name!r} is not known.", f"Use one of {', '.join(METHODS)}.") from None
