"""Small things that messages are made of, and text that can't be one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from server.errors import BadValue

_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def shown(value: object) -> str:
    """A value in a message: short, and as it was typed."""
    try:
        text = "true" if value is True else "false" if value is False else repr(value)
    except ValueError:  # a whole number of thousands of digits (CPython's limit on turning it into text)
        return "a number of thousands of digits"
    return text if len(text) <= 60 else f"{text[:57]}..."


def in_words(names: Iterable[str], word: str = "or") -> str:
    """``a, b or c``."""
    *first, last = names
    return f"{', '.join(first)} {word} {last}" if first else last


def check_text(value: object, label: str) -> None:
    r"""Raises BadValue, naming ``label``, where a JSON value holds half a character anywhere, in a key too: JSON can
    write one, such as ``"\ud800"``, that no encoding can (RFC 8259, 8.2)."""
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
