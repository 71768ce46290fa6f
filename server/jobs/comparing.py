"""The tasks behind comparisons: what pictures show and what ink they take, versions and ways to build side by side."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from server.core.art import Art, Deck
from server.core.cost import Care, Ink, Prices
from server.core.settings import DeckSettings
from server.errors import Unreadable
from server.formats.limits import ArtLimits
from server.jobs.worker import Report

if TYPE_CHECKING:
    from server.prepress import Record
    from server.prepress.record import Picture

Seen = TypeVar("Seen")


def take_pictures(report: Report, arts: tuple[tuple[Path, Art], ...]) -> dict[str, Picture]:
    """What each art shows, by its key: see ``prepress.record``. One that can't be decoded is left out."""
    from server.prepress.record import picture_of

    return _looked_at(arts, picture_of)


def _looked_at(arts: tuple[tuple[Path, Art], ...], look: Callable[[Path, Art], Seen]) -> dict[str, Seen]:
    found = {}
    for path, art in arts:
        with contextlib.suppress(Unreadable):
            found[art.key] = look(path, art)
    return found


def compare_versions(report: Report, old_deck: Deck, old: Record, new_deck: Deck, new: Record) -> dict[str, Any]:
    """What changed between two versions, with how far each changed card differs."""
    from server.prepress import shown_changes

    return shown_changes(old_deck, old, new_deck, new)


def measure_covers(report: Report, arts: tuple[tuple[Path, Art], ...]) -> dict[str, Ink]:
    """The ink that each art takes by its key. One that can't be decoded is left out: a build names it."""
    from server.prepress.inks import cover_of

    return _looked_at(arts, cover_of)


def compare_costs(report: Report, deck: Deck, settings: DeckSettings, inks: Mapping[str, Ink], prices: Prices,
                  care: Care, limits: ArtLimits) -> dict[str, Any]:
    """The deck by every method and paper, as ``lampfold cost --json`` has it."""
    from server.prepress.inks import cost_table, cost_to_json

    return cost_to_json(*cost_table(deck, settings, inks, prices, limits=limits), care)
