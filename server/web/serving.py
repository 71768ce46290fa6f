"""Running the app on sockets that are already bound, and ending it in time."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable

import uvicorn

from server.web.app import create_app
from server.web.guard import MOST_HEADER_BYTES
from server.web.protocol import protocol_class
from server.web.services import Services

# What is still being sent when the server ends gets this long; an upload that has stalled must not hold it up.
_GRACE_SECONDS = 1


class LampfoldServer(uvicorn.Server):
    """A uvicorn server that ends its event streams first and never turns Ctrl-C into a traceback."""

    def __init__(self, services: Services, *, started: Callable[[], None] = lambda: None) -> None:
        limits = services.store.limits
        self._services = services
        super().__init__(uvicorn.Config(
            create_app(services, started=started), loop="asyncio",
            http=protocol_class(limits.header_seconds, limits.connections), ws="none", log_config=None,
            access_log=False, proxy_headers=False, server_header=False, timeout_keep_alive=10,
            timeout_graceful_shutdown=_GRACE_SECONDS, h11_max_incomplete_event_size=MOST_HEADER_BYTES))

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._services.stopping.set()
        await super().shutdown(sockets)

    def run_on(self, sockets: list[socket.socket]) -> None:
        """Serve until Ctrl-C or SIGTERM, in the main thread."""
        with contextlib.suppress(KeyboardInterrupt):  # uvicorn raises the signal again once everything is closed
            self.run(sockets)

    def run_in_thread(self, sockets: list[socket.socket]) -> threading.Thread:
        """Serve in a thread of its own; set ``should_exit`` to end it."""
        thread = threading.Thread(target=self.run, args=(sockets,), name="lampfold server", daemon=True)
        thread.start()
        return thread
