"""deck.csv: which cards to print, in which order, with which backs, how often.

The first line names the columns: ``front`` (needed), ``back``, ``copies``, ``name``, ``bleed``. Commas or semicolons
part the cells. Paths are relative to the deck's folder; ``fronts/`` or ``backs/``, the ending and ``_x3`` may be left
out. A blank back is paired as usual, ``none`` is no back; blank copies are those of the file's name; a blank bleed is
made as the deck's.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import get_args

from server.core.art import Art, Deck, Problem, Severity
from server.core.edge_bleed import EdgeMode
from server.formats.limits import MAX_COPIES, MAX_DECK_LIST_BYTES, MAX_DECK_LIST_LINES, BadArt
from server.intake.drafts import Draft, Table, blank_back, drafts_of, no_copies, page_for
from server.intake.likeness import MOST_SUGGESTIONS, Finder, Found
from server.intake.names import Role, fold

DECK_LIST = "deck.csv"
COLUMNS = ("front", "back", "copies", "name", "bleed")
# Of a list that is wrong throughout so many lines are named.
_MOST_NAMED = 200
WAYS: tuple[EdgeMode, ...] = get_args(EdgeMode)
_HOW = f"Its first line is {','.join(COLUMNS)}, and every other line is one card."


@dataclass(frozen=True, slots=True)
class Row:
    """One line: ``line`` from 1; texts as they stand, trimmed; ``copies`` None where blank.

    ``bad_copies`` is the text of copies that can't be read; ``bleed`` None as the deck's.
    """

    line: int
    front: str
    back: str = ""
    copies: int | None = None
    name: str = ""
    bad_copies: str = ""
    bleed: EdgeMode | None = None

    @property
    def wants_no_back(self) -> bool:
        return fold(self.back) == "none"


@dataclass(frozen=True, slots=True)
class DeckList:
    """The rows in order and what is wrong with the list; ``usable`` is False where it can't be followed at all."""

    rows: tuple[Row, ...] = ()
    problems: tuple[Problem, ...] = ()
    usable: bool = True


def list_problem(severity: Severity, message: str, fix: str = _HOW, code: str = "deck-list") -> Problem:
    """Something about the deck list."""
    return Problem(DECK_LIST, severity, code, message, fix)


def decode_list(data: bytes) -> str:
    """The text of a deck list's bytes: UTF-8, with or without a byte order mark.

    Raises Unreadable (as BadArt), naming the file, the reason and the way out.
    """
    if len(data) > MAX_DECK_LIST_BYTES:
        raise BadArt(f"{DECK_LIST}: is larger than {MAX_DECK_LIST_BYTES // 1024} KiB, which no deck needs.", _HOW,
                     "deck-list")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadArt(f"{DECK_LIST}: isn't UTF-8 text, so it wasn't followed.",
                     "Save it again as CSV with UTF-8.", "deck-list") from None


def parse_list(text: str) -> DeckList:
    """The rows of a deck list. What is wrong with a line is a problem that names it; the others go on."""
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in first else ",", skipinitialspace=True)
    columns: list[str] | None = None
    rows: list[Row] = []
    problems: list[Problem] = []
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = [fold(cell.strip()) for cell in cells]
                fault = _header_fault(columns)
                if fault:
                    return DeckList(problems=(fault,), usable=False)
                problems += _unknown_columns(columns)
                continue
            if len(rows) >= MAX_DECK_LIST_LINES or len(problems) >= MAX_DECK_LIST_LINES:
                problems.append(_too_long(reader.line_num))
                break
            row, faults = _row(columns, cells, reader.line_num)
            rows += [row] if row else []
            problems += faults
    except csv.Error as error:
        problems.append(list_problem("error", f"Line {reader.line_num} can't be read ({error}); the rest is left out."))
    if columns is None:
        return DeckList(problems=(list_problem("error", "It is empty, so it wasn't followed."),), usable=False)
    return DeckList(tuple(rows), tuple(problems))


def written_list(deck: Deck) -> str:
    """The list that makes these cards of the deck's files, whatever they stand on. CSV as RFC 4180 has it."""
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(COLUMNS)
    rows.writerows((card.front.file, card.back.file if card.back else "none", card.copies, card.name,
                    card.front.bleed or "") for card in deck.cards)
    return out.getvalue()


def _too_long(line: int) -> Problem:
    return list_problem("error", f"From line {line} on it is left out: {MAX_DECK_LIST_LINES} cards are the most.",
                        "Give each card one line, with its number of copies.")


