"""A bounded queue that is fair by person: whoever waits is served in turn, however much one of them has asked for."""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Generic, Literal, TypeVar

from server.errors import Busy, Stopped

WorkKind = Literal["read", "build"]


Result = TypeVar("Result")


@dataclass(eq=False)
class Work(Generic[Result]):
    """One task for a worker process, and what comes of it: ``future`` gets its result or its error.

    ``task`` is a function at module level that takes a ``Report`` and then ``arguments``; ``label`` names it in
    errors; ``seconds`` is all that it may take, ``tries`` how often it is begun where it runs out of them.
    """

    kind: WorkKind
    person: str
    label: str
    task: Callable[..., Result]
    arguments: tuple[Any, ...]
    seconds: float
    tries: int = 2
    started: Callable[[], None] = lambda: None
    progress: Callable[[int, int, str], None] = lambda done, total, text: None
    future: Future[Result] = field(default_factory=Future)
    cancelled: threading.Event = field(default_factory=threading.Event)

    def fail(self, error: BaseException) -> None:
        if not self.future.done():
            self.future.set_exception(error)


AnyWork = Work[Any]  # for those who pass it on and never look at what comes of it


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much may wait, in all and for one person."""

    in_all: int
    each: int


class FairQueue:
    """Work that waits, by kind and person."""

    def __init__(self, bounds: dict[WorkKind, Bounds]) -> None:
        self._bounds = bounds
        self._waiting: dict[WorkKind, OrderedDict[str, deque[AnyWork]]] = {kind: OrderedDict() for kind in bounds}
        self._condition = threading.Condition()
        self._closed = False

    def put(self, work: AnyWork) -> None:
        """Raises Busy when the queue, or this person's share of it, is full."""
        with self._condition:
            lines, bounds = self._waiting[work.kind], self._bounds[work.kind]
            line = lines.get(work.person, ())
            if self._closed or sum(map(len, lines.values())) >= bounds.in_all or len(line) >= bounds.each:
                raise Busy(f"{work.label}: too much is waiting already.", "Wait a few seconds, then try again.")
            lines.setdefault(work.person, deque()).append(work)
            self._condition.notify_all()

    def take(self, kinds: tuple[WorkKind, ...]) -> AnyWork | None:
        """The next work of the first of ``kinds`` that has any; waits for it. None once the queue is closed."""
        with self._condition:
            while not self._closed:
                for kind in kinds:
                    if self._waiting[kind]:
                        return self._next(kind)
                self._condition.wait()
            return None

    def _next(self, kind: WorkKind) -> AnyWork:
        lines = self._waiting[kind]
        person, line = next(iter(lines.items()))
        work = line.popleft()
        del lines[person]
        if line:
            lines[person] = line  # to the end of the round
        return work

    def cancel(self, work: AnyWork) -> None:
        """Take waiting work out; work that a worker has already is marked, and its worker is ended for it."""
        work.cancelled.set()
        with self._condition:
            lines = self._waiting[work.kind]
            line = lines.get(work.person)
            if line is None or work not in line:
                return
            line.remove(work)
            if not line:
                del lines[work.person]
        work.fail(Stopped(f"{work.label}: cancelled."))

    def close(self) -> None:
        """Everything that waits fails, and every ``take`` returns None."""
        with self._condition:
            self._closed = True
            left = [work for lines in self._waiting.values() for line in lines.values() for work in line]
            for lines in self._waiting.values():
                lines.clear()
            self._condition.notify_all()
        for work in left:
            work.fail(Stopped(f"{work.label}: Lampfold is ending.", "Start it again."))
