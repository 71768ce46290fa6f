"""Releases: a deck's version packed in a worker by every chosen method, paper and ink, then kept."""

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
from server.jobs.board import Job, JobBoard
from server.jobs.pool import WorkerPool
from server.jobs.queue import Work
from server.jobs.worker import Report
from server.store import Store
from server.store.names import file_stem, version_stem


@dataclass(frozen=True, slots=True)
class PackOrder:
    """What to pack: ``sources`` maps blob keys to files; ``pack`` is where the result goes, in a folder of its own."""

    deck: Deck
    settings: DeckSettings
    version: str
    methods: tuple[str, ...]
    papers: tuple[str, ...]
    inks: tuple[Any, ...]
    limits: ArtLimits
    sources: Mapping[str, Path]
    pack: Path


def make_release(report: Report, order: PackOrder) -> dict[str, Any]:
    """Write the pack. Returns its members, and in words what was left out because it doesn't fit."""
    from server.prepress.release import DeckToPack, ReleaseOrder, release

    def source(art: Art) -> Path:
        return order.sources[art.key.partition("#")[0]]

    made = release(ReleaseOrder((DeckToPack(order.deck, order.settings, source),), order.version, order.methods,
                                order.papers, order.inks, limits=order.limits), order.pack,
                   lambda done, total: report(done, total, f"PDF {min(done + 1, total)} of {total}"),
                   scratch=order.pack.parent)
    return {"files": [asdict(member) for member in made.members], "left_out": list(made.left_out)}


class ReleaseJobs:
    """Starts releases and keeps what comes of them."""

    def __init__(self, store: Store, pool: WorkerPool, board: JobBoard) -> None:
        self._store, self._pool, self._board = store, pool, board

    def start(self, person: str, deck_id: str, order: PackOrder) -> tuple[Job, str]:
        """A job for this release, and the id that the release will have. ``order.pack`` is a name alone.

        Raises Busy when too much waits, NoRoom where the disk is nearly full.
        """
        self._store.folder.check_room(0, self._store.limits.free_bytes, "release")
        release_id = secrets.token_hex(8)
        room = self._store.folder.incoming / f"release-{release_id}"
        room.mkdir()
        job = self._board.add(deck_id, person, f"release-{release_id}")
        order = replace(order, pack=room / "pack.zip")
        variants = len(order.methods) * len(order.papers) * len(order.inks)
        job.work = Work(
            "build", person, order.deck.name, make_release, (order,), self._store.limits.build_seconds * variants,
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
            name = f"{file_stem(order.deck.name)}-{version_stem(order.version)}.zip"
            self._store.releases.keep(release_id, job.deck_id, order.version, order.pack, name, done["files"])
            told = " ".join(("Done.", *done["left_out"]))
            job.show(replace(job.view, state="done", done=job.view.total, message=told, fix=""))
        except Exception as error:  # whatever it was, the job must end
            if job.work is not None and job.work.cancelled.is_set():
                job.show(replace(job.view, state="cancelled", message="Cancelled"))
            elif isinstance(error, LampfoldError):
                job.show(replace(job.view, state="failed", message=error.message, fix=error.fix))
            else:
                job.show(replace(job.view, state="failed", message=f"The release failed ({type(error).__name__}).",
                                 fix="Release again; if it fails again, send the host the log."))
        finally:
            shutil.rmtree(order.pack.parent, ignore_errors=True)
