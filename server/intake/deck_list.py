"""deck.csv: which cards to print, in which order, with which backs, how often.

The first line names the columns: ``front`` (needed), ``back``, ``copies``, ``name``. Commas or semicolons part the
cells. Paths are relative to the deck's folder; ``fronts/`` or ``backs/``, the ending and ``_x3`` may be left out. A
blank back is paired as usual, ``none`` is no back; blank copies are those of the file's name.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from server.core.art import Problem, Severity
from server.formats.limits import MAX_COPIES, MAX_DECK_LIST_BYTES
from server.formats.refusal import BadArt
from server.intake.natural import fold

DECK_LIST = "deck.csv"
COLUMNS = ("front", "back", "copies", "name")
_HOW = "Its first line is front,back,copies,name, and every other line is one card."


@dataclass(frozen=True, slots=True)
class Row:
    """One line: ``line`` from 1; texts as they stand, trimmed; ``copies`` None where blank.

    ``bad_copies`` is the text of copies that can't be read.
    """

    line: int
    front: str
    back: str = ""
    copies: int | None = None
    name: str = ""
    bad_copies: str = ""

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
            row, problem = _row(columns, cells, reader.line_num)
            rows += [row] if row else []
            problems += [problem] if problem else []
    except csv.Error as error:
        problems.append(list_problem("error", f"Line {reader.line_num} can't be read ({error}); the rest is left out."))
    if columns is None:
        return DeckList(problems=(list_problem("error", "It is empty, so it wasn't followed."),), usable=False)
    return DeckList(tuple(rows), tuple(problems))


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


def _row(columns: list[str], cells: list[str], line: int) -> tuple[Row | None, Problem | None]:
    value = {name: cell.strip() for name, cell in zip(columns, cells, strict=False)}
    front = value.get("front", "")
    if not front:
        return None, list_problem("error", f"Line {line} names no front.")
    copies, bad = _copies(value.get("copies", ""))
    problem = None
    if bad:
        problem = list_problem("error", f"Line {line}: copies {bad[:20]!r} is no whole number from 0 to {MAX_COPIES}, "
                                        "so none is printed.", "Write a whole number, or leave it blank.")
    return Row(line, front, value.get("back", ""), copies, value.get("name", ""), bad), problem


def _copies(text: str) -> tuple[int | None, str]:
    """(copies, the text if it can't be read)."""
    if not text:
        return None, ""
    if text.isascii() and text.isdigit() and len(text.lstrip("0")) <= len(str(MAX_COPIES)):
        return int(text), ""
    return None, text
