"""Two gigabytes knock at the door: refused, while the server's memory hardly grows."""

from __future__ import annotations

import re
import socket
import sys
from pathlib import Path

import pytest

from tests.faults import client_of, start

_MB = 1_000_000


def peak(pid: int) -> int:
    """The most memory that a process has had, in bytes (proc(5), VmHWM)."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text(encoding="ascii"))
    assert found
    return int(found[1]) * 1024


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
@pytest.mark.parametrize("chunked", [False, True])
def test_two_gigabytes_are_refused(tmp_path: Path, chunked: bool) -> None:
    process, entry = start(tmp_path)
    try:
        client = client_of(entry)
        deck_id = client.post("/api/decks", json={"name": "x"}).json()["id"]
        before, port = peak(process.pid), int(str(client.base_url).rstrip("/").rpartition(":")[2])
        crumb = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        length = "Transfer-Encoding: chunked" if chunked else "Content-Length: 2000000000"
        head = (f"PUT /api/decks/{deck_id}/files/fronts/a.png HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
                f"Origin: http://127.0.0.1:{port}\r\nCookie: {crumb}\r\n{length}\r\n\r\n").encode()
        sent, piece = 0, (b"100000\r\n" + bytes(0x100000) + b"\r\n") if chunked else bytes(0x100000)
        with socket.create_connection(("127.0.0.1", port), timeout=30) as connection:
            connection.sendall(head)
            answer = connection.recv(65536)
            try:
                while sent < 2_000_000_000:
                    connection.sendall(piece)
                    sent += len(piece)
            except OSError:
                pass  # the server has closed, as it should
        assert int(answer.split()[1]) in (411, 413)
        assert sent < 20 * _MB
        assert peak(process.pid) - before < 50 * _MB
        assert client.get("/health").status_code == 200
        assert not [path for path in (tmp_path / "blobs").rglob("*") if path.is_file()]
        client.close()
    finally:
        process.kill()
        process.wait()
        if process.stdout:
            process.stdout.close()
