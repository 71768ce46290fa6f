"""A kept deck as its cards: the virtual folder read through the same pairing as a folder on disk, and cached."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from urllib.parse import quote

from server.core.art import Art, Deck, Override, Problem
from server.core.bleed import SUITED, decide
from server.core.card_from_art import likely_card, with_card_of_art
from server.core.checks import all_problems
from server.core.settings import DeckSettings
from server.errors import LampfoldError
from server.formats.limits import BadArt, problem_from
from server.intake.choices import Choices
from server.intake.deck_list import decode_list
from server.intake.pairing import pair
from server.store import Store
from server.store.art_records import ArtRecord
from server.store.deck_state import DECK_LIST, DeckFile, DeckState
from server.store.decks import DeckRow
from server.web import models

_KEPT_VIEWS, _KEPT_CARDS, _KEPT_SUMMARIES = 64, 12_000, 1000
_SCREEN_PX = 512
_FAN = 3


@dataclass(frozen=True, slots=True)
class DeckView:
    """One revision of a deck, derived: its cards, its settings with the art's card where nobody chose one, what was
    read in each file, and every problem."""

    row: DeckRow
    deck: Deck
    settings: DeckSettings
    records: dict[str, ArtRecord]
    problems: tuple[Problem, ...]

    def art(self, label: str) -> Art | None:
        """The art of that label, on a card or not."""
        return next((art for record in self.records.values() for art in record.arts if art.file == label), None)


class DeckViews:
    """Derives views from the store; the latest ones are kept, since a page asks for the same deck again and again."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._kept: OrderedDict[tuple[str, int], DeckView] = OrderedDict()
        self._summaries: OrderedDict[tuple[str, int], models.DeckSummary] = OrderedDict()
        self._lock = threading.Lock()

    def view(self, row: DeckRow) -> DeckView:
        kept = self._known(row)
        if kept:
            return kept
        made = self._derive(row)
        with self._lock:
            self._kept[row.id, row.version] = made
            while len(self._kept) > 1 and (len(self._kept) > _KEPT_VIEWS or sum(
                    len(view.records) + len(view.deck.cards) for view in self._kept.values()) > _KEPT_CARDS):
                self._kept.popitem(last=False)
        return made

    def _known(self, row: DeckRow) -> DeckView | None:
        mark = (row.id, row.version)
        with self._lock:
            kept = self._kept.get(mark)
            if kept is None:
                return None
            self._kept.move_to_end(mark)
        return replace(kept, row=row)

    def summary(self, row: DeckRow, version: str = "") -> models.DeckSummary:
        """``summary_of`` the row's view, remembered for far more decks than views are: the Desk lists them all."""
        mark = (row.id, row.version)
        with self._lock:
            known = self._summaries.get(mark)
        if known is None:
            known = summary_of(self._known(row) or self._derive(row))  # who lists decks opens few of them
            with self._lock:
                self._summaries[mark] = known
                while len(self._summaries) > _KEPT_SUMMARIES:
                    self._summaries.popitem(last=False)
        return known.model_copy(update={"updated": row.updated, "deleted": row.deleted, "version": version})

    def _derive(self, row: DeckRow) -> DeckView:
        state = row.state
        records = self._store.art.get_many(file.key for file in state.files)
        named = {file.path: records[file.key].named(file.path) for file in state.files if file.key in records}
        listed, wrong = self._deck_list(state)
        deck = derive_deck(state, named, listed)
        unread = tuple(record.problem for record in named.values() if record.problem)
        deck = replace(deck, problems=(*wrong, *unread, *deck.problems))
        deck, settings = with_card_of_art(deck, state.settings, state.card_chosen)
        return DeckView(row, deck, settings, named, all_problems(deck, settings))

    def _deck_list(self, state: DeckState) -> tuple[str | None, tuple[Problem, ...]]:
        """The deck list's text, and what is wrong with it; its name counts in any case, as in a folder."""
        file = next((file for file in state.files if file.path.lower() == DECK_LIST), None)
        if file is None:
            return None, ()
        try:
            return decode_list(self._store.blobs.path(file.key).read_bytes()), ()
        except BadArt as error:
            return None, (problem_from(error, file.path),)


def derive_deck(state: DeckState, records: dict[str, ArtRecord], deck_list: str | None) -> Deck:
    """The deck that the virtual folder makes. A deck list that can't be read is a problem, not an error."""
    files = {path: record.arts for path, record in records.items() if record.arts}
    choices = Choices({file: Override(**values) for file, values in state.overrides.items()}, state.proposals,
                      state.order)
    # What can't be used keeps its name's place: without it, the one sound back of two would serve every card.
    broken = [path for path, record in records.items() if record.problem]
    try:
        return pair(files, deck_list, state.name, choices, broken=broken)
    except LampfoldError as error:
        problem = Problem(DECK_LIST, "error", "deck-list", error.message, error.fix)
        deck = pair(files, None, state.name, choices, broken=broken)
        return replace(deck, problems=(problem, *deck.problems))


