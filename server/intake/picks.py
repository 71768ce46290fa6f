"""Cards in the making: one front with what its name, or the deck list, says of its copies and its back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from server.core.art import Art, Problem
from server.formats.limits import MAX_COPIES
from server.intake.backs import Backs, page_for
from server.intake.places import Place


@dataclass(frozen=True, slots=True)
class Pick:
    """A front to print. The two problems belong to its copies and its back, and go when those are overruled."""

    front: Art
    name: str
    copies: int
    back: Art | None = None
    copies_problem: Problem | None = None
    back_problem: Problem | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """Every file of a deck: its art and its place, by path, in natural order; and its backs.

    ``broken`` holds the places of files that can't be used.
    """

    files: Mapping[str, tuple[Art, ...]]
    places: Mapping[str, Place]
    broken: Mapping[str, Place]
    backs: Backs

    def of_role(self, role: str) -> Iterator[Place]:
        return (place for place in self.places.values() if place.role == role)


def picks_of(table: Table, place: Place, page: int = 0) -> Iterator[Pick]:
    """One pick for each page of a front, or only for ``page`` (from 1); copies and backs as the names say."""
    arts = table.files[place.path]
    choice = table.backs.choose(place)
    lost = choice.path in table.broken
    for number, art in enumerate(arts):
        if page and number + 1 != page:
            continue
        back = page_for(table.files[choice.path], number) if choice.path and not lost else None
        problem = _ambiguous(art.file, place, choice.among) if choice.among else None
        if lost:
            problem = Problem(art.file, "warning", "broken-back", f"Its back, {choice.path}, can't be used, so it "
                              "prints blank.", "Put a sound file in its place.")
        name = place.title if len(arts) == 1 else f"{place.title} {number + 1}"
        copies, copies_problem = named_copies(place, art.file)
        copies_problem = copies_problem or _copies_on_back(table, place, choice.path, art)
        yield Pick(art, name, copies, back, copies_problem, problem)


def named_copies(place: Place, file: str) -> tuple[int, Problem | None]:
    """The copies that a file's name asks for, and what is odd about them."""
    if place.copies is None:
        return 1, None
    if place.copies < 0 or place.copies > MAX_COPIES:
        return 0, Problem(file, "error", "too-many-copies",
                          f"Its name asks for more than {MAX_COPIES} copies, so none is printed.",
                          f"End the name in _x1 to _x{MAX_COPIES}, or give the copies in deck.csv.")
    return place.copies, no_copies(file, "Its name ends in _x0") if place.copies == 0 else None


def no_copies(file: str, why: str) -> Problem:
    return Problem(file, "note", "no-copies", f"{why}, so none is printed.")


def blank_back(file: str, why: str) -> Problem:
    return Problem(file, "note", "blank-back", f"Prints a blank back, as {why} says.")


def _ambiguous(file: str, place: Place, among: tuple[str, ...]) -> Problem:
    some = ", ".join(among[:3]) + (" and more" if len(among) > 3 else "")
    return Problem(file, "warning", "ambiguous-back",
                   f"Several backs are called {place.stem} ({some}), so none was taken.",
                   "Put its back into the same nested folder under backs/, or name it in deck.csv.")


def _copies_on_back(table: Table, place: Place, back: str, art: Art) -> Problem | None:
    """Copies on the back's name alone have no say, which somebody may have meant otherwise."""
    if back not in table.places or place.copies is not None or table.places[back].stem != place.stem:
        return None
    copies = table.places[back].copies
    if copies in (None, 1):
        return None
    return Problem(art.file, "note", "copies-on-back",
                   f"Its back's name ({back}) asks for copies; only the front's name counts.",
                   "Put _x and the number at the end of the front's name.")
