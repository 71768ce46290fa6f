"""The command line's own worker: it reads and draws what may be a trap, under the limits of a server's workers."""

from __future__ import annotations

import atexit
from collections.abc import Callable
from concurrent.futures import TimeoutError as NotYet
from contextlib import suppress
from dataclasses import replace
from typing import Any

from server.errors import Stopped
from server.formats.limits import BadArt
from server.jobs.pool import OutOfWallTime, WorkerPool
from server.jobs.queue import Work
from server.jobs.worker import Report
from server.store.limits import Limits

_LOOK_SECONDS = 0.2  # Windows lets Ctrl-C through between two waits only


class OwnWorker:
    """A ``formats.apart.Place``: one process, started when it is first needed and ended with this one."""

    def __init__(self, limits: Limits) -> None:
        self._limits = replace(limits, workers=1, worker_jobs=2000)
        self._pool: WorkerPool | None = None

    def __call__(self, label: str, times: int, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        """Raises what ``function`` raises; BadArt where it had to be ended, Stopped where the machine is to blame."""
        if self._pool is None:
            self._pool = WorkerPool(self._limits)
            atexit.register(self.close)
        seconds = self._limits.read_seconds * times
        work = self._pool.submit(Work("read", "", label, _call, (function, *arguments), seconds, tries=1))
        try:
            while not work.future.done():
                with suppress(NotYet):  # or it has just ended, and says below how
                    work.future.exception(_LOOK_SECONDS)
            value = work.future.result()
        except OutOfWallTime:
            raise
        except Stopped as error:
            message = error.message if error.message.startswith(label) else f"{label}: {error.message}"
            raise BadArt(message, "Export it again as a flat PDF, or as a PNG.", "too-much-inside") from None
        if isinstance(value, OSError):
            raise value
        return value

    def close(self) -> None:
        """End the process."""
        if self._pool is not None:
            self._pool.close()


def _call(report: Report, function: Callable[..., Any], *arguments: Any) -> Any:
    """In the worker. What the system refuses is told as it is: the caller knows what was to be read or written."""
    try:
        return function(*arguments)
    except OSError as error:
        return error
