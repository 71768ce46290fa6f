"""What runs inside a worker process: one task after another, each answered by one message, until the pipe closes.

Art is decoded here and nowhere else, so whatever a file does to its reader ends with this process.
"""

from __future__ import annotations

import contextlib
import errno
import math
import multiprocessing
import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from multiprocessing import connection
from pathlib import Path
from typing import Any, Literal, NamedTuple

from server.errors import LampfoldError, NoRoom, Stopped

_PROGRESS_SECONDS = 0.1
_MOST_PLACES = 12
_PR_SET_PDEATHSIG = 1


class Message(NamedTuple):
    """From a worker: that it is up, progress ``(done, total, text)``, a result, or the error that ended the task.

    ``at`` is for the log, where the error was none of ours: its kind, then the places it came through, the last last.
    """

    kind: Literal["ready", "progress", "result", "error"]
    value: Any
    at: tuple[str, ...] = ()


class Report:
    """Handed to every task: ``report(done, total, text)`` tells how far it is, a few times a second at most."""

    def __init__(self, pipe: connection.Connection[Any, Any]) -> None:
        self._pipe = pipe
        self._last = 0.0

    def __call__(self, done: int, total: int, text: str = "") -> None:
        now = time.monotonic()
        if now - self._last >= _PROGRESS_SECONDS or done >= total:
            self._last = now
            self._pipe.send(Message("progress", (done, total, text)))


def serve(pipe: connection.Connection[Any, Any], memory_bytes: int) -> None:
    """The worker's life. Ctrl-C is the server's to handle; a server that dies takes its workers along."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_server()
    _limit_memory(memory_bytes)
    with contextlib.suppress(OSError):  # the server may have ended meanwhile; then so does this, below
        pipe.send(Message("ready", None))
    while True:
        try:
            task, arguments, seconds = pipe.recv()
        except (EOFError, OSError):
            return
        _limit_time(seconds)
        message = _run(task, Report(pipe), arguments)
        _limit_time(None)
        try:
            pipe.send(message)
        except OSError:
            return


def _run(task: Callable[..., Any], report: Report, arguments: tuple[Any, ...]) -> Message:
    try:
        return Message("result", task(report, *arguments))
    except LampfoldError as error:
        return Message("error", error)
    except MemoryError:
        return Message("error", Stopped("It needs more memory than one job may have.",
                                        "Make the picture smaller, or raise the limit `worker_bytes`."))
    except OSError as error:
        if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)):
            return Message("error", NoRoom("The disk is full.", "Free some space; what was saved before is kept."))
        return _unfinished(error)
    except Exception as error:  # whatever a decoder raises is this task's end, not the server's
        return _unfinished(error)


def _unfinished(error: Exception) -> Message:
    frames = traceback.extract_tb(error.__traceback__)
    told = Stopped(f"It could not be finished ({type(error).__name__} in {frames[-1].name}: {error}).",
                   "Save the file again in another program, or leave it out.")
    places = (f"{Path(frame.filename).name}:{frame.lineno} {frame.name}" for frame in frames[-_MOST_PLACES:])
    return Message("error", told, (type(error).__name__, *places))


def end_with_server() -> None:
    """This process is gone when its server is. On Linux the kernel sees to it, whatever a decoder holds; on Windows
    the server's job object does (``pool``). Everywhere a thread watches, which needs the decoder to let it run."""
    parent = multiprocessing.parent_process()
    if sys.platform == "linux":
        import ctypes

        # prctl(2): the signal that this process gets when the thread that started it ends.
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
        if parent is not None and os.getppid() != parent.pid:  # it ended before the kernel was asked
            os._exit(1)
    threading.Thread(target=_watch, args=(parent,), daemon=True).start()


def _watch(parent: Any) -> None:
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def _limit_time(seconds: float | None) -> None:
    """End this process when it has used so many more seconds of the processor; None lets go."""
    if sys.platform == "win32":
        return
    import resource

    most = resource.getrlimit(resource.RLIMIT_CPU)[1]
    soft = math.ceil(time.process_time() + seconds) if seconds is not None else most
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CPU, (soft, most))


def _limit_memory(memory_bytes: int) -> None:
    if sys.platform == "win32":
        return
    import resource

    # macOS knows the limit and refuses to set it; the time limit holds there all the same.
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