def _header_fault(columns: list[str]) -> Problem | None:
    if "front" not in columns:
        return list_problem("error", f"Its first line has no column called front ({', '.join(columns)[:80]}), so it "
                                     "wasn't followed.")
    twice = next((name for name in COLUMNS if columns.count(name) > 1), None)
    if twice:
        return list_problem("error", f"Its first line has two columns called {twice}, so it wasn't followed.")
    return None


def _unknown_columns(columns: list[str]) -> list[Problem]:
    unknown = [name for name in columns if name and name not in COLUMNS]
    if not unknown:
        return []
    return [list_problem("note", f"Columns that aren't known are left out: {', '.join(unknown)[:80]}.",
                         code="deck-list-column")]


def _row(columns: list[str], cells: list[str], line: int) -> tuple[Row | None, list[Problem]]:
    value = {name: cell.strip() for name, cell in zip(columns, cells, strict=False)}
    front = value.get("front", "")
    if not front:
        return None, [list_problem("error", f"Line {line} names no front.")]
    copies, bad = _copies(value.get("copies", ""))
    problems = []
    if bad:
        problems.append(list_problem(
            "error", f"Line {line}: copies {bad[:20]!r} is no whole number from 0 to {MAX_COPIES}, so none is printed.",
            "Write a whole number, or leave it blank."))
    written = value.get("bleed", "")
    way = next((one for one in WAYS if one == fold(written)), None)
    if written and way is None:
        problems.append(list_problem(
            "warning", f"Line {line}: bleed {written[:20]!r} is no way to make it, so it is made as the deck's.",
            f"Write {', '.join(WAYS[:-1])} or {WAYS[-1]}, or leave it blank."))
    return Row(line, front, value.get("back", ""), copies, value.get("name", ""), bad, way), problems


def _copies(text: str) -> tuple[int | None, str]:
    """(copies, the text if it can't be read)."""
    if not text:
        return None, ""
    if text.isascii() and text.isdigit() and len(text.lstrip("0")) <= len(str(MAX_COPIES)):
        return int(text), ""
    return None, text


class ListReader:
    """Follows a deck list. ``problems`` holds what its rows got wrong."""

    def __init__(self, table: Table) -> None:
        self._table = table
        self._finder = Finder((*table.names.values(), *table.broken.values()))
        self._suggested = self.wrong = 0
        self.problems: list[Problem] = []

    def drafts(self, rows: tuple[Row, ...]) -> Iterator[Draft]:
        """The cards that the rows name, in their order; a row that names no art is a problem and no card."""
        count = 0
        for row in rows:
            if count >= MAX_DECK_LIST_LINES:
                self.problems.append(_too_long(row.line))
                return
            found = self._find(row, row.front, "front")
            if not found:
                continue
            drafts = list(drafts_of(self._table, self._table.names[found.paths[0]], found.page))
            if not drafts:
                self._say(row, f"{found.paths[0]} has no page {found.page}.", "Pages count from 1.")
            back = self._back(row)
            count += len(drafts)
            for number, draft in enumerate(drafts):
                yield self._ruled(row, draft, number, back, len(drafts))

    def _ruled(self, row: Row, draft: Draft, number: int, back: tuple[Art, ...] | None, pages: int) -> Draft:
        """``draft`` with what the row overrules."""
        if back is not None:
            chosen = page_for(back, number) if back else None
            blank = blank_back(draft.front.file, DECK_LIST) if row.wants_no_back else None
            draft = replace(draft, back=chosen, why=DECK_LIST if chosen else "", sure=True, back_problem=blank)
        if row.bad_copies:
            draft = replace(draft, copies=0, copies_problem=None)
        elif row.copies is not None:
            none = no_copies(draft.front.file, f"{DECK_LIST} asks for 0 copies") if row.copies == 0 else None
            draft = replace(draft, copies=row.copies, copies_problem=none)
        draft = replace(draft, bleed=row.bleed)
        if row.name:
            draft = replace(draft, name=row.name if pages == 1 else f"{row.name} {number + 1}")
        return draft

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
        near = self._finder.nearest(written, role) if self._suggested <= MOST_SUGGESTIONS else ""
        self._say(row, f"no art is called {written[:80]!r}.",
                  f"Did you mean {near}?" if near else "Write the path as it stands in the folder.")
        return None

    def _say(self, row: Row, message: str, fix: str) -> None:
        self.wrong += 1
        if self.wrong <= _MOST_NAMED:
            self.problems.append(list_problem("error", f"Line {row.line}: {message}", fix, "deck-list-file"))
        elif self.wrong == _MOST_NAMED + 1:
            self.problems.append(list_problem("error", f"From line {row.line} on more is wrong in the same way.",
                                              "Mend the lines above first.", "deck-list-file"))
