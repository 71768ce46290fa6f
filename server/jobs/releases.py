"""Releases: versions of decks packed in a worker by every chosen method, paper and ink, then kept."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from server.core.art import Art, Deck
from server.core.settings import DeckSettings
from server.errors import Busy, LampfoldError
from server.formats.limits import ArtLimits
from server.jobs.builds import Job, JobBoard
from server.jobs.pool import WorkerPool
from server.jobs.queue import Work
from server.jobs.worker import Report
from server.store import Store
from server.store.names import file_stem, version_stem

_KEY = "release-"


@dataclass(frozen=True, slots=True)
class PackDeck:
    """A deck to pack: its id and that of the version which it is."""

    id: str
    version_id: str
    deck: Deck
    settings: DeckSettings

    @property
    def arts(self) -> dict[str, Art]:
        """By their keys, those on its box too."""
        return {art.key: art for card in self.deck.cards for art in (card.front, card.back) if art}


@dataclass(frozen=True, slots=True)
class PackOrder:
    """What to pack: ``sources`` maps blob keys to files, ``pack`` is where the result goes, in a folder of its own."""

    decks: tuple[PackDeck, ...]
    version: str
    methods: tuple[str, ...]
    papers: tuple[str, ...]
    inks: tuple[Any, ...]
    extras: tuple[tuple[str, Path], ...]
    limits: ArtLimits
    sources: Mapping[str, Path]
    pack: Path


def make_release(report: Report, order: PackOrder) -> dict[str, Any]:
    """Write the pack. Returns its members, and in words what was left out because it doesn't fit."""
    from server.prepress.release import DeckToPack, ReleaseOrder, release

    def source(art: Art) -> Path:
        return order.sources[art.key.partition("#")[0]]

    decks = tuple(DeckToPack(one.deck, one.settings, source) for one in order.decks)
    made = release(ReleaseOrder(decks, order.version, order.methods, order.papers, order.inks, order.extras,
                                order.limits), order.pack,
                   lambda done, total: report(done, total, f"PDF {min(done + 1, total)} of {total}"))
    files = [{**asdict(member), "deck": order.decks[member.deck].id if member.deck >= 0 else ""}
             for member in made.members]
    return {"files": files, "left_out": list(made.left_out)}


class ReleaseJobs:
    """Starts releases and keeps what comes of them."""

    def __init__(self, store: Store, pool: WorkerPool, board: JobBoard) -> None:
        self._store, self._pool, self._board = store, pool, board

    def under_way(self, deck_id: str) -> Job | None:
        """The job that makes a release of this deck now, whoever started it."""
        return self._board.running_for(deck_id, _KEY)

    def start(self, person: str, order: PackOrder) -> tuple[Job, str]:
        """A job for this release, and the id that the release will have. ``order.pack`` is a name alone.

        Raises Busy when too much waits, NoRoom where the disk is nearly full.
        """
        self._store.folder.check_room(0, self._store.limits.free_bytes, "release")
        release_id = secrets.token_hex(8)
        room = self._store.folder.incoming / f"release-{release_id}"
        room.mkdir()
        job = self._board.add(order.decks[0].id, person, f"{_KEY}{release_id}")
        order = replace(order, pack=room / "pack.zip")
        variants = len(order.decks) * len(order.methods) * len(order.papers) * len(order.inks)
        job.work = Work(
            "build", person, order.decks[0].deck.name, make_release, (order,),
            self._store.limits.build_seconds * variants,
            started=lambda: job.show(replace(job.view, state="running", message="Reading the art")),
            progress=lambda done, total, text: job.show(
                replace(job.view, state="running", done=done, total=total, message=text)))
        job.work.future.add_done_callback(lambda future: self._ended(job, release_id, order, future))
        try:
            self._pool.submit(job.work)
        except Busy:
            self._board.drop(job)
            shutil.rmtree(room, ignore_errors=True)
            raise
        return job, release_id

    def _ended(self, job: Job, release_id: str, order: PackOrder, future: Future[dict[str, Any]]) -> None:
        try:
            done = future.result()
            name = f"{file_stem(order.decks[0].deck.name)}-{version_stem(order.version)}.zip"
            self._store.releases.keep(release_id, {one.id: one.version_id for one in order.decks}, order.version,
                                      order.pack, name, done["files"])
            told = " ".join(("Done.", *done["left_out"]))
            view = replace(job.view, state="done", done=job.view.total, message=told, fix="")
        except Exception as error:  # whatever it was, the job must end
            if job.work is not None and job.work.cancelled.is_set():
                view = replace(job.view, state="cancelled", message="Cancelled")
            elif isinstance(error, LampfoldError):
                view = replace(job.view, state="failed", message=error.message, fix=error.fix)
            else:
                view = replace(job.view, state="failed", message=f"The release failed ({type(error).__name__}).",
                               fix="Release again; if it fails again, send the host the log.")
        shutil.rmtree(order.pack.parent, ignore_errors=True)
        job.show(view)  # last: who is told that it has ended finds nothing of it left
