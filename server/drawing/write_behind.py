"""Bytes on their way to a file: gathered until they are many, and written on a thread where they are very many.

Copying art is half reading and checking, half writing, and the system writes outside the interpreter's lock.
"""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from queue import SimpleQueue
from threading import Thread
from typing import BinaryIO

Buffer = bytes | bytearray | memoryview

# To hand a batch to another thread takes as long as to write some hundreds of kilobytes.
_BULK_BYTES, _WORTH_A_THREAD = 128 * 1024, 512 * 1024
# Windows has no gathering write; POSIX takes at least 16 parts at once, all systems of today 1024.
_GATHERS = hasattr(os, "writev")
_MOST_GATHERED = 512


class WriteBehind:
    """Appends to ``out``. What is put must stay as it is until it is written: views of it are kept, no copies.

    At most one batch is under way and one being gathered. An error of the disk comes out of a later call, at the
    latest of ``finish``. A stream without a file behind it is written at once.
    """

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self._todo: SimpleQueue[list[Buffer] | None] = SimpleQueue()
        self._done: SimpleQueue[Exception | None] = SimpleQueue()
        self._behind = isinstance(out, io.FileIO)
        self._thread: Thread | None = None
        self._busy = False
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
        self._busy = True
        self._todo.put(batch)
        if self._thread is None:
            self._thread = Thread(target=self._work, name="write-behind", daemon=True)
            self._thread.start()

    def _settle(self) -> None:
        if self._busy:
            self._busy = False
            error = self._done.get()
            if error:
                raise error

    def _work(self) -> None:
        while (batch := self._todo.get()) is not None:
            failed: Exception | None = None
            try:
                _write(self._out, batch)
            except Exception as error:
                failed = error
            del batch  # what it held is free before more is asked for
            self._done.put(failed)

    def finish(self) -> None:
        """Write all that is left and wait for it."""
        if self._behind:
            self._send()
            self._settle()

    def release(self) -> None:
        """Stop writing; ``out`` may be closed then."""
        if self._thread:
            self._todo.put(None)
            self._thread.join()


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
