"""Page numbers as people write them: ``even``, ``odd``, ``2,4,6-8``; and as they are said."""

from __future__ import annotations

import re
from collections.abc import Iterable

from server.errors import BadValue

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
