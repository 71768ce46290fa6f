"""What pages need to know of pixels: profiles of backs and colours of edges, measured in a worker once, remembered."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from pathlib import Path
from typing import Generic, TypeVar

from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from server.core.art import Art, Deck
from server.core.bleed import ArtFit
from server.core.cost import Ink
from server.core.edge_bleed import ArtEdges, Rgb
from server.core.leeway import BackProfile, trim_window
from server.core.lettering import VersionMark, version_mark
from server.core.planning import Planned
from server.errors import NotThere
from server.jobs.comparing import compare_versions, measure_covers, take_pictures
from server.jobs.queue import Work
from server.jobs.tasks import measure_colours, measure_inks, measure_profiles
from server.prepress import Prepared, Record, make_record
from server.prepress.backs import distinct_backs
from server.prepress.inks import printed_art
from server.prepress.record import Picture
from server.web import models
from server.web.decks import DeckView
from server.web.services import Services, in_worker

_MOST_KEPT = 4000
_IN_ONE_ANSWER = 96
_AT_ONCE = 24  # one piece of work stays well inside the time that a worker may take over it
_PICTURES_AT_ONCE = 24  # after which others get their turn; what was looked at till then is kept

Mark = tuple[str, tuple[float, float, float, float]]
Key = TypeVar("Key")
Value = TypeVar("Value")


class Looked(BaseModel):
    """How many of the pictures that a comparison needs have been looked at: ask again until that grows no more."""

    looked: int
    pictures: int


class Measured(Generic[Key, Value]):
    """Remembers what was measured; None stands for art that could not be decoded."""

    def __init__(self) -> None:
        self._values: OrderedDict[Key, Value | None] = OrderedDict()
        self._lock = threading.Lock()

    def known(self, key: Key) -> bool:
        with self._lock:
            return key in self._values

    def get(self, key: Key) -> Value | None:
        with self._lock:
            return self._values.get(key)

    def put(self, key: Key, value: Value | None) -> None:
        with self._lock:
            self._values[key] = value
            while len(self._values) > _MOST_KEPT:
                self._values.popitem(last=False)


_PROFILES: Measured[Mark, BackProfile] = Measured()
_COVERS: Measured[str, Ink] = Measured()
_COLOURS: Measured[str, ArtEdges] = Measured()
_INKS: Measured[tuple[str, VersionMark, ArtFit, bool], Rgb] = Measured()


async def with_colours(services: Services, person: str, prepared: Prepared, sheet: int | None = None) -> Prepared:
    """With the edge colour of every art of that sheet, or of all, that needs one, and with the ink of the version mark
    on its fronts. Raises Busy, Stopped."""
    seen = await edges_seen(services, person, prepared.uncoloured(sheet))
    return await _with_inks(services, person, prepared.coloured(seen), sheet)


async def edges_seen(services: Services, person: str, wanted: Iterable[Art]) -> dict[str, ArtEdges]:
    """What lies along the edges of each art, by its key; without those that can't be decoded. Raises Busy, Stopped."""
    wanted = tuple(wanted)
    missing = [art for art in wanted if not _COLOURS.known(art.key)]
    for start in range(0, len(missing), _AT_ONCE):
        some = missing[start:start + _AT_ONCE]
        orders = tuple((services.store.blobs.path(art.key.partition("#")[0]), art) for art in some)
        found = await in_worker(services, Work("read", person, "edges", measure_colours, (orders,),
                                               services.store.limits.read_seconds))
        for art in some:
            _COLOURS.put(art.key, found.get(art.key))
    return {art.key: seen for art in wanted if (seen := _COLOURS.get(art.key))}


async def _with_inks(services: Services, person: str, prepared: Prepared, sheet: int | None) -> Prepared:
    mark, pale, wanted = version_mark(prepared.settings), prepared.settings.ink == "pale", prepared.uninked(sheet)
    if mark is None:
        return prepared
    marks = {art.key: (art.key, mark, prepared.planned.fit(art), pale) for art in wanted}
    missing = [art for art in wanted if not _INKS.known(marks[art.key])]
    for start in range(0, len(missing), _AT_ONCE):
        some = missing[start:start + _AT_ONCE]
        orders = tuple((services.store.blobs.path(art.key.partition("#")[0]), art, prepared.planned.fit(art))
                       for art in some)
        found = await in_worker(services, Work("read", person, "inks", measure_inks, (orders, mark, pale),
                                               services.store.limits.read_seconds))
        for art in some:
            _INKS.put(marks[art.key], found.get(art.key))
    return prepared.inked({key: ink for key, one in marks.items() if (ink := _INKS.get(one))})


