"""A folder on disk as a deck: every file in it is used, ignored with a reason, or a problem."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from server.core.art import Art, Deck, Problem
from server.errors import BadValue, NotThere, TooMuch, Unreadable
from server.formats.header import KIND_OF_ENDING, OTHER_PICTURES, ending_of
from server.formats.limits import (
    DEFAULT_LIMITS,
    MAX_DECK_LIST_BYTES,
    MAX_FILES,
    MAX_FOLDER_DEPTH,
    ArtLimits,
    BadArt,
    problem_from,
)
from server.formats.reader import read_art
from server.intake.choices import Choices
from server.intake.deck_list import DECK_LIST, decode_list
from server.intake.names import Role, fold, natural_key, read_names
from server.intake.pairing import pair

_SYSTEM_FILES = frozenset({"thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r"})
_SYSTEM_FOLDERS = frozenset({"__macosx", "$recycle.bin", "system volume information"})
_SAMPLE_BYTES = 4096
# Endings of what people keep beside their art; in fronts/ and backs/ any other file that is no art is a problem.
_DOCUMENTS = frozenset({"txt", "md", "rtf", "csv", "tsv", "json", "xml", "yml", "yaml", "toml", "ini", "html", "htm",
                        "doc", "docx", "odt", "xls", "xlsx", "ods", "log", "db", "url", "lnk", "webloc"})


@dataclass(frozen=True)
class FolderDeck:
    """A deck and where its art lies. ``paths`` maps each art file's path in the deck to the file on disk."""

    deck: Deck
    paths: Mapping[str, Path]

    def source(self, art: Art) -> Path:
        """The file that ``art`` was read from. Raises NotThere for art of another deck."""
        path = self.paths.get(art.file) or self.paths.get(art.file.rpartition("#")[0])
        if path is None:
            raise NotThere(f"{art.file}: isn't in this folder.", "Read the folder again.")
        return path

    @property
    def ignored(self) -> tuple[Problem, ...]:
        """The files left out on purpose, each with its reason."""
        return tuple(problem for problem in self.deck.problems if problem.code == "ignored")


