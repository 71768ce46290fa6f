"""Which pages of a PDF are backs: by what its name says, by pages that look alike, else as a question."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from server.core.art import Art
from server.intake.names import FileName
from server.intake.side_words import SIDE_WORDS

_BOTH = frozenset(["duplex", "doublesided", "twosided", "zweiseitig", "beidseitig", "doppelseitig", "rectoverso"])


@dataclass(frozen=True, slots=True)
class PageOffer:
    """Pairs of pages (front, back), as file labels, that may be meant. One of a ``group`` at most can be taken."""

    id: str
    group: str
    says: str
    pairs: tuple[tuple[str, str], ...]


_Pairs = tuple[tuple[str, str], ...]


def page_sides(fronts: Mapping[str, FileName], files: Mapping[str, tuple[Art, ...]],
               taken: Collection[str]) -> tuple[dict[str, tuple[str, str, bool]], list[PageOffer]]:
    """(the back of each page that has one: label, why, whether the file itself settles it; what may be meant).

    ``fronts`` are the PDFs that have no back by any name.
    """
    links: dict[str, tuple[str, str, bool]] = {}
    offers: list[PageOffer] = []
    twos: list[tuple[str, str]] = []
    for path, name in fronts.items():
        arts = files[path]
        if len(arts) < 2:
            continue
        ways = list(_ways(path, arts))
        sure = next((way for way in ways if _settled(way, name, arts)), None)
        chosen = sure or next((way for way in ways if way.id in taken), None)
        if chosen:
            links |= {front: (back, chosen.says, sure is not None) for front, back in chosen.pairs}
        elif len(arts) == 2:
            twos.append((arts[0].file, arts[1].file))
        else:
            offers += ways
    if twos:
        one = PageOffer("two-pages", "two-pages", "the two pages of each PDF", tuple(twos))
        if one.id in taken:
            links |= {front: (back, one.says, False) for front, back in twos}
        else:
            offers.append(one)
    return links, offers


def _ways(path: str, arts: Sequence[Art]) -> Iterator[PageOffer]:
    labels = [art.file for art in arts]
    count = len(labels)

    def way(name: str, says: str, pairs: _Pairs) -> PageOffer:
        return PageOffer(f"{path}:{name}", path, f"{says} in {path}", pairs)

    if count % 2 == 0:
        yield way("by-turns", "pages that go front, back, front, back",
                  tuple(zip(labels[::2], labels[1::2], strict=True)))
    if count % 2 == 0 and count > 2:
        yield way("halves", "all fronts and then all backs",
                  tuple(zip(labels[:count // 2], labels[count // 2:], strict=True)))
    if count > 2:
        yield way("last-page", "its last page as the back of all", tuple((label, labels[-1]) for label in labels[:-1]))


def _settled(way: PageOffer, name: FileName, arts: Sequence[Art]) -> bool:
    """Whether the file's own name, or pages that are drawn alike, leave no doubt."""
    by_turns = way.id.endswith(":by-turns")
    words = set(name.words) | {"".join(pair) for pair in zip(name.words, name.words[1:], strict=False)}
    if by_turns and words & _BOTH:
        return True
    sides = [SIDE_WORDS[word][0] for word in name.words if word in SIDE_WORDS and SIDE_WORDS[word][1] == 2]
    if by_turns and len(arts) == 2 and sides == ["front", "back"]:
        return True
    if way.id.endswith(":last-page") or len(way.pairs) < 2:
        return False
    look = {art.file: art.look or art.key for art in arts}
    fronts, backs = ([look[pair[side]] for pair in way.pairs] for side in (0, 1))
    # Backs that repeat and are no front: a deck has few backs and many fronts.
    return len(set(backs)) * 2 <= len(backs) and len(set(fronts)) > len(set(backs)) and not set(fronts) & set(backs)
