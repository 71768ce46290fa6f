"""Which back belongs to a front, by their names alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.core.art import Art
from server.intake.natural import fold
from server.intake.places import Place, nfc


@dataclass(frozen=True, slots=True)
class Choice:
    """The back file for one front file. ``path`` is "" for none; ``among`` the backs between which no name decides."""

    path: str = ""
    among: tuple[str, ...] = ()


class Backs:
    """Every back of a deck, found by stem and by folder.

    ``places`` come in natural order; of two backs that fit equally well in one folder the first is taken. Files that
    can't be used have a place, too, but no art in ``files``.
    """

    def __init__(self, files: Mapping[str, tuple[Art, ...]], places: Iterable[Place]) -> None:
        self._files = files
        given = list(places)
        self._fronts = [place for place in given if place.role == "front"]
        self._front_stems = {fold(place.stem) for place in self._fronts}
        # Each by its exact spelling (True) and without case (False).
        self._by_home: dict[tuple[bool, tuple[str, ...], str], list[str]] = {}
        self._by_stem: dict[tuple[bool, str], list[str]] = {}
        self._under: dict[tuple[str, ...], list[Place]] = {}
        for place in given:
            if place.role == "back":
                self._add(place)

    def _add(self, place: Place) -> None:
        for exact in (True, False):
            stem, home = _spelled(place, exact)
            self._by_home.setdefault((exact, home, stem), []).append(place.path)
            self._by_stem.setdefault((exact, stem), []).append(place.path)
        home = tuple(fold(part) for part in place.home)
        for depth in range(len(home) + 1):
            self._under.setdefault(home[:depth], []).append(place)

    def choose(self, front: Place) -> Choice:
        """The back for ``front``: same stem and folder, same stem anywhere if unique, then one that is alone."""
        for exact in (True, False):
            stem, home = _spelled(front, exact)
            found = self._by_home.get((exact, home, stem))
            if found:
                return Choice(found[0])
        for exact in (True, False):
            found = self._by_stem.get((exact, _spelled(front, exact)[0]))
            if found:
                return Choice(found[0]) if len(found) == 1 else Choice(among=tuple(found))
        return self._alone(front)

    def _alone(self, front: Place) -> Choice:
        """A back that is the only one: of the front's nested folder, or of them all.

        In a nested folder it serves all only if its name doesn't say that it belongs to one front.
        """
        home = tuple(fold(part) for part in front.home)
        for depth in range(len(home), -1, -1):
            group = self._under.get(home[:depth], [])
            if len(group) > 1:
                break
            if group and (depth == 0 or fold(group[0].stem) not in self._front_stems):
                return Choice(group[0].path) if self._serves(group[0].path, front.path) else Choice()
        return Choice()

    def _serves(self, back: str, front: str) -> bool:
        """A back of one page serves any front; one of several needs one front file with as many pages."""
        pages = len(self._files.get(back, ()))
        return pages <= 1 or (len(self._fronts) == 1 and len(self._files.get(front, ())) == pages)


def _spelled(place: Place, exact: bool) -> tuple[str, tuple[str, ...]]:
    """Stem and folder as they are compared."""
    same = nfc if exact else fold
    return same(place.stem), tuple(same(part) for part in place.home)


def page_for(backs: Sequence[Art], page: int) -> Art | None:
    """The back of a front's ``page`` (from 0): one back serves all pages, several go page by page."""
    if len(backs) == 1:
        return backs[0]
    return backs[page] if page < len(backs) else None
