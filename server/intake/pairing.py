"""Fronts and backs become cards: by their names, by the deck list, and by what a person changed.

A back belongs to the front of the same stem: in the same nested folder first, then anywhere if only one such back
exists. A single file in ``backs`` serves all. PDF pages pair page by page. No file vanishes: each is in a card, is
ignored with a reason, or is a problem.

| code | severity | what it says |
| --- | --- | --- |
| no-fronts-folder | note | no fronts/ folder, so all art outside backs/ counts as fronts |
| no-copies | note | the name or the deck list asks for none |
| too-many-copies | error | more copies than can be meant; none is printed |
| copies-on-back | note | copies stand on the back's name, where they have no say |
| blank-back | note | somebody wants no back |
| ambiguous-back | warning | several backs fit equally well; none was taken |
| chosen-back | warning | the back that was chosen isn't in the deck |
| broken-back | warning | its back is there, but can't be used |
| unmatched-back | error | a back that no front wants |
| stray-art | error | art outside fronts/ and backs/ |
| ignored | note | left out on purpose, with the reason |
| deck-list, deck-list-file, deck-list-column | error, note | what is wrong with deck.csv, and in which line |
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from server.core.art import Art, Card, Deck, Override, Problem
from server.formats.limits import MAX_COPIES
from server.intake.backs import Backs
from server.intake.deck_list import DECK_LIST, parse_list
from server.intake.listed import ListReader
from server.intake.natural import fold, natural_key
from server.intake.picks import Pick, Table, blank_back, no_copies, picks_of
from server.intake.places import Place, place_of

_NO_OVERRIDES: Mapping[str, Override] = {}


def pair(files: Mapping[str, tuple[Art, ...]], deck_csv: str | None, name: str,
         overrides: Mapping[str, Override] = _NO_OVERRIDES, broken: Collection[str] = ()) -> Deck:
    """The deck that these files make.

    ``files`` maps each file's path in the deck ("fronts/knight_x3.png") to its art, one record or one per PDF page;
    ``deck_csv`` is the deck list's text; ``overrides`` are keyed by the front's file label. ``broken`` are the paths of
    art that couldn't be read: it makes no card, but its name still counts, so that nothing else takes its place.
    Nothing that a person named or wrote raises: it becomes a problem of the deck.
    """
    problems: list[Problem] = []
    rows = None
    if deck_csv is not None:
        deck_list = parse_list(deck_csv)
        problems += deck_list.problems
        rows = deck_list.rows if deck_list.usable else None
    unusable = {path for path in broken if not files.get(path)}
    places = [place_of(path) for path in sorted({path for path in files if files[path]} | unusable, key=natural_key)]
    if not any(place.role == "front" for place in places):
        places, note = _all_fronts(places)
        problems += note if rows is None else []
    table = Table(files, {place.path: place for place in places if place.path not in unusable},
                  {place.path: place for place in places if place.path in unusable}, Backs(files, places))
    if rows is None:
        picks = [pick for place in table.of_role("front") for pick in picks_of(table, place)]
    else:
        reader = ListReader(table)
        picks = list(reader.picks(rows))
        problems += reader.problems
    named_backs = {pick.back.file for pick in picks if pick.back}
    picks = [_overruled(table, pick, overrides.get(pick.front.file)) for pick in picks]
    problems += [problem for pick in picks for problem in (pick.copies_problem, pick.back_problem) if problem]
    problems += _left_over(table, picks, rows is not None, named_backs)
    cards = tuple(Card(pick.name, pick.front, pick.back, pick.copies) for pick in picks)
    return Deck(name, cards, tuple(dict.fromkeys(problems)))


def _all_fronts(places: list[Place]) -> tuple[list[Place], list[Problem]]:
    """Without art in a fronts folder, everything outside backs/ is a front."""
    changed = [replace(place, role="front") if place.role == "stray" else place for place in places]
    if changed == places:
        return places, []
    return changed, [Problem("", "note", "no-fronts-folder",
                             "There is no art in a fronts/ folder, so all art outside backs/ counts as fronts.",
                             "Put fronts into fronts/ and backs into backs/ to tell them apart.")]


def _overruled(table: Table, pick: Pick, override: Override | None) -> Pick:
    """``pick`` with what a person changed."""
    if override is None:
        return pick
    file = pick.front.file
    if override.name:
        pick = replace(pick, name=override.name)
    if override.copies is not None and 0 <= override.copies <= MAX_COPIES:
        none = no_copies(file, "0 copies were chosen") if override.copies == 0 else None
        pick = replace(pick, copies=override.copies, copies_problem=none)
    if override.back == "":
        return replace(pick, back=None, back_problem=blank_back(file, "the choice made for it"))
    if override.back is not None:
        back = _labelled(table, override.back)
        gone = Problem(file, "warning", "chosen-back", f"The back chosen for it, {override.back}, can't be found.",
                       "Choose another back, or put that one in again.")
        return replace(pick, back=back, back_problem=None if back else gone)
    return pick


def _labelled(table: Table, label: str) -> Art | None:
    """The art of that file label; a file with several pages answers to its bare path with the first."""
    arts = table.files.get(label) or table.files.get(label.rpartition("#")[0], ())
    return next((art for art in arts if art.file == label), arts[0] if label in table.files and arts else None)


def _left_over(table: Table, picks: Iterable[Pick], listed: bool, named_backs: set[str]) -> Iterator[Problem]:
    """Every art that is in no card: ignored with its reason, or a problem."""
    used = {art.file for pick in picks for art in (pick.front, pick.back) if art}
    fronts = {fold(place.stem): place.stem for place in table.of_role("front")}
    lost = {table.backs.choose(place).path: place.path for place in table.broken.values() if place.role == "front"}
    for place in table.places.values():
        arts = table.files[place.path]
        unused = [art.file for art in arts if art.file not in used]
        for label in [place.path] if len(unused) == len(arts) else unused:
            if place.path in lost:
                yield Problem(label, "note", "ignored", f"Its front, {lost[place.path]}, can't be used.")
            else:
                yield _why_left_over(place, label, listed, label in named_backs, fronts)


def _why_left_over(place: Place, label: str, listed: bool, replaced: bool, fronts: Mapping[str, str]) -> Problem:
    if replaced:
        return Problem(label, "note", "ignored", "Its front was given another back.")
    if listed:
        what = "No card uses it as a back." if place.role == "back" else f"It isn't listed in {DECK_LIST}."
        return Problem(label, "note", "ignored", what, f"Add it to {DECK_LIST} if it should be printed.")
    if place.role == "back":
        near = difflib.get_close_matches(fold(place.stem), fronts, n=1, cutoff=0.75)
        meant = f" Did you mean {fronts[near[0]]}?" if near and fronts[near[0]] != place.stem else ""
        return Problem(label, "error", "unmatched-back", f"No front is called {place.stem}, so it isn't used.{meant}",
                       f"Give both the same name, keep a single back for all, or list them in {DECK_LIST}.")
    return Problem(label, "error", "stray-art", "It lies outside fronts/ and backs/, so it isn't used.",
                   f"Move it into fronts/ or backs/, or list it in {DECK_LIST}.")
