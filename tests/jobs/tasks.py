"""Tasks that misbehave, for worker processes."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import Any

from server.core.art import Problem
from server.core.cost import Ink
from server.errors import Unreadable
from server.jobs.tasks import BuildOrder, ReadOrder
from server.jobs.worker import Report
from server.prepress import prepare, summarise
from server.store.art_records import ArtRecord


def double(report: Report, number: int) -> int:
    return 2 * number


def process_id(report: Report) -> int:
    return os.getpid()


def count_up(report: Report, steps: int) -> int:
    for done in range(1, steps + 1):
        report(done, steps, f"step {done}")
    return steps


def die(report: Report) -> None:
    os._exit(13)


def hang(report: Report) -> None:
    """Tells that it has begun, then does nothing for longer than any test lasts."""
    report(1, 1, "hanging")
    while True:
        time.sleep(3600)


def refuse(report: Report) -> None:
    raise Unreadable("x.png: is broken.", "Export it again.")


def fail_oddly(report: Report) -> None:
    raise TypeError("a decoder's own mistake")


def eat_memory(report: Report, size: int) -> int:
    return take_memory(size)


def take_memory(size: int) -> int:
    return len(bytearray(size))


def nap(report: Report, seconds: float) -> float:
    time.sleep(seconds)
    return seconds


def spin(report: Report, marks: Path) -> None:
    """Leaves a mark for each time it runs, and uses the processor for ever."""
    (marks / str(time.monotonic_ns())).touch()
    while True:
        pass


def hanging_build(report: Report, order: BuildOrder) -> dict[str, Any]:
    hang(report)
    return {}


def dying_build(report: Report, order: BuildOrder) -> dict[str, Any]:
    os._exit(1)


def counted_build(report: Report, order: BuildOrder) -> dict[str, Any]:
    """Writes what a build writes, and leaves a mark for each time it ran."""
    marks = order.pdf.parent / "ran"
    marks.mkdir(exist_ok=True)
    (marks / str(time.monotonic_ns())).touch()
    order.pdf.write_bytes(b"%PDF-1.7")
    order.plan.write_text("{}", encoding="utf-8")
    info = {**summarise(prepare(order.deck, order.settings, None, order.printer)), "bytes": 8,
            "ink": Ink().as_mapping(), "ink_saved_percent": 0.0}
    Path(order.info).write_text(json.dumps(info), encoding="utf-8")
    return info


def die_reading(report: Report, order: ReadOrder) -> None:
    os._exit(13)


def refuse_reading(report: Report, order: ReadOrder) -> ArtRecord:
    """A reader that can't read the file yet."""
    return ArtRecord(problem=Problem(order.label, "error", "damaged", "It can't be read.", "Wait for a newer reader."))


def hang_reading(report: Report, order: ReadOrder) -> None:
    hang(report)


def counting_build(report: Report, order: BuildOrder) -> dict[str, Any]:
    """Goes on telling how far it is, and never ends."""
    done = 0
    while True:
        done += 1
        report(done, 10**9, "Drawing the sheets")
        time.sleep(0.05)
