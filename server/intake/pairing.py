"""Fronts and backs become cards: by the deck list, by folders, by names, by pages, and by what a person changed.

Evidence, in this order: deck.csv; folders named for the side, where a back belongs to the front of the same name (in
the same nested folder first, then anywhere if only one such back exists); the side in a file's name; the back of a
folder, a group of names or the deck; the pages of a PDF. What is clear is taken and says why. What could be meant
otherwise is a proposal. No file vanishes: each is in a card, is ignored with a reason, or is a problem.

| code | severity | what it says |
| --- | --- | --- |
| no-fronts-folder | note | no folder of fronts, so all art that is no back counts as fronts |
| no-copies | note | the name or the deck list asks for none |
| too-many-copies | error | more copies than can be meant; none is printed |
| copies-on-back | note | copies stand on the back's name, where they have no say |
| missing-part | warning | of "2of3" and its like, some are missing |
| blank-back | note | somebody wants no back |
| ambiguous-back | warning | several backs fit equally well; none was taken |
| chosen-back | warning | the back that was chosen isn't in the deck |
| broken-back | warning | its back is there, but can't be used |
| unmatched-back | error | a back that no front wants |
| lone-side | note | a name that says back where no front fits; it is a card |
| stray-art | error | art outside fronts/ and backs/ |
| ignored | note | left out on purpose, with the reason |
| deck-list, deck-list-file, deck-list-column | error, note | what is wrong with deck.csv, and in which line |
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import islice

from server.core.art import Art, Deck, Pair, Problem, Proposal
from server.intake.choices import NO_CHOICES, Choices, card_of, is_out, ordered, overruled
from server.intake.deck_list import DECK_LIST, ListReader, Row, parse_list
from server.intake.drafts import Backs, Draft, Table, drafts_of, page_for
from server.intake.likeness import MOST_SUGGESTIONS, nearest
from server.intake.name_pairs import find_sides
from server.intake.names import FileName, fold, read_names
from server.intake.sides import Offer, Sides, page_sides


def pair(files: Mapping[str, tuple[Art, ...]], deck_csv: str | None, name: str, choices: Choices = NO_CHOICES,
         broken: Collection[str] = ()) -> Deck:
    """The deck that these files make.

    ``files`` maps each file's path in the deck ("fronts/knight_x3.png") to its art, one record or one per PDF page;
    ``deck_csv`` is the deck list's text. ``broken`` are the paths of art that couldn't be read: it makes no card, but
    its name still counts, so that nothing else takes its place.
    Nothing that a person named or wrote raises: it becomes a problem of the deck.
    """
    rows, problems = _rows(deck_csv)
    unusable = {path for path in broken if not files.get(path)}
    names = read_names({path for path in files if files[path]} | unusable)
    sides = find_sides(names, choices.taken)
    names, note = _roles(names, sides)
    problems += note if rows is None else []
    table, offers = _table(files, names, unusable, sides, choices.taken)
    if rows is None:
        drafts = [draft for one in table.of_role("front") for draft in drafts_of(table, one)]
        drafts, more = _one_by_one(table, drafts, choices.taken)
        offers += more
        problems += (*_lone(sides), *_missing_parts(table))
    else:
        reader = ListReader(table)
        drafts = list(reader.drafts(rows))
        problems += reader.problems
    offers = [] if rows else _unsettled(offers, drafts, choices)
    named_backs = {draft.back.file for draft in drafts if draft.back}
    chosen = {one.back for one in choices.overrides.values() if one.back}
    drafts = [overruled(table, draft, choices.of(draft)) for draft in drafts]
    kept = [draft for draft in drafts if not is_out(draft, choices.of(draft), chosen)]
    problems += [problem for draft in kept for problem in (draft.copies_problem, draft.back_problem) if problem]
    problems += _left_over(table, drafts, kept, rows is not None, named_backs)
    return Deck(name, ordered([card_of(draft, choices.of(draft)) for draft in kept], choices.order),
                tuple(dict.fromkeys(problems)),
                tuple(Pair(draft.front.file, draft.back.file, draft.why, draft.sure) for draft in kept if draft.back),
                tuple(offers))


def _rows(deck_csv: str | None) -> tuple[tuple[Row, ...] | None, list[Problem]]:
    if deck_csv is None:
        return None, []
    deck_list = parse_list(deck_csv)
    return (deck_list.rows if deck_list.usable else None), list(deck_list.problems)


def _roles(names: list[FileName], sides: Sides) -> tuple[list[FileName], list[Problem]]:
    """Names as what they are: backs by name are backs; with no folder of fronts, all that is left is a front."""
    titled = [name.without(sides.marks[name.path]) if name.path in sides.marks else name for name in names]
    told = [replace(name, role="back") if name.path in sides.backs
            else replace(name, role="front") if name.path in sides.partners else name for name in titled]
    if any(name.role == "front" for name in names):
        return told, []
    changed = [replace(name, role="front") if name.role == "stray" else name for name in told]
    if not any(name.role == "stray" for name in told) or sides.backs:
        return changed, []
    return changed, [Problem("", "note", "no-fronts-folder",
                             "There is no art in a fronts/ folder, so all art outside backs/ counts as fronts.",
                             "Put fronts into fronts/ and backs into backs/ to tell them apart.")]


def _table(files: Mapping[str, tuple[Art, ...]], names: list[FileName], unusable: Collection[str], sides: Sides,
           taken: Collection[str]) -> tuple[Table, list[Proposal]]:
    """What pairing works on, and what else the names and pages may mean."""
    backs = Backs(files, names, sides)
    usable = {name.path: name for name in names if name.path not in unusable}
    lone_pdfs = {path: name for path, name in usable.items() if name.role == "front" and len(files[path]) > 1
                 and not backs.choose(name).path and not backs.choose(name).among}
    links, page_offers = page_sides(lone_pdfs, files, taken)
    arts = {art.file: art for some in files.values() for art in some}
    page_links = {front: (arts[back], why, sure) for front, (back, why, sure) in links.items()}
    offers = [_by_pages(files, offer) for offer in sides.offers]
    offers += [Proposal(offer.id, offer.group, offer.says,
                        tuple(Pair(*pair, offer.says, False) for pair in offer.links)) for offer in page_offers]
    broken = {name.path: name for name in names if name.path in unusable}
    linked = frozenset(back.file for back, _, _ in page_links.values())
    return Table(files, usable, broken, backs, page_links, arts, linked), offers


def _by_pages(files: Mapping[str, tuple[Art, ...]], offer: Offer) -> Proposal:
    pairs = [Pair(art.file, back.file, offer.says, False) for front, its_back in offer.links
             for number, art in enumerate(files.get(front, ()))
             if (back := page_for(files.get(its_back, ()), number))]
    return Proposal(offer.id, offer.group, offer.says, tuple(pairs))


def _unsettled(offers: Iterable[Proposal], drafts: Iterable[Draft], choices: Choices) -> list[Proposal]:
    """Proposals that nobody has answered, without the fronts that have a back of their own."""
    settled = {_path(draft.front.file) for draft in drafts if draft.back and not draft.shares_back}
    fresh = [replace(offer, pairs=tuple(pair for pair in offer.pairs if _path(pair.front) not in settled))
             for offer in offers if offer.id not in choices.proposals]
    return [offer for offer in fresh if offer.pairs]


def _path(label: str) -> str:
    """The file of an art's label, without its page."""
    path, mark, page = label.rpartition("#")
    return path if mark and page.isdigit() else label


