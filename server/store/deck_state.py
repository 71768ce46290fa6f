"""A deck as it is kept: a virtual folder of files, what overrules it, and the settings. Pure values and their JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from server.core.settings import DeckSettings, EdgeMode
from server.errors import BadValue

DECK_LIST = "deck.csv"
_OVERRIDES = ("copies", "name", "back", "out", "swapped", "bleed")
_LONGEST = {"name": 255, "back": 1100}
_MOST_COPIES = 999


@dataclass(frozen=True, slots=True)
class DeckFile:
    """One file of the virtual folder. ``path`` is a label; ``key`` names the blob; ``modified`` is ms since 1970."""

    path: str
    key: str
    bytes: int
    modified: int


@dataclass(frozen=True, slots=True)
class DeckState:
    """Everything a revision keeps. ``overrides`` maps a card's label to what was changed on the Art page, ``order``
    lists such labels where somebody put cards in order, ``proposals`` says which pairs were taken or declined;
    ``card_chosen`` is False until somebody chooses a size of card."""

    name: str
    files: tuple[DeckFile, ...] = ()
    overrides: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    settings: DeckSettings = field(default_factory=DeckSettings)
    order: tuple[str, ...] = ()
    proposals: Mapping[str, bool] = field(default_factory=dict)
    card_chosen: bool = False

    @property
    def bytes(self) -> int:
        return sum(file.bytes for file in self.files)

    def file(self, path: str) -> DeckFile | None:
        return next((file for file in self.files if file.path == path), None)

    def with_files(self, added: tuple[DeckFile, ...]) -> DeckState:
        """The files put in, each in place of one of the same path."""
        paths = {file.path for file in added}
        return replace(self, files=(*(file for file in self.files if file.path not in paths), *added))

    def without_file(self, path: str) -> DeckState:
        return replace(self, files=tuple(file for file in self.files if file.path != path))

    def with_override(self, file: str, values: Mapping[str, Any]) -> DeckState:
        """``values`` put over what the deck's folder says of one front; None takes an override away again.

        Raises BadValue, naming the field, the value and what would do.
        """
        return self.with_overrides({file: values})

    def with_overrides(self, changes: Mapping[str, Mapping[str, Any]]) -> DeckState:
        """``with_override`` for several fronts."""
        overrides = dict(self.overrides)
        for file, values in changes.items():
            merged = dict(overrides.pop(file, {}))
            for name, value in values.items():
                if value is None and name == "bleed":
                    merged[name] = "deck"  # also where a deck list has it otherwise
                elif value is None:
                    merged.pop(name, None)
                else:
                    merged[name] = _override(file, name, value)
            if merged:
                overrides[file] = merged
        return replace(self, overrides=overrides)

    def to_json(self) -> str:
        """All of it but the files, which have rows of their own."""
        return json.dumps(
            {"name": self.name, "overrides": {file: dict(values) for file, values in self.overrides.items()},
             "settings": self.settings.as_mapping(), "order": self.order, "proposals": dict(self.proposals),
             "card_chosen": self.card_chosen},
            ensure_ascii=False, separators=(",", ":"))


def read_state(text: str, files: tuple[DeckFile, ...]) -> DeckState:
    """A state from its JSON and its files. A setting that this version no longer takes falls back to its default."""
    given = json.loads(text)
    settings = DeckSettings()
    for name, value in given.get("settings", {}).items():
        try:
            settings = settings.changed({name: value})
        except BadValue:
            continue
    return DeckState(given["name"], files, given.get("overrides", {}), settings, tuple(given.get("order", ())),
                     given.get("proposals", {}),
                     # A deck from before sizes were taken from art keeps the one that it has.
                     given.get("card_chosen", bool(files) or settings.card != DeckSettings().card))


def _override(file: str, name: str, value: Any) -> Any:
    if name not in _OVERRIDES:
        raise BadValue(f"cards: {name!r} of {file} can't be changed.", f"Change {', '.join(_OVERRIDES)}.")
    if name == "copies":
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _MOST_COPIES:
            raise BadValue(f"copies: {value!r} of {file} is no whole number from 0 to {_MOST_COPIES}.",
                           "Give the number of cards to print.")
        return value
    if name in ("out", "swapped"):
        if not isinstance(value, bool):
            raise BadValue(f"{name}: {value!r} of {file} is neither true nor false.", "Give one of them.")
        return value
    if name == "bleed":
        if value not in get_args(EdgeMode):
            raise BadValue(f"bleed: {value!r} of {file} is no way to make bleed.",
                           f"Use {', '.join(get_args(EdgeMode))}.")
        return value
    text = str(value).strip()
    if len(text) > _LONGEST[name]:
        raise BadValue(f"{name}: the text for {file} is longer than {_LONGEST[name]} letters.", "Give a shorter one.")
    return text