async def covers_of(services: Services, person: str, deck: Deck) -> tuple[dict[str, Ink], int, int]:
    """(the ink that each printed art takes by its key, how many have been looked at, how many there are): all that are
    known, and some more, so that whoever asks again sees it grow. Raises Busy, Stopped."""
    arts = printed_art(deck)
    missing = [art for key, art in arts.items() if not _COVERS.known(key)]
    for start in range(0, min(len(missing), _IN_ONE_ANSWER), _AT_ONCE):
        some = missing[start:start + _AT_ONCE]
        orders = tuple((services.store.blobs.path(art.key.partition("#")[0]), art) for art in some)
        found = await in_worker(services, Work("read", person, "ink", measure_covers, (orders,),
                                               services.store.limits.read_seconds))
        for art in some:
            _COVERS.put(art.key, found.get(art.key))
    known = {key: ink for key in arts if (ink := _COVERS.get(key))}
    return known, len(arts) - max(0, len(missing) - _IN_ONE_ANSWER), len(arts)


async def profiles_of(services: Services, person: str, planned: Planned,
                      only: frozenset[str] | None = None) -> dict[str, BackProfile]:
    """The profile of every back of the plan, or of those keys alone. Raises Busy, Stopped."""
    backs = {key: art for key, art in distinct_backs(planned.deck).items() if only is None or key in only}
    marks = {key: _mark(planned, art) for key, art in backs.items()}
    missing = [key for key in backs if not _PROFILES.known(marks[key])]
    for start in range(0, len(missing), _AT_ONCE):
        some = missing[start:start + _AT_ONCE]
        orders = tuple((services.store.blobs.path(key.partition("#")[0]), backs[key], planned.fit(backs[key]))
                       for key in some)
        found = await in_worker(services, Work("read", person, "leeway", measure_profiles,
                                               (orders, planned.settings.card_size),
                                               services.store.limits.read_seconds))
        for key in some:
            _PROFILES.put(marks[key], found.get(key))
    return {key: profile for key, mark in marks.items() if (profile := _PROFILES.get(mark)) is not None}


def _mark(planned: Planned, art: Art) -> Mark:
    window = trim_window(planned.fit(art), planned.settings.card_size)
    return art.key, (round(window.x, 6), round(window.y, 6), round(window.width, 6), round(window.height, 6))


async def compared(services: Services, person: str, since: str, old: DeckView, new: DeckView) -> models.ChangesOut:
    """What changed from the one to the other. Raises Busy, Stopped."""
    known = await pictures_of(services, person, (old.deck, new.deck))
    work = Work("read", person, "versions", compare_versions,
                (old.deck, _record(old, known), new.deck, _record(new, known)), services.store.limits.build_seconds)
    return models.ChangesOut(since=since, **await in_worker(services, work))


async def look_at(services: Services, person: str, decks: Iterable[Deck]) -> Looked:
    """Look at some of the pictures that a comparison of the decks needs. Raises Busy, Stopped."""
    arts = _arts(decks)
    known = await run_in_threadpool(services.store.pictures.get_many, arts)
    missing = {key: art for key, art in arts.items() if key not in known}
    await _pictures(services, person, missing, known, _IN_ONE_ANSWER)
    return Looked(looked=len(arts) - max(0, len(missing) - _IN_ONE_ANSWER), pictures=len(arts))


async def pictures_of(services: Services, person: str, decks: Iterable[Deck]) -> dict[str, Picture]:
    """What every art of the decks shows, by its key: kept, or looked at in a worker now. Art that can't be decoded is
    what its bytes are. Raises Busy, Stopped."""
    arts = _arts(decks)
    known = await run_in_threadpool(services.store.pictures.get_many, arts)
    missing = {key: art for key, art in arts.items() if key not in known}
    return await _pictures(services, person, missing, known, len(missing))


def _arts(decks: Iterable[Deck]) -> dict[str, Art]:
    return {art.key: art for deck in decks for card in deck.cards for art in (card.front, card.back) if art}


async def _pictures(services: Services, person: str, missing: dict[str, Art], known: dict[str, Picture],
                    most: int) -> dict[str, Picture]:
    """``known`` with ``most`` of those that are missing."""
    todo = list(missing.values())[:most]
    for start in range(0, len(todo), _PICTURES_AT_ONCE):
        some = todo[start:start + _PICTURES_AT_ONCE]
        orders = tuple((services.store.blobs.path(art.key.partition("#")[0]), art) for art in some)
        found = await in_worker(services, Work("read", person, "pictures", take_pictures, (orders,),
                                               services.store.limits.build_seconds))
        await run_in_threadpool(services.store.pictures.put, found)
        known.update({art.key: found.get(art.key, (art.key, b"")) for art in some})
    return known


def _record(view: DeckView, known: dict[str, Picture]) -> Record:
    def nowhere(art: Art) -> Path:
        raise NotThere(f"{art.file}: isn't looked at yet.")

    return make_record(view.deck, view.settings, nowhere, known)