def _one_by_one(table: Table, drafts: list[Draft], taken: Collection[str]) -> tuple[list[Draft], list[Proposal]]:
    """Folders of as many fronts as backs whose names have nothing in common: by their numbers, else as a question."""
    used = {draft.back.file for draft in drafts if draft.back}
    bare = [draft for draft in drafts if draft.back is None and not draft.back_problem]
    backs = [art for name in table.of_role("back") for art in table.files[name.path] if art.file not in used]
    if len(bare) != len(backs) or len(bare) < 2:
        return drafts, []
    numbers = [{_numbers(art.file): art for art in side} for side in ([draft.front for draft in bare], backs)]
    same = len(numbers[0]) == len(bare) and "" not in numbers[0] and numbers[0].keys() == numbers[1].keys()
    links = {front.file: numbers[1][number] for number, front in numbers[0].items()} if same else {
        draft.front.file: back for draft, back in zip(bare, backs, strict=True)}
    says = "the same numbers" if same else f"order: {len(bare)} fronts and {len(backs)} backs, one by one"
    if same or "in-order" in taken:
        return [replace(draft, back=links[draft.front.file], why=says, sure=same) if draft.front.file in links
                else draft for draft in drafts], []
    pairs = tuple(Pair(front, back.file, says, False) for front, back in links.items())
    return drafts, [Proposal("in-order", "in-order", says, pairs)]


