"""Where the pages, the static files and the demo decks are: beside the package in a checkout, inside it in a wheel."""

from __future__ import annotations

from pathlib import Path

from server.errors import NotThere

_PACKAGE = Path(__file__).resolve().parent


def shipped(name: str) -> Path:
    """The folder ``templates``, ``static`` or ``demo_decks``.

    Raises NotThere, naming both places that were looked in, where the installation lacks it.
    """
    places = (_PACKAGE / "_shipped" / name, _PACKAGE.parent / name)
    for place in places:
        if place.is_dir():
            return place
    raise NotThere(f"{name}: no such folder in {places[0]} or {places[1]}.", "Install Lampfold again.")
