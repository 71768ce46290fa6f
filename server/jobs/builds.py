"""Jobs that people watch, and builds: one job each, answered at once where the same deck was built so before.

A job says how far it is and how it ended, and lets others wait for its next change.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import logging
import os
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from server import __version__
from server.core.art import Deck
from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_to_json
from server.core.settings import DeckSettings
from server.errors import Busy, LampfoldError, NotThere
from server.jobs.pool import WorkerPool
from server.jobs.queue import Work
from server.jobs.tasks import BuildOrder, SinceOrder, build
from server.prepress import Part, Prepared, pdf_name, printed_says
from server.store import Store

JobState = Literal["queued", "running", "done", "failed", "cancelled"]
ENDED: frozenset[JobState] = frozenset(("done", "failed", "cancelled"))
_KEPT_JOBS = 200


@dataclass(frozen=True, slots=True)
class JobView:
    """A job at one moment. ``done`` of ``total`` steps; ``result`` once it is done."""

    id: str
    deck_id: str
    state: JobState
    done: int = 0
    total: int = 0
    message: str = ""
    fix: str = ""
    result: Mapping[str, Any] | None = None

    @property
    def ended(self) -> bool:
        return self.state in ENDED


@dataclass(eq=False)
class Job:
    """One job and those who wait for it. ``key`` names what it makes."""

    id: str
    deck_id: str
    person: str
    key: str
    view: JobView
    work: Work[dict[str, Any]] | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _watchers: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = field(default_factory=list)

    def show(self, view: JobView) -> None:
        """Put a new view up, from any thread. An ended job stays as it ended."""
        with self._lock:
            if self.view.ended:
                return
            self.view = view
            watchers = list(self._watchers)
        for loop, event in watchers:
            if not loop.is_closed():
                loop.call_soon_threadsafe(event.set)

    def watch(self) -> asyncio.Event:
        """An event of the running loop that is set at each change."""
        event = asyncio.Event()
        with self._lock:
            self._watchers.append((asyncio.get_running_loop(), event))
        return event

    def unwatch(self, event: asyncio.Event) -> None:
        with self._lock:
            self._watchers = [entry for entry in self._watchers if entry[1] is not event]


class JobBoard:
    """The latest jobs of all persons."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, deck_id: str, person: str, key: str) -> Job:
        job_id = secrets.token_hex(8)
        job = Job(job_id, deck_id, person, key, JobView(job_id, deck_id, "queued", message="Waiting for its turn"))
        with self._lock:
            self._jobs[job_id] = job
            for old in [one for one in self._jobs.values() if one.view.ended][:max(0, len(self._jobs) - _KEPT_JOBS)]:
                del self._jobs[old.id]
        return job

    def drop(self, job: Job) -> None:
        with self._lock:
            self._jobs.pop(job.id, None)

    def get(self, job_id: str) -> Job:
        """Raises NotThere for a job that has been forgotten, as all are when Lampfold ends."""
        with self._lock:
            job = self._jobs.get(job_id)
        if job is None:
            raise NotThere(f"job: {job_id[:40]!r} isn't known any more.",
                           "Build again; what was built before comes back at once.")
        return job

    def running(self, person: str, key: str) -> Job | None:
        """This person's job that is already making ``key``."""
        with self._lock:
            return next((job for job in self._jobs.values()
                         if job.person == person and job.key == key and not job.view.ended), None)

    def running_for(self, deck_id: str, start: str) -> Job | None:
        """The latest job of this deck under a key that begins so, if it hasn't ended."""
        with self._lock:
            return next((job for job in reversed(self._jobs.values())
                         if job.deck_id == deck_id and job.key.startswith(start) and not job.view.ended), None)


_LOG = logging.getLogger("lampfold")


@dataclass(frozen=True, slots=True)
class BuildFiles:
    """Where the results of one build are kept; ``info`` is written last, so where it is all are."""

    pdf: Path
    plan: Path
    info: Path

    @classmethod
    def of(cls, folder: Path, key: str) -> BuildFiles:
        return cls(folder / f"{key}.pdf", folder / f"{key}.plan.json", folder / f"{key}.json")


@dataclass(frozen=True, slots=True)
class Since:
    """The version that is built already: its deck, its settings, and its name."""

    deck: Deck
    settings: DeckSettings
    name: str


def build_key(deck: Deck, settings: DeckSettings, printer: Printer | None, since: Since | None = None,
              part: Part = "sheets") -> str:
    """The same key, the same bytes: everything that shapes the PDF, and the version that draws it."""
    shape: dict[str, Any] = {
        "version": __version__, "name": deck.name, "cards": deck.cards, "settings": settings.printed(),
        "printer": printer_to_json(printer) if printer else None}
    if since:
        shape["since"] = [since, 2]  # what is kept of such a build counts the deck's cards
    if part != "sheets":
        shape["part"] = part
    text = json.dumps(shape, sort_keys=True, ensure_ascii=False, default=_values)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _values(record: Any) -> list[Any]:
    """A record as its fields' values: a deck has thousands."""
    return [getattr(record, name) for name in type(record).__dataclass_fields__]


