"""Servers for tests; see ``tests/web/live.py``."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.store.limits import Limits
from server.web.hosts import Hosts
from tests.web.live import TEST_LIMITS, LiveServer, running


@pytest.fixture(scope="module")
def live_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """One server for all tests of a module."""
    with running(tmp_path_factory.mktemp("live") / "data") as server:
        yield server


@pytest.fixture
def make_server(tmp_path: Path) -> Iterator[Callable[..., LiveServer]]:
    """Starts servers with limits or names of their own; all end with the test."""
    with contextlib.ExitStack() as stack:
        def make(limits: Limits = TEST_LIMITS, hosts: Hosts | None = None) -> LiveServer:
            folder = tmp_path / f"data-{len(list(tmp_path.iterdir()))}"
            return stack.enter_context(running(folder, limits, hosts))
        yield make
