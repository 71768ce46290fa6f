"""What people chose over what a folder says: backs, copies, names, order; cards taken out or turned over."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from server.core.art import Art, Card, Override, Problem
from server.formats.limits import MAX_COPIES
from server.intake.drafts import Draft, Table, blank_back, no_copies


@dataclass(frozen=True, slots=True)
class Choices:
    """``overrides`` go by a card's label, ``order`` lists such labels; ``proposals`` says of a proposal's id whether
    it was taken (True) or declined."""

    overrides: Mapping[str, Override] = field(default_factory=dict)
    proposals: Mapping[str, bool] = field(default_factory=dict)
    order: Sequence[str] = ()

    def of(self, draft: Draft) -> Override | None:
        return self.overrides.get(draft.front.file)

    @property
    def taken(self) -> frozenset[str]:
        return frozenset(proposal for proposal, yes in self.proposals.items() if yes)


NO_CHOICES = Choices()


def overruled(table: Table, draft: Draft, override: Override | None) -> Draft:
    """``draft`` with what a person changed."""
    if override is None:
        return draft
    file = draft.front.file
    if override.name:
        draft = replace(draft, name=override.name)
    if override.copies is not None and 0 <= override.copies <= MAX_COPIES:
        none = no_copies(file, "0 copies were chosen") if override.copies == 0 else None
        draft = replace(draft, copies=override.copies, copies_problem=none)
    if override.back == "":
        return replace(draft, back=None, why="", back_problem=blank_back(file, "the choice made for it"))
    if override.back is not None:
        back = _labelled(table, override.back)
        gone = Problem(file, "warning", "chosen-back", f"The back chosen for it, {override.back}, can't be found.",
                       "Choose another back, or put that one in again.")
        return replace(draft, back=back, why="the choice made for it" if back else "", sure=True,
                       back_problem=None if back else gone)
    return draft


def _labelled(table: Table, label: str) -> Art | None:
    """The art of that file label; a file with several pages answers to its bare path with the first."""
    arts = table.files.get(label)
    return table.by_label.get(label) or (arts[0] if arts else None)


def is_out(draft: Draft, override: Override | None, chosen_backs: Collection[str]) -> bool:
    """Whether a draft makes no card: somebody took it out, or made its picture the back of others.

    A front with a back of its own, or one that somebody put in again, stays a card all the same.
    """
    if override and override.out is not None:
        return override.out
    return draft.front.file in chosen_backs and (draft.back is None or draft.shares_back)


def card_of(draft: Draft, override: Override | None) -> Card:
    """The card, turned over where somebody swapped its sides, its bleed made as somebody chose, or the deck list."""
    front, back = draft.front, draft.back
    way = override.bleed if override and override.bleed else draft.bleed
    if way and way != "deck":
        front = replace(front, bleed=way)
        back = replace(back, bleed=way) if back else None
    if override and override.swapped and back:
        return Card(draft.name, back, front, draft.copies, draft.front.file)
    return Card(draft.name, front, back, draft.copies, draft.front.file)


def ordered(cards: Sequence[Card], order: Sequence[str]) -> tuple[Card, ...]:
    """Cards in the order that was chosen; one that it doesn't name follows the card that it follows in the folder."""
    if not order:
        return tuple(cards)
    place = {label: (number, 0) for number, label in enumerate(order)}
    keys: list[tuple[tuple[int, int], int]] = []
    last = (-1, 0)
    for number, card in enumerate(cards):
        last = place.get(card.label, (last[0], last[1] + 1))
        keys.append((last, number))
    return tuple(cards[number] for _, number in sorted(keys))
