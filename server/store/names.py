"""Names and paths that people give: labels to show, never paths to open."""

from __future__ import annotations

import unicodedata

from server.errors import BadValue
from server.formats.limits import MAX_FOLDER_DEPTH

_OVERRIDES = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_LONGEST_PATH, _LONGEST_PART, _LONGEST_NAME = 1000, 255, 120
# Letters that have no parts to fall back on, as those who use them spell them out.
_SPELT = {"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L",
          "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ı": "i"}


def clean_path(text: str) -> str:
    """A file's path in its deck, with "/" between parts, in Unicode's composed form (NFC).

    macOS hands out decomposed names, so both spellings of one name must become one file.
    Raises BadValue for anything that climbs, is absolute, empty, too long, or holds control characters.
    """
    path = unicodedata.normalize("NFC", text.replace("\\", "/"))
    parts = path.split("/")
    bad = (
        not path
        or len(path) > _LONGEST_PATH
        or len(parts) > MAX_FOLDER_DEPTH
        or any(part in ("", ".", "..") or len(part) > _LONGEST_PART for part in parts)
        or not _is_plain(path)
        or (len(parts[0]) == 2 and parts[0][1] == ":")
    )
    if bad:
        raise BadValue(f"path: {shown(text)} can't name a file of a deck.",
                       "Give a path inside the deck's folder, such as fronts/knight.png.")
    return path


def clean_name(text: str, argument: str = "name") -> str:
    """A deck's, printer's or person's name: one line, trimmed, 1 to 120 characters. Raises BadValue."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > _LONGEST_NAME or not _is_plain(name):
        raise BadValue(f"{argument}: {shown(text)} is empty, too long or holds control characters.",
                       f"Give 1 to {_LONGEST_NAME} letters.")
    return name


# Names that Windows opens as devices, with any extension (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = frozenset(("con", "prn", "aux", "nul",
                      *(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789")))


def clean_file_name(text: str) -> str:
    """A file's own name in a pack, as every file system can unpack it, in Unicode's composed form. Raises BadValue."""
    name = unicodedata.normalize("NFC", text)
    bad = (not name or name != name.strip(" .") or len(name.encode("utf-8", "replace")) > _LONGEST_NAME
           or any(letter in '/\\<>:"|?*' or _is_control(letter) for letter in name)
           or name.partition(".")[0].strip().lower() in _DEVICES)
    if bad:
        raise BadValue(f"file: {shown(text)} isn't a name that every computer can unpack.",
                       "Give it a plain one, such as rules.pdf.")
    return name


def shown(text: str) -> str:
    """``text`` quoted and cut for a message."""
    return repr(text if len(text) <= 80 else text[:77] + "...")


def file_stem(text: str) -> str:
    """A name for a download that every file system takes: ASCII letters, digits, "-" and "_"."""
    text = "".join(_SPELT.get(letter, letter) for letter in text)
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    kept = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in plain)
    return "-".join(part for part in kept.split("-") if part)[:80] or "deck"


def version_stem(text: str) -> str:
    """A version as a part of a file's name: as ``file_stem``, with the points between its numbers."""
    return ".".join(file_stem(part) for part in text.split(".") if part.strip()) or "version"


def _is_plain(text: str) -> bool:
    """Without a control character."""
    return (text.isascii() and text.isprintable()) or not any(_is_control(letter) for letter in text)


def _is_control(letter: str) -> bool:
    """Control, surrogate and bidirectional override characters: they can make a name look like another."""
    return unicodedata.category(letter) in ("Cc", "Cs") or letter in _OVERRIDES
