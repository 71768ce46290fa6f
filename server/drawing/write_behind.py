"""Bytes on their way to a file: gathered until they are many, and written on two threads where they are very many.

To copy art is to read, check and write it, and the system does all three outside the interpreter's lock.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from functools import partial
from itertools import chain
from queue import Empty, SimpleQueue
from threading import Thread
from typing import BinaryIO, Generic, TypeVar

Buffer = bytes | bytearray | memoryview

# Smaller parts are written together. To hand work to another thread takes as long as to write some hundred kilobytes.
_SMALL_BYTES, _WORTH_A_THREAD = 64 * 1024, 256 * 1024
_MOST_WAITING = 64


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

    @property
    def ended(self) -> bool:
        """True if there is something to take at once."""
        return not self._done.empty()

    def help(self) -> None:
        """Do the oldest work that isn't begun here and now, if there is any."""
        with suppress(Empty):
            if work := self._todo.get_nowait():
                self._do(work)

    def take(self) -> Result:
        """Wait for the oldest work that wasn't taken yet. Returns or raises what it did."""
        self.under_way -= 1
        result, failed = self._done.get()
        if failed:
            raise failed
        return result  # type: ignore[return-value]

    def _run(self) -> None:
        while (work := self._todo.get()) is not None:
            self._do(work)
            del work  # what it held is free before more is asked for

    def _do(self, work: Callable[[], Result]) -> None:
        try:
            self._done.put((work(), None))
        except Exception as error:
            self._done.put((None, error))

    def release(self) -> None:
        """End the thread when it has done what is under way."""
        if self._thread:
            self._todo.put(None)
            self._thread.join()


class WriteBehind:
    """Appends to ``out``. What is put must stay as it is until it is written: views of it are kept, no copies.

    What is large is written by another thread or by the caller's, whichever is free: each part of a file has its place.
    An error comes out of a later call, at the latest of ``finish``. Without a file, or on a system that can't write to
    a place, all is written in turn by the caller.
    """

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self._has_places = isinstance(out, io.FileIO) and hasattr(os, "pwrite")
        self._at = out.tell() if self._has_places else 0
        self._aside = Aside[object]()
        self._gathered: list[Buffer] = []
        self._bytes = 0

    def put(self, parts: Sequence[Buffer]) -> None:
        """Append ``parts``. Raises OSError where the disk has refused them or what came before."""
        for part in parts:
            if len(part) < _SMALL_BYTES:
                self._gather(part)
            else:
                self.pour(len(part), (part,))

    def _gather(self, part: Buffer) -> None:
        self._gathered.append(part)
        self._bytes += len(part)
        if self._bytes >= _SMALL_BYTES:
            self._send()

    def pour(self, length: int, parts: Iterable[Buffer]) -> None:
        """Append ``parts``, ``length`` bytes in all, each good until the next is asked for, now or on another thread.
        Raises what they raise."""
        if length < _SMALL_BYTES:
            self._gather(b"".join(map(bytes, parts)))
            return
        while self._aside.ended:
            self._aside.take()
        if self._aside.under_way >= _MOST_WAITING:
            self._share(_MOST_WAITING // 2)
        # What was gathered goes along: a file takes one write at a time, and a short one would wait for a long one.
        work = partial(self._write_all, self._bytes + length, self._at, (b"".join(self._gathered),), parts)
        self._at += self._bytes + length
        self._gathered, self._bytes = [], 0
        if self._has_places and length >= _WORTH_A_THREAD:
            self._aside.put(work)
        else:
            work()

    def _send(self) -> None:
        self._writer(self._at)(b"".join(self._gathered))
        self._at += self._bytes
        self._gathered, self._bytes = [], 0

    def _write_all(self, length: int, at: int, *runs: Iterable[Buffer]) -> None:
        if self._has_places:
            make_room(self._out.fileno(), at, length)
        write = self._writer(at)
        for part in chain(*runs):
            write(part)

    def _writer(self, at: int) -> Callable[[Buffer], object]:
        """What writes one part after the other from there on. The system may take less at a time than it is given."""
        def append(part: Buffer) -> None:
            view = memoryview(part)
            while view:
                view = view[self._out.write(view):]

        def place(part: Buffer) -> None:
            nonlocal at
            view = memoryview(part)
            while view:
                done = os.pwrite(handle, view, at)
                at, view = at + done, view[done:]

        if not self._has_places:
            return append
        handle = self._out.fileno()
        return place

    def _share(self, most: int = 0) -> None:
        """Take part in the work until no more than ``most`` is under way."""
        while self._aside.under_way > most:
            self._aside.help()
            self._aside.take()

    def finish(self) -> None:
        """Write all that is left and wait for it."""
        self._send()
        self._share()
        if self._has_places:
            self._out.seek(self._at)

    def release(self) -> None:
        """Stop writing; ``out`` may be closed then."""
        self._aside.release()


def make_room(handle: int, at: int, length: int) -> None:
    """Have the system find that room in a file at once, which costs it a fraction of finding it page by page. Where it
    can't or there is none, writing tells."""
    if hasattr(os, "posix_fallocate"):
        with suppress(OSError):
            os.posix_fallocate(handle, at, length)


def let_go(handle: int, at: int, length: int) -> None:
    """Have the system write that part of a file back and keep none of it: of gigabytes it would keep all that there is
    room for, and to find so much memory takes longer than to write it."""
    if hasattr(os, "posix_fadvise"):
        with suppress(OSError):
            os.posix_fadvise(handle, at, length, os.POSIX_FADV_DONTNEED)
