"""Bytes on their way to a file: gathered until they are many, and written on a thread where they are very many.

Copying art is half reading and checking, half writing, and the system writes outside the interpreter's lock.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Sequence
from functools import partial
from queue import SimpleQueue
from threading import Thread
from typing import BinaryIO, Generic, TypeVar

Buffer = bytes | bytearray | memoryview

# To hand a batch to another thread takes as long as to write some hundreds of kilobytes.
_BULK_BYTES, _WORTH_A_THREAD = 128 * 1024, 512 * 1024
# Windows has no gathering write; POSIX takes at least 16 parts at once, all systems of today 1024.
_GATHERS = hasattr(os, "writev")
_MOST_GATHERED = 512


Result = TypeVar("Result")


class Aside(Generic[Result]):
    """A thread of its own that does one piece of work after another while the caller goes on."""

    def __init__(self) -> None:
        self._todo: SimpleQueue[Callable[[], Result] | None] = SimpleQueue()
        self._done: SimpleQueue[tuple[Result | None, Exception | None]] = SimpleQueue()
        self._thread: Thread | None = None
        self.under_way = 0

    def put(self, work: Callable[[], Result]) -> None:
        """Have it done after all that was put before."""
        self.under_way += 1
        self._todo.put(work)
        if self._thread is None:
            self._thread = Thread(target=self._run, daemon=True)
            self._thread.start()

    def take(self) -> Result:
        """Wait for the oldest work that wasn't taken yet. Returns or raises what it did."""
        self.under_way -= 1
        result, failed = self._done.get()
        if failed:
            raise failed
        return result  # type: ignore[return-value]

    def _run(self) -> None:
        while (work := self._todo.get()) is not None:
            result: Result | None = None
            failed: Exception | None = None
            try:
                result = work()
            except Exception as error:
                failed = error
            del work  # what it held is free before more is asked for
            self._done.put((result, failed))

    def release(self) -> None:
        """End the thread when it has done what is under way."""
        if self._thread:
            self._todo.put(None)
            self._thread.join()


class WriteBehind:
    """Appends to ``out``. What is put must stay as it is until it is written: views of it are kept, no copies.

    At most one batch is under way and one being gathered. An error of the disk comes out of a later call, at the
    latest of ``finish``. A stream without a file behind it is written at once.
    """

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self._behind = isinstance(out, io.FileIO)
        self._aside = Aside[None]()
        self._gathered: list[Buffer] = []
        self._bytes = 0

    def put(self, parts: Sequence[Buffer]) -> None:
        """Append ``parts``. Raises OSError where the disk has refused them or what came before."""
        if not self._behind:
            self._out.write(parts[0] if len(parts) == 1 else b"".join(parts))
            return
        self._gathered += parts
        self._bytes += sum(map(len, parts))
        if self._bytes >= _BULK_BYTES:
            self._send()

    def _send(self) -> None:
        self._settle()
        batch, many = self._gathered, self._bytes >= _WORTH_A_THREAD
        self._gathered, self._bytes = [], 0
        if not many:
            _write(self._out, batch)
            return
        self._aside.put(partial(_write, self._out, batch))

    def _settle(self) -> None:
        if self._aside.under_way:
            self._aside.take()

    def finish(self) -> None:
        """Write all that is left and wait for it."""
        if self._behind:
            self._send()
            self._settle()

    def release(self) -> None:
        """Stop writing; ``out`` may be closed then."""
        self._aside.release()


def _write(out: BinaryIO, parts: list[Buffer]) -> None:
    """All of ``parts`` to an unbuffered file, which may take less at a time than it is given."""
    if not _GATHERS:
        _write_rest(out, b"".join(parts), 0)
        return
    for first in range(0, len(parts), _MOST_GATHERED):
        batch = parts[first:first + _MOST_GATHERED]
        done = os.writev(out.fileno(), batch)
        for part in batch:
            if done < len(part):
                _write_rest(out, part, max(0, done))
            done -= len(part)


def _write_rest(out: BinaryIO, part: Buffer, start: int) -> None:
    view = memoryview(part)
    while start < len(view):
        start += out.write(view[start:])
