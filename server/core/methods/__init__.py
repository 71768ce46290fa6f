"""Build methods: each says where the fronts may lie and how the sheet meets its backs.

To add one: write a module with an object that follows ``BuildMethod``, and add it to ``METHODS``.
"""

from __future__ import annotations

from server.core.methods.duplex import DUPLEX
from server.core.methods.protocol import BuildMethod, Frame, Zone
from server.core.methods.side_fold import SIDE_FOLD
from server.core.methods.two_sheet import TWO_SHEET
from server.core.methods.vertical_fold import VERTICAL_FOLD
from server.errors import BadValue

METHODS: dict[str, BuildMethod] = {
    method.name: method for method in (DUPLEX, VERTICAL_FOLD, SIDE_FOLD, TWO_SHEET)
}

__all__ = ["METHODS", "BuildMethod", "Frame", "Zone", "method_named"]


def method_named(name: str) -> BuildMethod:
    """The build method of that name. Raises BadValue, naming those that are known."""
    try:
        return METHODS[name]
    except KeyError:
        raise BadValue(f"method: {name!r} is not known.", f"Use one of {', '.join(METHODS)}.") from None