class Builds:
    """Starts builds and finds their files."""

    def __init__(self, store: Store, pool: WorkerPool, board: JobBoard,
                 task: Callable[..., dict[str, Any]] = build) -> None:
        """``task`` does the work in the worker; tests put their own there."""
        self._store, self._pool, self._board, self._task = store, pool, board, task
        for left in store.folder.builds.glob("*.part"):
            left.unlink(missing_ok=True)

    def start(self, person: str, deck_id: str, prepared: Prepared, since: Since | None = None,
              part: Part = "sheets") -> Job:
        """A job for this deck: a new one, the person's own that is making just this, or one that is done already.
        With ``since`` of what changed alone; ``part`` says which PDF. Raises Busy when too much waits.
        """
        deck, settings, printer = prepared.deck, prepared.settings, prepared.printer
        key = build_key(deck, settings, printer, since, part)
        running = self._board.running(person, key)
        if running:
            return running
        job = self._board.add(deck_id, person, key)
        name = pdf_name(prepared, since.name if since else "", part)
        finished = self._finished(key)
        if finished is not None:
            job.show(_done(job, finished, name))
            return job
        keys = {art.key for one in (deck, since.deck if since else deck) for card in one.cards
                for art in (card.front, card.back) if art}
        sources = {blob: self._store.blobs.path(blob) for blob in {key.partition("#")[0] for key in keys}}
        before = SinceOrder(since.deck, since.settings, since.name,
                            self._store.pictures.get_many(keys)) if since else None
        files = BuildFiles.of(self._store.folder.builds, key)
        job.work = Work(
            "build", person, deck.name, self._task,
            (BuildOrder(deck, settings, printer, prepared.limits, sources, files.pdf, files.plan, files.info,
                        before, part),),
            self._store.limits.build_seconds,
            started=lambda: job.show(replace(job.view, state="running", message="Laying out the sheets")),
            progress=lambda done, total, text: job.show(
                replace(job.view, state="running", done=done, total=total, message=text)),
        )
        job.work.future.add_done_callback(lambda future: self._ended(job, name, future))
        try:
            self._pool.submit(job.work)
        except Busy:
            self._board.drop(job)
            raise
        return job

    def cancel(self, job: Job) -> None:
        """End a job; one that has ended stays as it is."""
        if job.work is not None and not job.view.ended:
            self._pool.cancel(job.work)

    def files(self, job: Job) -> BuildFiles:
        """Raises NotThere where the job isn't done, or its files have made room for newer ones."""
        files = BuildFiles.of(self._store.folder.builds, job.key)
        if job.view.state != "done" or not (files.info.is_file() and files.pdf.is_file()):
            raise NotThere("build: its files aren't here.", "Build it again on the Output page.")
        return files

    def _finished(self, key: str) -> dict[str, Any] | None:
        files = BuildFiles.of(self._store.folder.builds, key)
        try:
            info: dict[str, Any] = json.loads(files.info.read_text(encoding="utf-8"))
            for path in (files.pdf, files.plan, files.info):
                os.utime(path)  # the cache keeps what was asked for last
        except (OSError, ValueError):
            return None
        return info

    def _ended(self, job: Job, name: str, future: Future[dict[str, Any]]) -> None:
        error = future.exception()
        if error is not None:
            _LOG.info("build ended early", extra={"facts": {"job": job.id, "kind": type(error).__name__}})
        if error is None:
            self.trim(job.key)
            job.show(_done(job, future.result(), name))
        elif job.work is not None and job.work.cancelled.is_set():
            job.show(replace(job.view, state="cancelled", message="Cancelled"))
        elif isinstance(error, LampfoldError):
            job.show(replace(job.view, state="failed", message=error.message, fix=error.fix))
        else:
            job.show(replace(job.view, state="failed", message=f"The build failed ({type(error).__name__}).",
                             fix="Build again; if it fails again, send the host the log."))

    def trim(self, newest: str) -> None:
        """Remove the builds that nobody has asked for longest, down to the host's limit."""
        room = self._store.limits.cache_bytes
        by_age = sorted(self._store.folder.builds.glob("*.pdf"), key=lambda path: path.stat().st_mtime, reverse=True)
        for pdf in by_age:
            room -= pdf.stat().st_size
            if room < 0 and pdf.stem != newest:
                files = BuildFiles.of(self._store.folder.builds, pdf.stem)
                for path in (files.info, files.pdf, files.plan):
                    with contextlib.suppress(OSError):  # Windows keeps a file that is being sent
                        path.unlink(missing_ok=True)


def _done(job: Job, info: Mapping[str, Any], name: str) -> JobView:
    address = f"/api/jobs/{job.id}"
    total = int(info.get("pages", 1))
    left_out = [str(one["file"]) for one in info.get("left_out", ()) if one["severity"] == "error"]
    message = "Done"
    if changes := info.get("changes"):
        printed = sum(one["copies"] for one in changes["printed"])
        message = f"Done: {printed_says(printed, changes['cards'], info['sheets'])}"
    if left_out:
        message += f", without what can't be used: {', '.join(left_out)}"
    if not total:  # a change sheet without a change
        return replace(job.view, state="done", message="Nothing has changed: nothing to print.", fix="",
                       result={**info, "pdf": None, "plan": None, "name": name})
    return replace(job.view, state="done", done=total, total=total, message=message, fix="",
                   result={**info, "pdf": f"{address}/file.pdf", "plan": f"{address}/plan.json", "name": name})
