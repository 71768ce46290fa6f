"""Art proved by decoding it whole, so that what breaks is found before it is printed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from server.core.art import Art, Card, Deck, Problem
from server.errors import LampfoldError, Unreadable
from server.formats.limits import DEFAULT_LIMITS, ArtLimits, problem_from
from server.formats.pixels import verify

Seen = TypeVar("Seen")
_MOST_THREADS = 4
# A decoder takes up to twelve bytes of a pixel: larger pictures are decoded one by one.
_LARGE_PX = 8_000_000


def files_of(deck: Deck) -> tuple[str, ...]:
    """The file labels of every front and back, each once, in printing order."""
    return tuple(dict.fromkeys(art.file for card in deck.cards for art in (card.front, card.back) if art))


def without(deck: Deck, broken: Mapping[str, LampfoldError]) -> Deck:
    """``deck`` without the art named in ``broken`` (file label to what is wrong with it).

    A broken front takes its card along, a broken back leaves it blank, and each file is a problem of the deck.
    """
    if not broken:
        return deck
    problems = [problem_from(error, file) for file, error in broken.items()]
    cards: list[Card] = []
    for card in deck.cards:
        if card.front.file in broken:
            problems += _orphaned(card, broken, deck)
        elif card.back and card.back.file in broken:
            problems.append(Problem(card.front.file, "warning", "broken-back", f"Its back, {card.back.file}, can't be "
                                    "used, so it prints blank.", "Put a sound file in its place."))
            cards.append(replace(card, back=None))
        else:
            cards.append(card)
    return replace(deck, cards=tuple(cards), problems=tuple(dict.fromkeys((*deck.problems, *problems))),
                   pairs=tuple(pair for pair in deck.pairs if pair.front not in broken and pair.back not in broken))


def _orphaned(card: Card, broken: Mapping[str, LampfoldError], deck: Deck) -> list[Problem]:
    """The back of a broken front, if no other card has it."""
    back = card.back
    if back is None or back.file in broken:
        return []
    if any(other.back == back and other.front.file not in broken for other in deck.cards):
        return []
    return [Problem(back.file, "note", "ignored", f"Its front, {card.front.file}, can't be used.")]


def broken_art(deck: Deck, source: Callable[[Art], Path], limits: ArtLimits = DEFAULT_LIMITS) -> dict[str, Unreadable]:
    """Decode all art of ``deck`` and give what the decoders refuse, by file label; empty where all is sound."""
    arts = [art for card in deck.cards for art in (card.front, card.back) if art]
    first = {art.key: art for art in arts}
    answers = of_each(first.values(), lambda art: _trouble(art, source, limits))
    found = {key: error for key, error in zip(first, answers, strict=True) if error}
    return {art.file: found[art.key] for art in arts if art.key in found}


def of_each(arts: Iterable[Art], look: Callable[[Art], Seen]) -> list[Seen]:
    """What ``look``, which decodes, says of each. Pictures go side by side, since Pillow lets go of the interpreter
    meanwhile; PyMuPDF must not, so PDF pages go one by one, and so do large pictures for the memory that they take."""
    with ThreadPoolExecutor(min(_MOST_THREADS, os.cpu_count() or 1)) as pool:
        jobs = [(art, None if _goes_alone(art) else pool.submit(look, art)) for art in arts]
    return [job.result() if job else look(art) for art, job in jobs]


def _goes_alone(art: Art) -> bool:
    return art.is_vector or art.width_px * art.height_px > _LARGE_PX


def _trouble(art: Art, source: Callable[[Art], Path], limits: ArtLimits) -> Unreadable | None:
    try:
        verify(source(art), art, limits)
    except Unreadable as error:
        return error
    return None
