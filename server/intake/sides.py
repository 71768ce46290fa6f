"""Which side of a card a file shows, and which a PDF's page.

What names say together is a record that each kind of evidence adds to. Pages are told by the PDF's name, by pages that
look alike, else they are a question.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from server.core.art import Art
from server.intake.name_words import SIDE_WORDS, Side, plain
from server.intake.names import FileName, Mark

Words = tuple[str, ...]
# Proposals, and pairs in them together, of one deck: beyond that its names say nothing.
_MOST_OFFERS, _MOST_ASKED = 60, 6000
_Links = tuple[tuple[str, str], ...]

# A PDF of this name has front and back by turns.
_BOTH = frozenset(["duplex", "doublesided", "twosided", "zweiseitig", "beidseitig", "doppelseitig", "rectoverso"])


@dataclass(frozen=True, slots=True)
class Link:
    """A back file for one front file, and the evidence, so that it reads on after "by"."""

    back: str
    why: str
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Offer:
    """Links (front, back), by paths or by labels of pages, that may be meant. Of one ``group`` at most one is taken."""

    id: str
    group: str
    says: str
    links: _Links


@dataclass(slots=True)
class Sides:
    """What the names of open files say. ``partners`` and ``shared`` go by the front's path: a back of its own, and the
    back of its folder, its group or the deck. ``backs`` are all that aren't fronts; ``marks`` what a front's name says.
    """

    partners: dict[str, Link] = field(default_factory=dict)
    shared: dict[str, Link] = field(default_factory=dict)
    offers: list[Offer] = field(default_factory=list)
    backs: set[str] = field(default_factory=set)
    marks: dict[str, Mark] = field(default_factory=dict)
    lone: list[str] = field(default_factory=list)
    _asked: int = 0

    def link(self, pairs: Iterable[tuple[str, str]], why: str, sure: bool = True) -> None:
        for front, back in pairs:
            self.partners[front] = Link(back, why, sure)
            self.backs.add(back)

    def offer(self, offer: Offer) -> None:
        """Ask whether it is meant, unless more is asked already than anybody would answer."""
        if len(self.offers) < _MOST_OFFERS and self._asked <= _MOST_ASKED:
            self.offers.append(offer)
            self._asked += len(offer.links)

    def free(self, path: str) -> bool:
        return path not in self.partners and path not in self.backs


def home_of(name: FileName) -> Words:
    return _plain_home(name.home)


@lru_cache(maxsize=4096)
def _plain_home(home: Words) -> Words:
    return tuple(plain(part) for part in home)


def marked(names: Iterable[FileName], side: Side) -> Iterator[tuple[FileName, Mark]]:
    """Names with a word of this side and none of the other."""
    for name in names:
        marks = [mark for mark in name.marks if mark.side]
        if marks and all(mark.side == side for mark in marks):
            yield from ((name, mark) for mark in marks)


def page_sides(fronts: Mapping[str, FileName], files: Mapping[str, tuple[Art, ...]],
               taken: Collection[str]) -> tuple[dict[str, tuple[str, str, bool]], list[Offer]]:
    """(the back of each page that has one: label, why, whether the file itself settles it; what may be meant).

    ``fronts`` are the PDFs that have no back by any name.
    """
    links: dict[str, tuple[str, str, bool]] = {}
    offers: list[Offer] = []
    twos: list[tuple[str, str]] = []
    for path, name in fronts.items():
        arts = files[path]
        if len(arts) < 2:
            continue
        ways = list(_ways(path, arts))
        sure = next((way for way in ways if _settled(way, name, arts)), None)
        chosen = sure or next((way for way in ways if way.id in taken), None)
        if chosen:
            links |= {front: (back, chosen.says, sure is not None) for front, back in chosen.links}
        elif len(arts) == 2:
            twos.append((arts[0].file, arts[1].file))
        else:
            offers += ways
    if twos:
        one = Offer("two-pages", "two-pages", "the two pages of each PDF", tuple(twos))
        if one.id in taken:
            links |= {front: (back, one.says, False) for front, back in twos}
        else:
            offers.append(one)
    return links, offers


def _ways(path: str, arts: Sequence[Art]) -> Iterator[Offer]:
    labels = [art.file for art in arts]
    count = len(labels)

    def way(name: str, says: str, links: _Links) -> Offer:
        return Offer(f"{path}:{name}", path, f"{says} in {path}", links)

    if count % 2 == 0:
        yield way("by-turns", "pages that go front, back, front, back",
                  tuple(zip(labels[::2], labels[1::2], strict=True)))
    if count % 2 == 0 and count > 2:
        yield way("halves", "all fronts and then all backs",
                  tuple(zip(labels[:count // 2], labels[count // 2:], strict=True)))
    if count > 2:
        yield way("last-page", "its last page as the back of all", tuple((label, labels[-1]) for label in labels[:-1]))


def _settled(way: Offer, name: FileName, arts: Sequence[Art]) -> bool:
    """Whether the file's own name, or pages that are drawn alike, leave no doubt."""
    by_turns = way.id.endswith(":by-turns")
    words = set(name.words) | {"".join(pair) for pair in zip(name.words, name.words[1:], strict=False)}
    if by_turns and words & _BOTH:
        return True
    sides = [SIDE_WORDS[word][0] for word in name.words if word in SIDE_WORDS and SIDE_WORDS[word][1] == 2]
    if by_turns and len(arts) == 2 and sides == ["front", "back"]:
        return True
    if way.id.endswith(":last-page") or len(way.links) < 2:
        return False
    look = {art.file: art.look or art.key for art in arts}
    fronts, backs = ([look[pair[side]] for pair in way.links] for side in (0, 1))
    # Backs that repeat and are no front: a deck has few backs and many fronts.
    return len(set(backs)) * 2 <= len(backs) and len(set(fronts)) > len(set(backs)) and not set(fronts) & set(backs)
