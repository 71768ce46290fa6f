"""Change sheets: only what brings a built deck from one version to the next, and what has to leave it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from server.core.art import Art, Deck
from server.core.changes import Changed, Changes, Counted, Faces, compare
from server.core.registration.printer import Printer
from server.core.settings import DeckSettings
from server.drawing.take_out import TakeOut, take_out_pages
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.prepress.prepare import Prepared, prepare
from server.prepress.record import (
    Picture,
    Record,
    as_printed,
    difference_percent,
    make_record,
    readable_deck,
    small_pictures,
)

_SAME_MM = 0.01


@dataclass(frozen=True)
class ChangeSheet:
    """What changed since ``old``. ``deck`` holds the cards to print alone, each with as many copies as are missing."""

    old: Record
    new: Record
    changes: Changes
    deck: Deck

    @property
    def has_pages(self) -> bool:
        """Whether there is anything to print: a card, or the list of those to take out."""
        return not self.changes.nothing

    @property
    def says(self) -> str:
        """What the page of cards to take out says under its title."""
        was = f" {self.old.version}" if self.old.version else ""
        out = sum(one.copies for one in self.changes.take_out)
        new = sum(one.copies for one in self.changes.printed)
        return f"From {self.old.deck}{was}: {out} to take out, {new} printed to put in."


def changes_between(old: Record, new: Record) -> Changes:
    """What brings a built deck from one version to the other."""
    same_size = all(abs(one - other) <= _SAME_MM for one, other in zip(old.size_mm, new.size_mm, strict=True))
    return compare(old.cards, new.cards, same_size=same_size)


def change_sheet(deck: Deck, settings: DeckSettings, source: Callable[[Art], Path], old: Record,
                 known: dict[str, Picture] | None = None) -> ChangeSheet:
    """Compare ``deck`` with ``old`` by what its pictures show, where they are printed: a method without backs prints
    nothing anew for a back. Decodes; raises Unreadable, naming the art."""
    old, new = as_printed(old, settings), as_printed(make_record(deck, settings, source, known), settings)
    changes = changes_between(old, new)
    cards = tuple(replace(deck.cards[one.index], copies=one.copies) for one in changes.printed)
    return ChangeSheet(old, new, changes, replace(deck, cards=cards))


def prepare_since(deck: Deck, settings: DeckSettings, source: Callable[[Art], Path], old: Record,
                  printer: Printer | None = None, limits: ArtLimits = DEFAULT_LIMITS,
                  known: dict[str, Picture] | None = None) -> tuple[ChangeSheet, Prepared]:
    """What changed since ``old``, and the cards to print laid out: where there are none, a plan without a sheet.
    ``known``: see ``make_record``.

    A change sheet has no box, which is made for a whole deck. Raises what ``change_sheet`` and ``prepare`` raise.
    """
    settings = replace(settings, box="")
    known = {} if known is None else known
    deck = readable_deck(deck, source, known)
    sheet = change_sheet(deck, settings, source, old, known)
    if sheet.deck.count:
        return sheet, prepare(sheet.deck, settings, source, printer, limits)
    whole = prepare(deck, settings, source, printer, limits)
    planned = replace(whole.planned, plan=replace(whole.planned.plan, order=()),
                      candidates=(replace(whole.planned.best, papers=0, cuts=0, waste_percent=0.0),))
    return sheet, replace(whole, planned=planned)


def printed_says(printed: int, cards: int, sheets: int) -> str:
    """How much of a deck is printed anew: "12 of 40 cards, 2 sheets"."""
    return f"{printed} of {cards} card{'' if cards == 1 else 's'}, {sheets} sheet{'' if sheets == 1 else 's'}"


def changes_to_json(sheet: ChangeSheet, prepared: Prepared) -> dict[str, Any]:
    """``take_out`` by the old version's names, ``printed`` by the new one's, how far each changed card differs, and
    the PDF's ``pages`` with the list of cards to take out."""
    old, new = sheet.old, sheet.new
    plan = prepared.planned.plan
    return {
        "pages": len(plan.faces) + take_out_pages(plan.layout.printable, len(sheet.changes.take_out)),
        "take_out": _by_name([card.name for card in old.cards], sheet.changes.take_out),
        "printed": _by_name([card.name for card in new.cards], sheet.changes.printed),
        "changed": [{"old": old.cards[one.old].name, "new": new.cards[one.new].name, "sides": list(one.sides),
                     "differs_percent": _differs(old, new, one)}
                    for one in sheet.changes.changed],
    }


def _by_name(names: list[str], counted: tuple[Counted, ...]) -> list[dict[str, Any]]:
    copies: Counter[str] = Counter()
    for one in counted:
        copies[names[one.index]] += one.copies
    return [{"name": name, "copies": count} for name, count in copies.items()]


def _differs(old: Record, new: Record, change: Changed) -> float | None:
    """The greatest difference of the sides that both versions have a picture of, None where one has none."""
    found = []
    for side in change.sides:
        before = old.small.get(getattr(old.cards[change.old], side))
        after = new.small.get(getattr(new.cards[change.new], side))
        if before and after:
            found.append(difference_percent(before, after))
    return max(found, default=None)


def shown_changes(old_deck: Deck, old: Record, new_deck: Deck, new: Record) -> dict[str, Any]:
    """What changed between two versions for people to look at, every card with the keys of its arts.

    ``changed`` says of each card what differs: front, back, copies. Each deck is the one that its record is of.
    """
    changes = changes_between(old, new)

    def card(deck: Deck, index: int, copies: int | None = None) -> dict[str, Any]:
        one = deck.cards[index]
        return {"name": one.name, "copies": one.copies if copies is None else copies, "front": one.front.key,
                "back": one.back.key if one.back else None}

    changed: list[dict[str, Any]] = []
    for one in changes.changed:
        copies = old_deck.cards[one.old].copies != new_deck.cards[one.new].copies
        changed.append({"old": card(old_deck, one.old), "new": card(new_deck, one.new),
                        "what": [*one.sides, *(["copies"] if copies else [])],
                        "differs_percent": _differs(old, new, one)})
    counted: dict[Faces, tuple[int, int]] = {}
    for index in changes.recounted:
        faces = new.cards[index].faces
        if faces in counted:
            continue
        counted[faces] = was, now = _copies_of(old, faces), _copies_of(new, faces)
        if not now:  # gone already
            continue
        before = next(place for place, one in enumerate(old.cards) if one.faces == faces)
        changed.append({"old": card(old_deck, before, was), "new": card(new_deck, index, now), "what": ["copies"],
                        "differs_percent": None})
    return {
        "cards": new_deck.count, "added": [card(new_deck, index) for index in changes.added],
        "gone": [card(old_deck, index) for index in changes.gone], "changed": changed,
        "take_out": [card(old_deck, one.index, one.copies) for one in changes.take_out],
        "printed": [card(new_deck, one.index, one.copies) for one in changes.printed],
    }


def _copies_of(record: Record, faces: Faces) -> int:
    return sum(card.copies for card in record.cards if card.faces == faces)


@contextmanager
def take_out_pictures(sheet: ChangeSheet) -> Iterator[tuple[tuple[TakeOut, ...], dict[str, Path]]]:
    """The cards to take out with their small pictures as art, and where each art key's file lies while it is open."""
    out = [(sheet.old.cards[one.index], one.copies) for one in sheet.changes.take_out]
    with small_pictures(sheet.old, (digest for card, _ in out for digest in card.faces)) as (arts, paths):
        yield tuple(TakeOut(card.name, copies, arts.get(card.front), arts.get(card.back))
                    for card, copies in out), paths
