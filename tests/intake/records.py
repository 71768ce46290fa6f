"""Decks that exist only as records, for tests of pairing."""

from __future__ import annotations

from collections.abc import Mapping

from server.core.art import Art, Deck, Override
from server.intake.choices import Choices
from server.intake.pairing import pair


def art(path: str, pages: int = 1) -> tuple[Art, ...]:
    if pages == 1:
        return (Art(path, path, "png", 630, 880),)
    return tuple(Art(f"{path}#{page + 1}", f"{path}#{page}", "pdf", page=page, size_mm=(63.0, 88.0))
                 for page in range(pages))


def paired(*paths: str | tuple[str, int], deck_csv: str | None = None, broken: tuple[str, ...] = (),
           overrides: Mapping[str, Override] | None = None, taken: tuple[str, ...] = (),
           order: tuple[str, ...] = ()) -> Deck:
    files = dict((path, art(path)) if isinstance(path, str) else (path[0], art(*path)) for path in paths)
    return pair(files, deck_csv, "Harbour", Choices(overrides or {}, dict.fromkeys(taken, True), order), broken=broken)


def cards(deck: Deck) -> list[tuple[str, str | None, int]]:
    return [(card.front.file, card.back.file if card.back else None, card.copies) for card in deck.cards]


def said(deck: Deck) -> set[tuple[str, str]]:
    return {(problem.code, problem.file) for problem in deck.problems}
