"""Worker processes that may die: each is served by one thread, which gives it work and ends it when it must.

A worker that dies, hangs or is cancelled takes one job along and is replaced. The standard library's process pool
breaks as a whole when one process dies, which is why this one exists.
"""

from __future__ import annotations

import contextlib
import functools
import logging
import multiprocessing
import signal
import sys
import threading
import time
from dataclasses import dataclass
from multiprocessing import connection
from multiprocessing.context import SpawnProcess
from typing import Any

from server.errors import Busy, LampfoldError, Stopped
from server.jobs.queue import AnyWork, Bounds, FairQueue, Result, Work, WorkKind
from server.jobs.worker import Message, serve
from server.store.limits import Limits

_LOG = logging.getLogger("lampfold")
_LOOK_SECONDS = 0.05
_START_SECONDS = 60.0
# A task's seconds are its process's own, so that a busy machine isn't blamed on a file; by the wall it may take so much
# longer, which also ends one that waits for ever. Where the system doesn't end it, as on Windows, its seat does.
_WAIT_FACTOR = 10
_SPAWN = multiprocessing.get_context("spawn")


@dataclass(frozen=True, slots=True)
class _Worker:
    process: SpawnProcess
    pipe: connection.Connection[Any, Any]

    def kill(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()


if sys.platform == "win32":
    import ctypes
    from ctypes import wintypes

    class _Limits(ctypes.Structure):
        """JOBOBJECT_EXTENDED_LIMIT_INFORMATION (winnt.h): its flags and its memory limit are what we use."""

        _fields_ = (("times", ctypes.c_int64 * 2), ("flags", wintypes.DWORD), ("working_sets", ctypes.c_size_t * 2),
                    ("processes", wintypes.DWORD), ("affinity", ctypes.c_size_t), ("classes", wintypes.DWORD * 2),
                    ("io", ctypes.c_uint64 * 6), ("process_memory", ctypes.c_size_t), ("rest", ctypes.c_size_t * 3))

    @functools.cache
    def _job(memory_bytes: int) -> int:
        """A job object whose processes end when its last handle closes, that is, with this process."""
        kernel = ctypes.WinDLL("kernel32", use_last_error=True)
        kernel.CreateJobObjectW.restype = wintypes.HANDLE
        job = int(kernel.CreateJobObjectW(None, None) or 0)
        limits = _Limits(flags=0x2000 | 0x100, process_memory=memory_bytes)  # KILL_ON_JOB_CLOSE, PROCESS_MEMORY
        kernel.SetInformationJobObject(wintypes.HANDLE(job), 9, ctypes.byref(limits), ctypes.sizeof(limits))
        return job

    def _tie(process: SpawnProcess, memory_bytes: int) -> None:
        """Windows: the worker ends with this process, and has its memory bounded. Where it refuses, the watch holds."""
        kernel = ctypes.WinDLL("kernel32", use_last_error=True)
        kernel.AssignProcessToJobObject(wintypes.HANDLE(_job(memory_bytes)), wintypes.HANDLE(process.sentinel))

    def _used_seconds(process: SpawnProcess) -> float:
        """The processor's time that a worker has used so far."""
        times = [wintypes.FILETIME() for _ in range(4)]  # created, ended, in the kernel, its own; in 100 ns
        ctypes.WinDLL("kernel32").GetProcessTimes(wintypes.HANDLE(process.sentinel), *map(ctypes.byref, times))
        return sum(one.dwHighDateTime << 32 | one.dwLowDateTime for one in times[2:]) / 1e7
else:
    def _tie(process: SpawnProcess, memory_bytes: int) -> None:
        """Elsewhere the worker sees to that itself (``worker``)."""

    def _used_seconds(process: SpawnProcess) -> float:
        """Elsewhere the system counts, and ends the worker (``worker``)."""
        return 0.0


class WorkerPool:
    """``limits.workers`` processes, started when they are first needed."""

    def __init__(self, limits: Limits) -> None:
        self.queue = FairQueue({
            "read": Bounds(limits.waiting_reads, limits.waiting_reads),
            "build": Bounds(limits.waiting_builds, limits.waiting_builds_each),
        })
        self._seats = [_Seat(self.queue, limits, kinds) for kinds in _kinds(limits.workers)]
        for seat in self._seats:
            seat.start()

    def submit(self, work: Work[Result]) -> Work[Result]:
        """Raises Busy when too much waits already."""
        self.queue.put(work)
        return work

    def cancel(self, work: AnyWork) -> None:
        self.queue.cancel(work)

    def close(self) -> None:
        """Kill every worker at once; what was under way fails."""
        self.queue.close()
        for seat in self._seats:
            seat.closing.set()
        for seat in self._seats:
            seat.join()


def _kinds(workers: int) -> list[tuple[WorkKind, ...]]:
    """Which kinds each worker takes, in its order: one is kept free of builds so that art is read meanwhile."""
    if workers == 1:
        return [("read", "build")]
    reader: tuple[WorkKind, ...] = ("read",)
    builder: tuple[WorkKind, ...] = ("build", "read")
    return [reader] + [builder] * (workers - 1)


class _Seat(threading.Thread):
    """The thread of one worker."""

    def __init__(self, queue: FairQueue, limits: Limits, kinds: tuple[WorkKind, ...]) -> None:
        super().__init__(name="worker seat", daemon=True)
        self.closing = threading.Event()
        self._queue, self._limits, self._kinds = queue, limits, kinds
        self._worker: _Worker | None = None
        self._served = 0

    def run(self) -> None:
        while (work := self._queue.take(self._kinds)) is not None:
            try:
                self._give(work)
            except Exception as error:
                self._drop()
                work.fail(error)
        self._drop()

    def _give(self, work: AnyWork) -> None:
        if work.cancelled.is_set():
            work.fail(Stopped(f"{work.label}: cancelled."))
            return
        if not work.future.set_running_or_notify_cancel():
            return  # nobody waits for it any more
        work.started()
        message = self._attempt(work)
        for _ in range(1, work.tries):
            if isinstance(message.value, _OutOfTime) and message.kind == "error":
                message = self._attempt(work)  # the machine may have been to blame
        if message.kind == "result":
            work.future.set_result(message.value)
        else:
            if message.at:
                _LOG.error("task failed", extra={"facts": {"task": work.task.__name__, "error": message.at[0],
                                                           "at": list(message.at[1:])}})
            work.fail(message.value)
        self._served += 1
        if self._served >= self._limits.worker_jobs:
            self._drop()

    def _attempt(self, work: AnyWork) -> Message:
        order = work.task, work.arguments, work.seconds
        worker = self._ready()
        try:
            worker.pipe.send(order)
        except OSError:
            self._drop()  # it died while it was idle: that is no fault of this work
            worker = self._ready()
            worker.pipe.send(order)
        return self._listen(worker, work)

    def _listen(self, worker: _Worker, work: AnyWork) -> Message:
        """Pass progress on until the task has ended, one way or another."""
        deadline, used = time.monotonic() + work.seconds * _WAIT_FACTOR, _used_seconds(worker.process)
        while True:
            connection.wait([worker.pipe, worker.process.sentinel], _LOOK_SECONDS)
            reason = self._reason_to_end(work, deadline)
            if reason is None and _used_seconds(worker.process) - used > work.seconds:
                reason = _spent(work)
            try:
                while reason is None and worker.pipe.poll():
                    message = worker.pipe.recv()
                    if message.kind != "progress":
                        return Message(*message)
                    work.progress(*message.value)
            except (EOFError, OSError):
                reason = _died(worker, work)
            if reason is None and not worker.process.is_alive() and not worker.pipe.poll():
                reason = _died(worker, work)
            if reason is not None:
                self._drop()
                return Message("error", reason)

    def _reason_to_end(self, work: AnyWork, deadline: float) -> LampfoldError | None:
        if self.closing.is_set():
            return Stopped(f"{work.label}: Lampfold is ending.", "Start it again.")
        if work.cancelled.is_set():
            return Stopped(f"{work.label}: cancelled.")
        if time.monotonic() > deadline:
            return OutOfWallTime(f"{work.label}: wasn't finished in {work.seconds * _WAIT_FACTOR:g} seconds, in which "
                                 "the machine gave it little time.", "Try again when the machine is less busy.")
        return None

    def _ready(self) -> _Worker:
        if self._worker is None or not self._worker.process.is_alive():
            self._drop()
            ours, theirs = _SPAWN.Pipe()
            process = _SPAWN.Process(target=serve, args=(theirs, self._limits.worker_bytes), daemon=True)
            try:
                process.start()
                _tie(process, self._limits.worker_bytes)
            except OSError as error:
                ours.close()
                raise Busy(f"No worker process can be started ({error.strerror or error}).",
                           "Close other programs, then try again.", 10) from error
            finally:
                theirs.close()
            self._worker, self._served = _Worker(process, ours), 0
            # A job's time counts from here: a busy machine may take seconds to start a process.
            try:
                up = ours.poll(_START_SECONDS) and ours.recv()
            except (EOFError, OSError):
                up = None
            if not up:
                raise Busy("A worker process didn't start.", "Close other programs, then try again.", 10)
        return self._worker

    def _drop(self) -> None:
        worker, self._worker = self._worker, None
        if worker is not None:
            with contextlib.suppress(OSError):
                worker.kill()


class _OutOfTime(Stopped):
    """Ended by the clock: the time that its process used, or the wall's."""


class OutOfWallTime(_OutOfTime):
    """It waited more than it worked: the machine is to blame, not the file."""


def _spent(work: AnyWork) -> Stopped:
    return _OutOfTime(f"{work.label}: took longer than {work.seconds:g} seconds of the processor's time and was ended.",
                      "Save the file again in another program, make it smaller, or raise the host's limit.")


def _died(worker: _Worker, work: AnyWork) -> Stopped:
    worker.process.join(_LOOK_SECONDS)
    if worker.process.exitcode == -getattr(signal, "SIGXCPU", 0) != 0:
        return _spent(work)
    return Stopped(f"{work.label}: the program that reads it gave up on it.",
                   "Save the file again in another program, or leave it out.")
