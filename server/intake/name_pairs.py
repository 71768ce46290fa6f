"""Fronts and backs told apart by words and letters in their names.

Clear evidence makes a link; what could be meant otherwise becomes an offer, and stays as it is until somebody takes it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import replace

from server.intake.name_words import Side
from server.intake.names import FileName, Mark
from server.intake.shared_backs import find_shared_backs, offer_shared
from server.intake.sides import Offer, Sides, Words, home_of, marked

_FEW = 3
_MOST_ALIKE = 20  # names of one folder that differ by no word or number
_SIDES: tuple[Side, Side] = ("front", "back")


def find_sides(names: Collection[FileName], taken: Collection[str]) -> Sides:
    """What the names say; offers whose id is in ``taken`` are links."""
    has_backs = any(name.role == "back" for name in names)
    opened = [name for name in names if name.role != "back" and (name.role == "stray" or not has_backs)]
    fronts = [name for name in names if name.role != "back"]
    sides = Sides()
    known: set[str] = set()
    _by_two_words(sides, opened, known)
    _by_one_word(sides, opened, fronts, known)
    find_shared_backs(sides, opened, names, known)
    _lone_backs(sides, opened, fronts, known)
    _by_letters(sides, opened, has_backs)
    has_fronts = any(name.role == "front" for name in names)
    strays = {name.path for name in names if has_fronts and name.role == "stray"}
    sides.offers = [replace(offer, links=tuple(link for link in offer.links if link[0] not in strays | sides.backs
                                               and link[1] not in sides.partners)) for offer in sides.offers]
    for offer in sides.offers:
        if offer.id in taken and any(other.id == offer.id for other in sides.offers):
            sides.link(offer.links, offer.says, sure=False)
            sides.offers = [other for other in sides.offers if other.group != offer.group]
    _front_marks(sides, opened, known)
    return sides


def _why(front: Mark | None, back: Mark) -> str:
    shown = back.shown.strip()
    return f"{front.shown.strip()} and {shown}" if front else f"names without and with {shown}"


def _by_two_words(sides: Sides, names: list[FileName], known: set[str]) -> None:
    """hero_front with hero_back: in one folder, then anywhere if each is the only one.

    With nothing but spaces around the words ("front door", "back door") most names must bear them, or it is a question.
    """
    loose: dict[str, tuple[FileName, str, Mark, Mark]] = {}
    for anywhere in (False, True):
        fronts: dict[tuple[Words, Words], list[tuple[FileName, Mark]]] = defaultdict(list)
        backs: dict[tuple[Words, Words], list[tuple[FileName, Mark]]] = defaultdict(list)
        for found, side in zip((fronts, backs), _SIDES, strict=True):
            for name, mark in marked(names, side):
                if sides.free(name.path) and (mark.rest or not anywhere):
                    found[() if anywhere else home_of(name), mark.rest].append((name, mark))
        for key, some in fronts.items():
            if len(backs[key]) != 1 or (anywhere and len(some) > 1):
                continue
            (back, back_mark), = backs[key]
            if back.path in sides.partners:
                continue
            for front, mark in some:
                if mark.rest and not (_tight(mark) or _tight(back_mark)):
                    loose.setdefault(front.path, (front, back.path, mark, back_mark))
                    continue
                sides.link([(front.path, back.path)], _why(mark, back_mark))
                sides.marks[front.path] = mark
                known |= {mark.word, back_mark.word}
    settled = len(loose) * 4 >= len(names) or len(names) <= _FEW + 1 or bool(known)
    offered: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for front, path, mark, back_mark in loose.values():
        why = _why(mark, back_mark)
        if settled:
            sides.link([(front.path, path)], why)
            sides.marks[front.path] = mark
            known |= {mark.word, back_mark.word}
        else:
            offered[why].append((front.path, path))
    for number, (why, pairs) in enumerate(offered.items()):
        offer = f"words-{number + 1}" if number else "words"
        sides.offer(Offer(offer, offer, why, tuple(pairs)))


def _tight(mark: Mark) -> bool:
    """Whether more than spaces parts the word from the rest of the name."""
    return not mark.shown[0].isspace() and not mark.shown[-1:].isspace()


def _by_one_word(sides: Sides, names: list[FileName], fronts: list[FileName], known: set[str]) -> None:
    """hero with hero_back."""
    near: dict[tuple[Words, Words], list[FileName]] = defaultdict(list)
    far: dict[Words, list[FileName]] = defaultdict(list)
    for name in fronts:
        if sides.free(name.path):
            near[home_of(name), name.words].append(name)
            far[name.words].append(name)
    found: dict[str, list[tuple[str, FileName, Mark]]] = defaultdict(list)
    count: dict[str, int] = defaultdict(int)
    for back, mark in marked(names, "back"):
        if not sides.free(back.path):
            continue
        count[mark.word] += 1
        some = near[home_of(back), mark.rest] or (far[mark.rest] if len(far[mark.rest]) == 1 else [])
        if mark.rest and some:
            found[mark.word] += [(front.path, back, mark) for front in some[:_MOST_ALIKE]]
    for word, links in found.items():
        pairs = tuple((front, back.path) for front, back, _ in links if front != back.path)
        mark = links[0][2]
        tight = any(_tight(mark) for _, _, mark in links)
        several = len(pairs) > 1 or len(names) <= _FEW
        sure = (several or tight) if mark.strength == 2 else len(pairs) > 1 and len(pairs) >= count[word]
        if sure:
            sides.link(pairs, _why(None, mark))
            known.add(word)
        else:
            sides.offer(Offer(f"with-{word}", f"with-{word}", _why(None, mark), pairs))


def _lone_backs(sides: Sides, names: list[FileName], fronts: list[FileName], known: set[str]) -> None:
    """Names that say back where no front fits: lost ones where the word is used so, else questions or mere words."""
    offered = {back for offer in sides.offers for _, back in offer.links}
    loose: list[FileName] = []
    at_end: list[FileName] = []
    for name, mark in marked(names, "back"):
        if not sides.free(name.path) or name.path in offered:
            continue
        if mark.word in known and mark.strength == 2:
            sides.backs.add(name.path)
        elif mark.strength == 2 and (name.words[0] == mark.word or all(word.isdigit() for word in mark.rest)):
            loose.append(name)
        elif mark.strength == 2:
            at_end += [name] * (name.words[-1] == mark.word)
            sides.lone.append(name.path)
    if len(at_end) == 1 and not loose:
        loose = at_end
        sides.lone.remove(at_end[0].path)
    if loose and len(loose) < len(fronts) and len(loose) <= _FEW + 1:
        offer_shared(sides, loose, [name for name in fronts if name not in loose], "names")
    sides.lone += [name.path for name in loose]


_LETTERS = (("a", "b", "a-b"), ("f", "b", "f-b"), ("", "b", "with-b"), ("r", "v", "r-v"), ("v", "r", "v-r"),
            ("vs", "rs", "vs-rs"), ("1", "2", "1-2"), ("f-first", "b-first", "f-b-first"))
_GUESSES = frozenset({"r-v", "v-r", "1-2", "f-b-first"})  # nobody can tell, so they are only ever offered
Row = dict[str, FileName]


def _by_letters(sides: Sides, names: list[FileName], has_backs: bool) -> None:
    """01a with 01b, hero.f with hero.b, hero with hero.b; by numbers and by r and v only where somebody says so."""
    left = [name for name in names if sides.free(name.path)]
    table: dict[tuple[Words, Words], Row] = defaultdict(dict)
    for name in left:
        table[home_of(name), name.words].setdefault("", name)
        for mark in name.marks:
            if mark.strength == 0 and not name.part:
                table[home_of(name), mark.rest][mark.word] = name
    clean = not (has_backs or sides.shared or sides.partners)
    for front, back, way in _LETTERS:
        rows = [row for row in table.values() if front in row and back in row]
        torn = _torn(table, front, back)
        homes = {home for (home, _), row in table.items() if front in row and back in row}
        near = sum(home_of(name) in homes for name in left)
        whole = not torn and len(rows) * 4 >= near
        few = len(rows) == 1 and near > _FEW + 1
        if not rows or torn >= len(rows) or few or (way in _GUESSES and (not whole or len(rows) < 2)):
            continue
        pairs = tuple((row[front].path, row[back].path) for row in rows)
        shown = rows[0][back].marks[-1].shown
        place = "start" if back.endswith("first") else "end"
        why = f"{rows[0][front].marks[-1].shown if front else 'nothing'} and {shown} at the {place}"
        alone = front or len(rows) * 2 == near
        if whole and clean and alone and len(rows) > 1 and way not in _GUESSES:
            sides.link(pairs, why)
            sides.marks |= {row[front].path: row[front].marks[-1] for row in rows if front}
        elif all(sides.free(path) for pair in pairs for path in pair):
            sides.offer(Offer(way, "r-v" if way == "v-r" else way, why, pairs))


def _torn(table: dict[tuple[Words, Words], Row], front: str, back: str) -> int:
    """How many names speak against a pair of letters: one alone, or one that goes on counting (c, 3)."""
    alone = sum((front in row) != (back in row) for row in table.values()) if front else sum(
        back in row and "" not in row for row in table.values())
    return alone + sum((home, (*words, following)) in table for (home, words), row in table.items()
                       if front in row and back in row for following in ("c", "3"))


def _front_marks(sides: Sides, names: list[FileName], known: set[str]) -> None:
    """Front words that are no part of the card's name: those that are used so, or that all fronts bear."""
    fronts = [name for name in names if name.path not in sides.backs]
    bearing = {name.path: mark for name, mark in marked(fronts, "front")}
    everywhere = len(bearing) == len(fronts) > 1
    for path, mark in bearing.items():
        if mark.word in known or everywhere:
            sides.marks.setdefault(path, mark)