@dataclass(slots=True)
class _Walk:
    """What a walk through the folder finds: files with their sizes, by label, and what is said about others."""

    root: Path
    files: dict[str, tuple[Path, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def ignore(self, label: str, why: str) -> None:
        self.problems.append(Problem(label, "note", "ignored", why))

    def refuse(self, label: str, code: str, message: str, fix: str) -> None:
        self.problems.append(Problem(label, "error", code, message, fix))


def read_folder(folder: Path, limits: ArtLimits = DEFAULT_LIMITS, taken: Collection[str] = ()) -> FolderDeck:
    """The deck in ``folder``, named after it; what is odd about single files is in the deck's problems.

    ``taken`` are ids of proposals that pairing is to follow. Raises NotThere or BadValue if there is no such folder, it
    can't be listed, or it makes no such proposal; TooMuch if it holds too many files.
    """
    if not folder.exists():
        raise NotThere(f"{folder}: isn't there.", "Give the folder that holds fronts/ and backs/.")
    if not folder.is_dir():
        raise BadValue(f"{folder}: is a file, not a folder.", "Give the folder that holds fronts/ and backs/.")
    walk = _Walk(folder.resolve())
    try:
        _list(walk, walk.root, "", 0)
    except OSError as error:
        raise BadValue(f"{folder}: can't be listed ({error.strerror or error}).", "Check who may read it.") from None
    deck_csv = _take_deck_list(walk)
    arts = _read_all(walk, limits)
    broken = [problem.file for problem in walk.problems if problem.severity == "error"]
    name = walk.root.name or "Deck"
    deck = pair(arts, deck_csv, name, broken=broken)
    if taken:
        _check_taken(taken, deck)
        deck = pair(arts, deck_csv, name, Choices(proposals=dict.fromkeys(taken, True)), broken)
    deck = replace(deck, problems=(*walk.problems, *deck.problems))
    return FolderDeck(deck, {label: walk.files[label][0] for label in arts})


def _check_taken(taken: Collection[str], deck: Deck) -> None:
    group = {proposal.id: proposal.group for proposal in deck.proposals}
    unknown = next((name for name in taken if name not in group), None)
    if unknown is not None:
        raise BadValue(f"pairs: {unknown!r} is no proposal of this folder.",
                       f"Use {', '.join(group)}." if group else "Leave it out: nothing is unsure here.")
    groups = [group[name] for name in dict.fromkeys(taken)]
    twice = next((name for name in groups if groups.count(name) > 1), None)
    if twice is not None:
        some = [name for name in dict.fromkeys(taken) if group[name] == twice]
        raise BadValue(f"pairs: {' and '.join(some)} can't both be.", "Take one of them.")


def _list(walk: _Walk, folder: Path, prefix: str, depth: int) -> None:
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda entry: natural_key(entry.name)):
            label = _shown(prefix + entry.name)
            if label != prefix + entry.name:
                walk.refuse(label, "bad-name", "Its name isn't text in this system's encoding.", "Rename it.")
            else:
                _enter(walk, entry, label, depth)


def _shown(label: str) -> str:
    """``label`` with bytes that are no text written out."""
    return label.encode("utf-8", "backslashreplace").decode("utf-8")


def _enter(walk: _Walk, entry: os.DirEntry[str], label: str, depth: int) -> None:
    path = Path(entry.path)
    try:
        if entry.is_symlink():
            _follow(walk, path, label)
        elif entry.is_dir(follow_symlinks=False):
            _descend(walk, path, label, depth)
        elif entry.is_file(follow_symlinks=False):
            _keep(walk, path, label, entry.stat(follow_symlinks=False).st_size)
        else:
            walk.refuse(label, "not-a-file", "It is a device, a pipe or a socket, not a file.", "Take it out.")
    except OSError as error:
        walk.refuse(label, "not-readable", f"It can't be read ({error.strerror or error}).", "Check who may read it.")


def _descend(walk: _Walk, path: Path, label: str, depth: int) -> None:
    if path.name.startswith("."):
        walk.ignore(f"{label}/", "A hidden folder, with everything in it.")
    elif fold(path.name) in _SYSTEM_FOLDERS:
        walk.ignore(f"{label}/", "A folder that a system made for itself, with everything in it.")
    elif depth >= MAX_FOLDER_DEPTH:
        walk.refuse(f"{label}/", "too-deep", f"It lies deeper than {MAX_FOLDER_DEPTH} folders.", "Move it up.")
    else:
        _list(walk, path, f"{label}/", depth + 1)


def _follow(walk: _Walk, path: Path, label: str) -> None:
    """A link to a file inside the deck's folder is that file; any other link isn't followed."""
    try:
        target = path.resolve(strict=True)
    except (OSError, RuntimeError):  # a loop is a RuntimeError before Python 3.13
        walk.refuse(label, "link", "It is a link that leads nowhere or in a circle, so it wasn't followed.",
                    "Put the file itself there.")
        return
    if not target.is_relative_to(walk.root):
        walk.refuse(label, "link", "It is a link out of the folder, so it wasn't followed.",
                    "Put the file itself there.")
    elif not target.is_file():
        walk.refuse(label, "link", "It is a link to a folder, so it wasn't followed.",
                    "Put the files themselves there.")
    else:
        _keep(walk, target, label, target.stat().st_size)


def _keep(walk: _Walk, path: Path, label: str, size: int) -> None:
    name = fold(label.rpartition("/")[2])
    if name.startswith("."):
        walk.ignore(label, "A hidden file.")
    elif name in _SYSTEM_FILES:
        walk.ignore(label, "A file that a system made for itself.")
    elif name.startswith("~$") or name.endswith("~"):
        walk.ignore(label, "A program's temporary file.")
    else:
        walk.files[label] = path, size
        if len(walk.files) > MAX_FILES:
            raise TooMuch(f"{walk.root}: holds more than {MAX_FILES} files.", "Give the folder of one deck.")


def _take_deck_list(walk: _Walk) -> str | None:
    """The deck list's text; only the one at the top of the folder counts."""
    tops = [label for label in walk.files if fold(label) == DECK_LIST]
    chosen = DECK_LIST if DECK_LIST in tops else next(iter(tops), None)
    if chosen is None:
        return None
    path, _ = walk.files.pop(chosen)
    try:
        with path.open("rb") as handle:
            return decode_list(handle.read(MAX_DECK_LIST_BYTES + 1))
    except Unreadable as error:
        walk.problems.append(problem_from(error, DECK_LIST))
    except OSError as error:
        walk.refuse(chosen, "not-readable", f"It can't be read ({error.strerror or error}).", "Check who may read it.")
    return None


def _read_all(walk: _Walk, limits: ArtLimits) -> dict[str, tuple[Art, ...]]:
    keys = _keys(walk.files)
    roles: dict[str, Role] = {}
    arts: dict[str, tuple[Art, ...]] = {}
    for label, (path, _) in walk.files.items():
        try:
            arts[label] = read_art(path, label, keys[label], limits)
        except Unreadable as error:
            roles = roles or {name.path: name.role for name in read_names(walk.files)}
            reason = _reason_to_ignore(label, error, roles[label], "front" in roles.values())
            if reason:
                walk.ignore(label, reason)
            else:
                walk.problems.append(problem_from(error, label))
    return arts


def _keys(files: Mapping[str, tuple[Path, int]]) -> dict[str, str]:
    """A key for each file's bytes, by label, with as little reading as will do.

    A size that only one file has tells it apart. Of equal sizes a sample from the middle is hashed, and only where
    samples are equal, too, the whole.
    """
    keys = {label: f"size-{size}" for label, (_, size) in files.items()}
    for digest in (_sample_digest, _whole_digest):
        counts = Counter(keys.values())
        shared = [label for label, key in keys.items() if counts[key] > 1]
        keys |= {label: f"{keys[label]}-{digest(*files[label])}" for label in shared}
    return keys


def _sample_digest(path: Path, size: int) -> str:
    try:
        with path.open("rb") as handle:
            handle.seek(max(0, size - _SAMPLE_BYTES) // 2)
            return _blake2b(handle.read(_SAMPLE_BYTES)).hexdigest()
    except OSError:  # the reader meets it again, and says so
        return f"unread-{path}"


def _whole_digest(path: Path, size: int) -> str:
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, _blake2b).hexdigest()
    except OSError:
        return f"unread-{path}"


def _blake2b(data: bytes = b"") -> hashlib.blake2b:
    return hashlib.blake2b(data, digest_size=20)


def _reason_to_ignore(label: str, error: Unreadable, role: Role, has_fronts: bool) -> str:
    """Why a file that is no art is nothing to worry about; "" if somebody should know."""
    code = error.code if isinstance(error, BadArt) else ""
    ending = ending_of(label)
    if code == "own-sheets":
        return "Sheets that were made here, not art."
    if fold(label.rpartition("/")[2]) == DECK_LIST:
        return f"Only the {DECK_LIST} at the top of the folder is followed."
    if code in ("not-art", "empty-file"):
        if ending in _DOCUMENTS:
            return "A document, not art."
        if role == "stray" and ending not in KIND_OF_ENDING and ending not in OTHER_PICTURES:
            return "Not art, by its content."
    unused = ending in OTHER_PICTURES if code == "unsupported" else code.startswith("svg-")
    if unused and role == "stray" and has_fronts:
        return "A working file outside fronts/ and backs/, of a kind that isn't printed."
    return ""
