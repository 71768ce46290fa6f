"""The listening sockets: what asyncio makes of the connections that they take."""

from __future__ import annotations

import asyncio
import socket
from concurrent.futures import ThreadPoolExecutor

from server.web.sockets import listen


def test_small_answers_leave_at_once() -> None:
    # RFC 9293, 3.7.4: Nagle's algorithm holds a second small write back until the first is acknowledged, and RFC 1122,
    # 4.2.3.2, lets the other side wait with that. TCP_NODELAY switches it off.
    async def accepted() -> list[int]:
        sockets, found = listen(0, lan=False), []

        async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            found.append(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        for one in sockets:
            server = await asyncio.start_server(take, sock=one)
            reader, writer = await asyncio.open_connection(*one.getsockname()[:2])
            await reader.read()
            writer.close()
            server.close()
        return found

    # In a thread of its own: while a browser is driven in this session, its event loop runs in this one.
    with ThreadPoolExecutor(1) as thread:
        found = thread.submit(asyncio.run, accepted()).result()
    assert found and all(found)