def record_of(view: DeckView) -> models.DeckRecord:
    """The API's record of a deck."""
    row, settings, deck = view.row, view.settings, view.deck
    likely = likely_card(deck)
    return models.DeckRecord(
        id=row.id, name=row.state.name, revision=row.version, can_undo=row.can_undo, can_redo=row.can_redo,
        updated=row.updated, settings=settings, card_chosen=row.state.card_chosen,
        likely_card=likely.card if likely else None,
        files=[file_of(file, view.records.get(file.path)) for file in row.state.files],
        cards=_cards_of(deck, settings), out=_out_of(view),
        pairs=[models.PairOut(front=one.front, back=one.back, why=one.why, sure=one.sure) for one in deck.pairs],
        proposals=[models.ProposalOut(**asdict(one)) for one in deck.proposals],
        problems=[problem_of(problem) for problem in view.problems],
    )


def _out_of(view: DeckView) -> list[str]:
    """The labels of art that somebody took out, or made a back of, in place of a card."""
    shown = {card.label for card in view.deck.cards}
    arts = (art.file for record in view.records.values() for art in record.arts)
    return [file for file in arts if view.row.state.overrides.get(file, {}).get("out") and file not in shown]


def version_row(version_id: str, state: DeckState) -> DeckRow:
    """A version as a deck at a revision of its own, to derive a view from."""
    return DeckRow(version_id, state, 0, False, False, "", None)


def summary_of(view: DeckView, version: str = "") -> models.DeckSummary:
    """``version`` names the latest that is kept of the deck, or was released."""
    row, deck = view.row, view.deck
    # Spread over the deck, because neighbours by name often look alike.
    keys = list(dict.fromkeys(card.front.key for card in deck.cards))
    thumbs = keys if len(keys) < _FAN else [keys[len(keys) * place // _FAN] for place in range(_FAN)]
    return models.DeckSummary(
        id=row.id, name=row.state.name, updated=row.updated, cards=deck.count, files=len(row.state.files),
        thumb=keys[0] if keys else None, thumbs=thumbs, deleted=row.deleted, version=version)


def file_of(file: DeckFile, record: ArtRecord | None) -> models.FileOut:
    """One file; ``record`` is None for a deck list."""
    first = record.arts[0] if record and record.arts else None
    return models.FileOut(
        path=file.path, key=file.key, bytes=file.bytes, modified=file.modified,
        kind=first.kind if first else None if record else "deck-list",
        width_px=first.view_px[0] if first else 0, height_px=first.view_px[1] if first else 0,
        pages=len(record.arts) if record else 0,
        problem=problem_of(record.problem) if record and record.problem else None,
    )


def art_address(art: Art) -> str:
    """Where a page gets the upright picture of an art."""
    return f"/api/art/{quote(art.key, safe='')}?longest={_SCREEN_PX}"


@lru_cache(maxsize=20_000)
def problem_of(problem: Problem) -> models.ProblemOut:
    # Ours already, and a deck may have thousands, told again after each change: nothing to check, and made once.
    return models.ProblemOut.model_construct(file=problem.file, severity=problem.severity, code=problem.code,
                                             message=problem.message, fix=problem.fix)


def _cards_of(deck: Deck, settings: DeckSettings) -> list[models.CardOut]:
    card, bleed, edges = settings.card_size, settings.made_bleed_mm, settings.edges
    fits: dict[tuple[str, str | None], str] = {}

    def fit(art: Art | None) -> str:
        if art is None:
            return ""
        mark = art.key, art.bleed
        if mark not in fits:
            found = decide(art, card, bleed, edges)
            fits[mark] = found.decision.replace(SUITED, found.how or SUITED)
        return fits[mark]

    return [
        models.CardOut.model_construct(
            name=one.name, file=one.label, front=_art_of(one.front), back=_art_of(one.back) if one.back else None,
            copies=one.copies, front_fit=fit(one.front), back_fit=fit(one.back), bleed=one.front.bleed)
        for one in deck.cards
    ]


def _art_of(art: Art) -> models.ArtOut:
    return models.ArtOut.model_construct(key=art.key, file=art.file, width_px=art.view_px[0],
                                         height_px=art.view_px[1], vector=art.is_vector)
