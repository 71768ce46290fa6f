"""Small things that messages are made of, text that can't be one, and page numbers as people write and say them."""

from __future__ import annotations

import contextlib
import json
import re
import reprlib
from collections.abc import Iterable, Mapping

from server.errors import BadValue

_MOST_SHOWN = 60
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def shown(value: object) -> str:
    """A value in a message: short, and as it was typed."""
    try:
        text = ("true" if value is True else "false" if value is False
                else repr(value[:_MOST_SHOWN + 1]) if isinstance(value, str)
                else reprlib.repr(value) if isinstance(value, list | tuple | dict) else repr(value))
    except ValueError:  # a whole number of thousands of digits (CPython's limit on turning it into text)
        return "a number of thousands of digits"
    return text if len(text) <= _MOST_SHOWN else f"{text[:_MOST_SHOWN - 3]}..."


def in_words(names: Iterable[str], word: str = "or") -> str:
    """``a, b or c``."""
    *first, last = names
    return f"{', '.join(first)} {word} {last}" if first else last


def check_text(value: object, label: str) -> None:
    r"""Raises BadValue, naming ``label``, where a JSON value holds half a character anywhere, in a key too: JSON can
    write one, such as ``"\ud800"``, that no encoding can (RFC 8259, 8.2)."""
    with contextlib.suppress(TypeError, ValueError, RecursionError):  # most hold none, and that is soon seen
        json.dumps(value, ensure_ascii=False).encode()
        return
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str):
            if _LONE_SURROGATE.search(one):
                raise BadValue(f"{label}: {shown(one)} holds half a character (a lone surrogate).",
                               "Write the whole character, or leave it out.")
        elif isinstance(one, Mapping):
            waiting += (*one.keys(), *one.values())
        elif isinstance(one, list | tuple):
            waiting += one


_MOST_PAGES = 100_000


def parse_pages(text: str, count: int, argument: str = "backs") -> tuple[int, ...]:
    """Page numbers from 1, in order, from ``even``, ``odd`` or a list such as ``2,4,6-8``, of ``count`` pages.

    Raises BadValue, naming ``argument`` and what isn't there.
    """
    word = text.strip().lower()
    if word in ("even", "odd"):
        found = tuple(range(2 if word == "even" else 1, count + 1, 2))
        if not found:
            raise BadValue(f"{argument}: there is no {word} page among {count}.", "Name the pages, such as 1.")
        return found
    numbers: set[int] = set()
    for part in word.split(","):
        match = re.fullmatch(r"\s*(\d{1,6})\s*(?:-\s*(\d{1,6})\s*)?", part)
        if not match:
            raise BadValue(f"{argument}: {text!r} is no list of pages.", "Use even, odd or a list such as 2,4,6-8.")
        first, last = int(match[1]), int(match[2] or match[1])
        if not 1 <= first <= last <= min(count, _MOST_PAGES):
            raise BadValue(f"{argument}: there is no page {part.strip()} among {count}.",
                           f"Use numbers from 1 to {count}.")
        numbers.update(range(first, last + 1))
    return tuple(sorted(numbers))


def page_list_text(numbers: Iterable[int]) -> str:
    """``page 2`` or ``pages 2, 4 and 6-8``; nothing for no page. Every other page reads as a list up to five."""
    runs: list[tuple[int, int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    if not runs:
        return ""
    said = [str(first) if first == last else f"{first}-{last}" for first, last in runs]
    if len(said) > 5:
        said = [*said[:4], f"{len(said) - 4} more"]
    one = len(runs) == 1 and runs[0][0] == runs[0][1]
    return f"page {said[0]}" if one else "pages " + (", ".join(said[:-1]) + f" and {said[-1]}" if said[1:] else said[0])
