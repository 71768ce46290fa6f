"""The rows of a deck list become cards in the making."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from server.core.art import Art, Problem
from server.intake.backs import page_for
from server.intake.deck_list import DECK_LIST, Row, list_problem
from server.intake.picks import Pick, Table, blank_back, no_copies, picks_of
from server.intake.places import Finder, Found, Role

_MOST_SUGGESTIONS = 20  # looking for near names takes a while, and a list that is wrong throughout has one cause


class ListReader:
    """Follows a deck list. ``problems`` holds what its rows got wrong."""

    def __init__(self, table: Table) -> None:
        self._table = table
        self._finder = Finder((*table.places.values(), *table.broken.values()))
        self._suggested = 0
        self.problems: list[Problem] = []

    def picks(self, rows: tuple[Row, ...]) -> Iterator[Pick]:
        """The cards that the rows name, in their order; a row that names no art is a problem and no card."""
        for row in rows:
            found = self._find(row, row.front, "front")
            if not found:
                continue
            picks = list(picks_of(self._table, self._table.places[found.paths[0]], found.page))
            if not picks:
                self._say(row, f"{found.paths[0]} has no page {found.page}.", "Pages count from 1.")
            back = self._back(row)
            for number, pick in enumerate(picks):
                yield self._ruled(row, pick, number, back, len(picks))

    def _ruled(self, row: Row, pick: Pick, number: int, back: tuple[Art, ...] | None, pages: int) -> Pick:
        """``pick`` with what the row overrules."""
        if back is not None:
            chosen = page_for(back, number) if back else None
            blank = blank_back(pick.front.file, DECK_LIST) if row.wants_no_back else None
            pick = replace(pick, back=chosen, back_problem=blank)
        if row.bad_copies:
            pick = replace(pick, copies=0, copies_problem=None)
        elif row.copies is not None:
            none = no_copies(pick.front.file, f"{DECK_LIST} asks for 0 copies") if row.copies == 0 else None
            pick = replace(pick, copies=row.copies, copies_problem=none)
        if row.name:
            pick = replace(pick, name=row.name if pages == 1 else f"{row.name} {number + 1}")
        return pick

    def _back(self, row: Row) -> tuple[Art, ...] | None:
        """None: paired as usual. Empty: no back. Otherwise the back's pages."""
        if not row.back:
            return None
        if row.wants_no_back:
            return ()
        found = self._find(row, row.back, "back")
        if not found:
            return ()
        arts = self._table.files[found.paths[0]]
        if found.page > len(arts):
            self._say(row, f"{found.paths[0]} has no page {found.page}.", "Pages count from 1.")
            return ()
        return (arts[found.page - 1],) if found.page else arts

    def _find(self, row: Row, written: str, role: Role) -> Found | None:
        found = self._finder.find(written, role)
        if len(found.paths) == 1 and found.paths[0] in self._table.broken:
            self._say(row, f"{found.paths[0]} can't be used.", "Put a sound file in its place.")
            return None
        if len(found.paths) == 1:
            return found
        if found.paths:
            self._say(row, f"{written[:80]!r} can be {' or '.join(found.paths[:3])}.", "Write the whole path.")
            return None
        self._suggested += 1
        near = self._finder.nearest(written, role) if self._suggested <= _MOST_SUGGESTIONS else ""
        self._say(row, f"no art is called {written[:80]!r}.",
                  f"Did you mean {near}?" if near else "Write the path as it stands in the folder.")
        return None

    def _say(self, row: Row, message: str, fix: str) -> None:
        self.problems.append(list_problem("error", f"Line {row.line}: {message}", fix, "deck-list-file"))
