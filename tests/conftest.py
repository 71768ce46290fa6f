"""Servers for all tests (see ``tests/web/live.py``), and how property tests run."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from server.store.limits import Limits
from server.web.hosts import Hosts
from tests.web.live import TEST_LIMITS, LiveServer, running

# Tests run side by side on whatever machine there is: how long one example takes says nothing.
settings.register_profile("lampfold", deadline=None)
settings.load_profile("lampfold")


@pytest.fixture(scope="session")
def live_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """One server for every test that can live beside others' decks, printers and people."""
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
