"""A worker is gone with its server, even while C code holds the interpreter."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

_SERVER = """
import sys
from server.jobs.pool import WorkerPool
from server.jobs.queue import Work
from server.store.limits import Limits
from tests.jobs.test_orphans import hold

if __name__ == "__main__":
    pool = WorkerPool(Limits(workers=1))
    done = lambda *told: print(told[2], flush=True)
    pool.submit(Work("build", "me", "held", hold, (), 60, progress=done)).future.result()
"""


def hold(report: object) -> None:
    """Tells its process, and then keeps the interpreter busy in one C call for longer than any test."""
    import re

    report(1, 1, str(os.getpid()))  # type: ignore[operator]
    re.match(r"(a+)+$", "a" * 60 + "b")


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(sys.platform != "linux", reason="asks /proc whether a process lives")
def test_a_worker_that_holds_the_interpreter_ends_with_its_server() -> None:
    server = subprocess.Popen([sys.executable, "-c", _SERVER], stdout=subprocess.PIPE, text=True)
    assert server.stdout
    worker = int(server.stdout.readline())
    assert alive(worker)
    server.send_signal(signal.SIGKILL)
    server.wait()
    server.stdout.close()
    until = time.monotonic() + 20  # the kernel does it at once; a loaded machine may take a moment to tell
    while alive(worker) and time.monotonic() < until:
        os.sched_yield()
    assert not alive(worker)
