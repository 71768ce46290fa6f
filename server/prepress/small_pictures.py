"""The small pictures of a release's index: some cards of each deck, made while its PDFs are packed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from server.core.art import Art, Card, Deck
from server.formats.limits import ArtLimits
from server.formats.reader import read_art
from server.formats.shrink import Order, Shrinking

# Two pages of them, and a standard deck whole. To decode more of what a build only copies takes longer than a build.
MOST_PICTURES = 70
_SMALL_BYTES = 64 * 1024  # goes in as it is
_SMALL_PX = 200  # 170 ppi where it is printed


class SmallPictures:
    """Pictures by deck, numbered as in the order. A context, whose end ends what is under way and takes
    ``folder`` away, which is made where it is needed."""

    def __init__(self, folder: Path, limits: ArtLimits) -> None:
        self._folder, self._limits = folder, limits
        self._cards: dict[int, tuple[Card, ...]] = {}
        self._shrinking: dict[int, Shrinking] = {}
        self._small: dict[int, dict[str, Path]] = {}  # by the key of the art that is shown
        self._paths: dict[str, Path] = {}  # by the key of its small picture

    def __enter__(self) -> SmallPictures:
        return self

    def __exit__(self, *_: object) -> None:
        for one in self._shrinking.values():
            one.end()
        if self._folder.is_dir():
            for path in self._folder.iterdir():
                path.unlink()
            self._folder.rmdir()

    def begin(self, number: int, deck: Deck, source: Callable[[Art], Path]) -> None:
        """Have the pictures of a deck made, if that isn't under way."""
        if number in self._cards:
            return
        cards = self._cards[number] = tuple(card for card in deck.cards if card.copies)
        orders: list[Order] = []
        small: dict[str, Path] = {}
        for front in {card.front.key: card.front for card in shown(cards)}.values():
            path = source(front)
            if front.kind not in ("png", "jpeg") or path.stat().st_size > _SMALL_BYTES:
                orders.append(Order(front, path, self._folder / f"{number}-{len(orders)}.jpg"))
                path = orders[-1].small
            small[front.key] = path
        if orders:
            self._folder.mkdir(exist_ok=True)
        self._small[number] = small
        self._shrinking[number] = Shrinking(orders, _SMALL_PX, self._limits)

    def of(self, number: int) -> tuple[tuple[tuple[str, int, Art], ...], tuple[tuple[str, int], ...]]:
        """(name, copies, picture) of the cards that are shown, (name, copies) of the others, in the deck's order."""
        self._shrinking[number].finish()
        cards, small = self._cards[number], self._small[number]
        pictures: dict[str, Art] = {}
        for at, front in enumerate({card.front.key: card.front for card in shown(cards)}.values()):
            key, path = f"{number}-{at}", small[front.key]
            self._paths[key] = path
            made = path.parent == self._folder
            pictures[front.key] = read_art(path, path.name, key)[0] if made else replace(front, key=key)
        chosen = set(map(id, shown(cards)))
        return (tuple((card.name, card.copies, pictures[card.front.key]) for card in cards if id(card) in chosen),
                tuple((card.name, card.copies) for card in cards if id(card) not in chosen))

    def source(self, art: Art) -> Path:
        """The file of one of these pictures."""
        return self._paths[art.key]


def shown(cards: tuple[Card, ...]) -> tuple[Card, ...]:
    """All of them, or of very many as many as are shown, from all over the deck."""
    most = min(len(cards), MOST_PICTURES)
    return tuple(cards[at * len(cards) // most] for at in range(most))
