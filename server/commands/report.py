"""How commands say what they found: plain text for people, plain values for ``--json``."""

from __future__ import annotations

import json
import re
import shlex
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from typing import Any

from server.core.art import Card, Deck, Problem, Proposal, Severity
from server.intake.deck_list import DECK_LIST

WIDTH = 100
_MOST_FILES = 6
# What is shared with the pages says what to do without a word of either place; here the option stands beside it.
_OPTIONS: tuple[tuple[str, str], ...] = (
    (r"another build method|a build method that does", "--method"), (r"other methods", "--methods"),
    (r"(?:a )?smaller card", "--card"),
    (r"larger paper(?!s)|smaller paper|as the paper|Choose (?:A\d|Letter|Legal|Tabloid)\b(?! as)", "--paper"),
    (r"larger papers", "--papers"), (r"less bleed", "--bleed"), (r"at the margins|or margin\b", "--margin"),
    (r"hinge strip of [\d.]+ mm", "--hinge"), (r"less clearance", "--box-clearance"), (r"other kind of box", "--box"),
    (r"another size", "--card"), (r"as the flip", "--flip"), (r"without the colour", "--back-flood"),
    (r"give the version a short name", "--version"), (r"switch it off", "--version-mark"),
    (r"crease nearer to the middle", "--core"),
)
_WORDS: tuple[tuple[str, str], ...] = (
    (r"the test sheet (again )?on the True-up page", r"the test sheet \1(lampfold gauge-sheet, lampfold fit)"),
    (r"a test sheet on the True-up page", "a test sheet (lampfold gauge-sheet, lampfold fit)"),
    (r"as the Art page does", "by its path in the folder"), (r"Use ([\w-]+)\?$", r"Use --card \1."),
)
_HEADINGS: tuple[tuple[Severity, str], ...] = (
    ("error", "Not used"), ("warning", "Look at these"), ("note", "For the record"))


def as_json(values: dict[str, Any] | list[dict[str, Any]]) -> str:
    """JSON; letters outside ASCII are escaped, so that any console and any file name will do."""
    return json.dumps(values, indent=2)


def here(fix: str) -> str:
    """A way out in the words of the command line: with the options, and without the pages."""
    for pattern, words in _WORDS:
        fix = re.sub(pattern, words, fix)
    for pattern, option in _OPTIONS:
        if option not in fix.split():
            fix = re.sub(rf"({pattern})(?! \(--)", rf"\1 ({option})", fix, count=1, flags=re.IGNORECASE)
    return fix


def problem_values(problems: Iterable[Problem]) -> list[dict[str, str]]:
    """Problems as ``{"file", "severity", "code", "message", "fix"}``."""
    return [{**asdict(problem), "fix": here(problem.fix)} for problem in problems]


def pair_values(deck: Deck) -> dict[str, Any]:
    """What each pair stands on, what else may be meant, and which cards make their bleed in a way of their own:
    ``{"pairs": [{"front", "back", "why", "sure"}], "proposals": [{"id", "group", "says", "pairs", "option"}],
    "bleeds": [{"front", "bleed", "why"}]}``."""
    return {"pairs": [asdict(pair) for pair in deck.pairs],
            "proposals": [{**asdict(proposal), "option": _option(proposal)} for proposal in deck.proposals],
            "bleeds": [{"front": one.label, "bleed": one.front.bleed, "why": DECK_LIST} for one in _own_bleeds(deck)]}


def _own_bleeds(deck: Deck) -> list[Card]:
    return [card for card in deck.cards if card.front.bleed]


def _option(proposal: Proposal) -> str:
    return f"--pairs {shlex.quote(proposal.id)}"


def pair_lines(deck: Deck) -> Iterator[str]:
    """How many pairs stand on what, and what is only proposed, with the option that takes it."""
    if deck.pairs:
        yield ""
        yield "Pairs"
    for why, count in Counter(pair.why for pair in deck.pairs).items():
        yield from wrapped(f"{counted(count, 'pair')} by {why}", "  ")
    if own := _own_bleeds(deck):
        yield ""
        yield "Bleed"
    for way, count in Counter(card.front.bleed for card in own).items():
        yield from wrapped(f"{way} for {counted(count, 'card')} by {DECK_LIST}", "  ")
    if deck.proposals:
        yield ""
        yield "Not sure: these may be pairs"
    for proposal in deck.proposals:
        first = proposal.pairs[0]
        said = f"{counted(len(proposal.pairs), 'pair')} by {proposal.says}"
        yield from wrapped(f"{said} ({first.front} with {first.back}): {_option(proposal)}", "  ")


def problem_lines(problems: Sequence[Problem]) -> Iterator[str]:
    """Problems by severity, then by what they say; files that share a message share a line."""
    for severity, heading in _HEADINGS:
        groups: dict[tuple[str, str, str], list[str]] = {}
        for problem in problems:
            if problem.severity == severity:
                groups.setdefault((problem.code, problem.message, problem.fix), []).append(problem.file)
        if groups:
            yield ""
            yield heading
        for (_, message, fix), files in groups.items():
            text = message if severity == "note" or not fix else f"{message} {here(fix)}"
            named = list(dict.fromkeys(file for file in files if file))
            yield from wrapped(f"{named[0]}: {text}" if len(named) == 1 else text, "  ")
            if len(named) > 1:
                yield from wrapped(f"{len(named)} files: {_names(named)}", "    ")


def _names(files: list[str]) -> str:
    more = len(files) - _MOST_FILES
    if more > 1:  # a line that says "and 1 more" could have named it
        return f"{', '.join(files[:_MOST_FILES])} and {more} more"
    return ", ".join(files)


def wrapped(text: str, indent: str) -> list[str]:
    """``text`` in lines of at most WIDTH, what isn't printable left out; the second line on is set in further."""
    clean = "".join(letter if letter.isprintable() else "\ufffd" for letter in text)
    return textwrap.wrap(clean, WIDTH, initial_indent=indent, subsequent_indent=indent + "    ",
                         break_long_words=False, break_on_hyphens=False)


def counted(count: int, one: str, several: str = "") -> str:
    """``1 card``, ``2 cards``."""
    return f"{count} {one if count == 1 else several or one + 's'}"


def table(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows in columns, the first row the heading; numbers stand to the right, the last column to the left."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        cells = [cell.rjust(width) for cell, width in zip(row[:-1], widths, strict=False)]
        yield f"  {'  '.join((*cells, row[-1]))}".rstrip()