def _numbers(label: str) -> str:
    """The last number in a file's name, without leading zeros."""
    found = re.findall(r"[0-9]+", label.rpartition("/")[2].rpartition(".")[0] or label)
    return (found[-1].lstrip("0") or "0") if found else ""


def _lone(sides: Sides) -> Iterator[Problem]:
    for path in sides.lone:
        if path not in sides.backs:
            yield Problem(path, "note", "lone-side", "Its name says back, but no front fits it, so it is a card.",
                          "Call it like its front, or put it into a folder called backs.")


def _missing_parts(table: Table) -> Iterator[Problem]:
    groups: dict[tuple[tuple[str, ...], str, int], dict[int, FileName]] = defaultdict(dict)
    for name in table.of_role("front"):
        if name.part:
            stem = fold(name.stem).replace(str(name.part[0]), "", 1) if not name.words else " ".join(name.words[:-3])
            groups[name.home, stem, name.part[1]][name.part[0]] = name
    for (_, _, count), found in groups.items():
        missing = [str(number) for number in islice((one for one in range(1, count + 1) if one not in found), 5)]
        if missing:
            first = next(iter(found.values()))
            yield Problem(first.path, "warning", "missing-part", f"Of {count}, number {', '.join(missing)} isn't "
                          "there.", "Put it in, or take \"of\" out of the name; _x3 prints one picture three times.")


def _left_over(table: Table, drafts: Iterable[Draft], kept: Iterable[Draft], listed: bool,
               named_backs: set[str]) -> Iterator[Problem]:
    """Every art that is in no card: ignored with its reason, or a problem."""
    used = {art.file for draft in kept for art in (draft.front, draft.back) if art}
    out = {draft.front.file for draft in drafts} - used
    fronts = {fold(name.stem): name.stem for name in table.of_role("front")}
    lost = {table.backs.choose(name).path: name.path for name in table.broken.values() if name.role == "front"}
    tries = MOST_SUGGESTIONS
    for name in table.names.values():
        arts = table.files[name.path]
        unused = [art.file for art in arts if art.file not in used]
        for label in [name.path] if len(unused) == len(arts) and not out & set(unused) else unused:
            if name.path in lost:
                yield Problem(label, "note", "ignored", f"Its front, {lost[name.path]}, can't be used.")
            elif label in out:
                yield Problem(label, "note", "ignored", "It was taken out of the deck's cards.", "Put it in again.")
            else:
                yield _why_left_over(name, label, listed, label in named_backs, fronts if tries > 0 else {})
                tries -= 1


def _why_left_over(name: FileName, label: str, listed: bool, replaced: bool, fronts: Mapping[str, str]) -> Problem:
    if replaced:
        return Problem(label, "note", "ignored", "Its front was given another back, or was taken out.")
    if listed:
        what = "No card uses it as a back." if name.role == "back" else f"It isn't listed in {DECK_LIST}."
        return Problem(label, "note", "ignored", what, f"Add it to {DECK_LIST} if it should be printed.")
    if name.role == "back":
        near = fronts.get(nearest(fold(name.stem), fronts, 0.75), name.stem)
        meant = f" Did you mean {near}?" if near != name.stem else ""
        return Problem(label, "error", "unmatched-back", f"No front is called {name.stem}, so it isn't used.{meant}",
                       f"Give both the same name, keep a single back for all, or list them in {DECK_LIST}.")
    return Problem(label, "error", "stray-art", "It lies outside fronts/ and backs/, so it isn't used.",
                   f"Move it into fronts/ or backs/, or list it in {DECK_LIST}.")
