"""A deck as it is kept: a virtual folder of files, what overrules it, and the settings. Pure values and their JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from server.core.settings import DeckSettings
from server.errors import BadValue

DECK_LIST = "deck.csv"
_OVERRIDES = ("copies", "name", "back")
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
    """Everything a revision keeps. ``overrides`` maps a front's file label to what was changed on the Art page."""

    name: str
    files: tuple[DeckFile, ...] = ()
    overrides: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    settings: DeckSettings = field(default_factory=DeckSettings)

    @property
    def bytes(self) -> int:
        return sum(file.bytes for file in self.files)

    def file(self, path: str) -> DeckFile | None:
        return next((file for file in self.files if file.path == path), None)

    def with_file(self, added: DeckFile) -> DeckState:
        """The file put in, in place of one of the same path."""
        others = tuple(file for file in self.files if file.path != added.path)
        return replace(self, files=(*others, added))

    def with_files(self, added: tuple[DeckFile, ...]) -> DeckState:
        paths = {file.path for file in added}
        return replace(self, files=(*(file for file in self.files if file.path not in paths), *added))

    def without_file(self, path: str) -> DeckState:
        return replace(self, files=tuple(file for file in self.files if file.path != path))

    def with_override(self, file: str, values: Mapping[str, Any]) -> DeckState:
        """``values`` put over what the deck's folder says of one front; None takes an override away again.

        Raises BadValue, naming the field, the value and what would do.
        """
        merged = dict(self.overrides.get(file, {}))
        for name, value in values.items():
            if value is None:
                merged.pop(name, None)
            else:
                merged[name] = _override(file, name, value)
        overrides = {key: kept for key, kept in self.overrides.items() if key != file}
        return replace(self, overrides={**overrides, file: merged} if merged else overrides)

    def to_json(self) -> str:
        return json.dumps(
            {"name": self.name, "files": [asdict(file) for file in self.files],
             "overrides": {file: dict(values) for file, values in self.overrides.items()},
             "settings": self.settings.as_mapping()},
            ensure_ascii=False, separators=(",", ":"))


def read_state(text: str) -> DeckState:
    """A state from its JSON. A setting that this version no longer takes falls back to its default."""
    given = json.loads(text)
    settings = DeckSettings()
    for name, value in given.get("settings", {}).items():
        try:
            settings = settings.changed({name: value})
        except BadValue:
            continue
    return DeckState(given["name"], tuple(DeckFile(**file) for file in given.get("files", [])),
                     given.get("overrides", {}), settings)


def _override(file: str, name: str, value: Any) -> Any:
    if name not in _OVERRIDES:
        raise BadValue(f"cards: {name!r} of {file} can't be changed.", f"Change {', '.join(_OVERRIDES)}.")
    if name == "copies":
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _MOST_COPIES:
            raise BadValue(f"copies: {value!r} of {file} is no whole number from 0 to {_MOST_COPIES}.",
                           "Give the number of cards to print.")
        return value
    text = str(value).strip()
    if len(text) > 255:
        raise BadValue(f"{name}: the text for {file} is longer than 255 letters.", "Give a shorter one.")
    return text
