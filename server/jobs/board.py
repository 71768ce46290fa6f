"""Jobs that people watch: how far each is, how it ended, and a way to wait for the next change."""

from __future__ import annotations

import asyncio
import secrets
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from server.errors import NotThere
from server.jobs.queue import Work

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
