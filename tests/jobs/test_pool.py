"""The pool: a worker that dies, hangs, runs out of memory or is cancelled takes its own job along and nothing else."""

from __future__ import annotations

import re
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from server.errors import Busy, Stopped, Unreadable
from server.jobs.pool import WorkerPool
from server.jobs.queue import Work
from server.store.limits import Limits
from tests.jobs import tasks

_PATIENCE = 60


@pytest.fixture(scope="module")
def pool() -> Iterator[WorkerPool]:
    made = WorkerPool(Limits(workers=2, worker_jobs=3))
    yield made
    made.close()


def work(task: Callable[..., Any], *arguments: Any, seconds: float = _PATIENCE, **options: Any) -> Work:
    return Work("read", "me", "x.png", task, arguments, seconds, **options)


def done(pool: WorkerPool, task: Callable[..., Any], *arguments: Any, **options: Any) -> Any:
    return pool.submit(work(task, *arguments, **options)).future.result(_PATIENCE)


def test_work_is_done_in_another_process(pool: WorkerPool) -> None:
    import os
    assert done(pool, tasks.double, 21) == 42
    assert done(pool, tasks.process_id) != os.getpid()


def test_progress_comes_in_order_and_ends_at_the_end(pool: WorkerPool) -> None:
    seen: list[tuple[int, int, str]] = []
    done(pool, tasks.count_up, 1000, progress=lambda *step: seen.append(step))
    assert seen == sorted(seen)
    assert seen[-1] == (1000, 1000, "step 1000")
    assert len(seen) < 1000  # a few a second are enough


def test_a_worker_that_dies_fails_its_own_job_alone(pool: WorkerPool) -> None:
    dying = pool.submit(work(tasks.die))
    others = [pool.submit(work(tasks.double, number)) for number in range(6)]
    with pytest.raises(Stopped, match=r"x\.png.*gave up"):
        dying.future.result(_PATIENCE)
    assert [other.future.result(_PATIENCE) for other in others] == [0, 2, 4, 6, 8, 10]


def test_a_worker_that_hangs_is_ended_in_time(pool: WorkerPool) -> None:
    with pytest.raises(Stopped, match=r"wasn't finished in 0\.5 seconds, in which the machine"):
        done(pool, tasks.hang, seconds=0.05)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_a_task_is_held_to_its_own_time_and_not_to_the_walls(pool: WorkerPool, tmp_path: Path) -> None:
    # Sleep takes no time of the processor's, so it may last longer than the task's seconds.
    assert done(pool, tasks.nap, 0.6, seconds=0.5) == 0.6
    with pytest.raises(Stopped, match="longer than 1 seconds of the processor's time"):
        done(pool, tasks.spin, tmp_path, seconds=1)
    assert len(list(tmp_path.iterdir())) == 2  # tried once more
    assert done(pool, tasks.double, 1) == 2


def test_cancelled_work_ends_at_once(pool: WorkerPool) -> None:
    begun = threading.Event()
    hanging = pool.submit(work(tasks.hang, progress=lambda *step: begun.set()))
    assert begun.wait(_PATIENCE)
    pool.cancel(hanging)
    with pytest.raises(Stopped, match="cancelled"):
        hanging.future.result(_PATIENCE)
    assert done(pool, tasks.double, 2) == 4


def test_our_own_errors_come_back_whole(pool: WorkerPool) -> None:
    with pytest.raises(Unreadable) as told:
        done(pool, tasks.refuse)
    assert (told.value.message, told.value.fix) == ("x.png: is broken.", "Export it again.")


def test_any_other_error_is_told_as_one_of_ours(pool: WorkerPool, caplog: pytest.LogCaptureFixture) -> None:
    with pytest.raises(Stopped, match=r"TypeError.*a decoder's own mistake"):
        done(pool, tasks.fail_oddly)
    facts = [vars(record)["facts"] for record in caplog.records if record.getMessage() == "task failed"]
    assert [(one["task"], one["error"]) for one in facts] == [("fail_oddly", "TypeError")]
    assert re.fullmatch(r"tasks\.py:\d+ fail_oddly", facts[0]["at"][-1])


def test_what_is_wrong_with_a_file_is_no_fault_of_ours(pool: WorkerPool, caplog: pytest.LogCaptureFixture) -> None:
    with pytest.raises(Unreadable):
        done(pool, tasks.refuse)
    assert not [record for record in caplog.records if record.getMessage() == "task failed"]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux keeps an address-space limit")
def test_memory_is_bounded() -> None:
    small = WorkerPool(Limits(workers=1, worker_bytes=1 << 30))
    try:
        with pytest.raises(Stopped, match="more memory"):
            done(small, tasks.eat_memory, 2 << 30)
        assert done(small, tasks.eat_memory, 1 << 20) == 1 << 20
    finally:
        small.close()


def test_a_worker_is_renewed_after_its_number_of_jobs() -> None:
    one = WorkerPool(Limits(workers=1, worker_jobs=2))
    try:
        ids = [done(one, tasks.process_id) for _ in range(5)]
    finally:
        one.close()
    assert ids[0] == ids[1] != ids[2] == ids[3] != ids[4]


def test_closing_ends_what_runs_and_what_waits() -> None:
    one = WorkerPool(Limits(workers=1))
    begun = threading.Event()
    running = one.submit(work(tasks.hang, progress=lambda *step: begun.set()))
    waiting = one.submit(work(tasks.double, 1))
    assert begun.wait(_PATIENCE)
    one.close()
    for ended in (running, waiting):
        with pytest.raises(Stopped, match="ending"):
            ended.future.result(_PATIENCE)
    with pytest.raises(Busy):
        one.submit(work(tasks.double, 1))


def test_one_worker_is_kept_free_of_builds() -> None:
    """Art is read while builds fill every other worker."""
    two = WorkerPool(Limits(workers=2))
    begun = threading.Event()
    builds = [two.submit(Work("build", f"person {number}", "deck", tasks.hang, (), _PATIENCE,
                              progress=lambda *step: begun.set())) for number in range(3)]
    try:
        assert begun.wait(_PATIENCE)
        assert done(two, tasks.double, 5) == 10
        assert [build.future.running() for build in builds].count(True) == 1
    finally:
        two.close()


def test_a_future_that_nobody_waits_for_is_passed_over(pool: WorkerPool) -> None:
    left = work(tasks.double, 1)
    left.future.cancel()
    pool.submit(left)
    assert done(pool, tasks.double, 3) == 6
    assert isinstance(left.future, Future) and left.future.cancelled()
