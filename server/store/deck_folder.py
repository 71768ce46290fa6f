"""A folder that is dropped again, compared with the deck that it made: same, changed, new, gone, renamed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from server.store.deck_state import DeckFile, DeckState


@dataclass(frozen=True, slots=True)
class Listed:
    """One file of the folder; ``key`` is the SHA-256 of its bytes where whoever asks has worked it out, else ""."""

    path: str
    bytes: int
    modified: int
    key: str = ""


@dataclass(frozen=True, slots=True)
class Compared:
    """Paths by what became of them; ``renamed`` has (path before, path now). What ``unsure`` names is told apart only
    by its key: ask again with it."""

    same: tuple[str, ...]
    changed: tuple[str, ...]
    fresh: tuple[str, ...]
    renamed: tuple[tuple[str, str], ...]
    gone: tuple[str, ...]
    unsure: tuple[str, ...]


def compare(state: DeckState, listing: Iterable[Listed]) -> Compared:
    """What a folder holds against what the deck has. As little as will do is asked for by content: files of the same
    path and size whose time differs, and new ones of the size of one that has gone."""
    listed = {file.path: file for file in listing}
    here = {file.path: file for file in state.files}
    gone = {path: file for path, file in here.items() if path not in listed}
    same_bytes: dict[str, list[str]] = defaultdict(list)
    for path, left in reversed(gone.items()):
        same_bytes[left.key].append(path)
    sizes = {file.bytes for file in gone.values()}
    same: list[str] = []
    changed: list[str] = []
    fresh: list[str] = []
    unsure: list[str] = []
    renamed: list[tuple[str, str]] = []
    for path, file in listed.items():
        old = here.get(path)
        if old and (old.bytes, old.modified) == (file.bytes, file.modified):
            same.append(path)
        elif not file.key and file.bytes in ({old.bytes} if old else sizes):
            unsure.append(path)
        elif old:
            (same if file.key == old.key else changed).append(path)
        else:
            was = same_bytes[file.key].pop() if same_bytes.get(file.key) else None
            if was is None:
                fresh.append(path)
            else:
                del gone[was]
                renamed.append((was, path))
    return Compared(tuple(same), tuple(changed), tuple(fresh), tuple(renamed), tuple(gone), tuple(unsure))


def as_folder(state: DeckState, gone: Collection[str], renamed: Mapping[str, tuple[str, int]]) -> DeckState:
    """The deck without the files that have gone, and with others under their new path and time; what was chosen for a
    card (its back, its copies, its name, its place) goes along with its file."""
    out = set(gone) - set(renamed)
    files = tuple(_renamed(file, renamed) for file in state.files if file.path not in out)

    def label(text: str) -> str:
        path, mark, page = text.rpartition("#")
        bare = path if mark and page.isdigit() and path in renamed else text
        return renamed[bare][0] + text[len(bare):] if bare in renamed else text

    def values(given: Mapping[str, Any]) -> dict[str, Any]:
        return {name: label(value) if name == "back" and value else value for name, value in given.items()}

    overrides = {label(file): values(given) for file, given in state.overrides.items()}
    return replace(state, files=files, overrides=overrides, order=tuple(label(file) for file in state.order))


def _renamed(file: DeckFile, renamed: Mapping[str, tuple[str, int]]) -> DeckFile:
    if file.path not in renamed:
        return file
    path, modified = renamed[file.path]
    return replace(file, path=path, modified=modified)
