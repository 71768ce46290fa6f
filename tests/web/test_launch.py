"""The launcher as its own process: the address it prints, ports in use, one server to a data folder, and its end."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import httpx
import pytest

from server.errors import BadValue
from server.web.sockets import DEFAULT_PORT, listen

PROGRAM = [sys.executable, "-c", "import sys; from server.cli import main; sys.exit(main())"]
# Windows sends a console event where others send a signal.
_NEW_GROUP = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
_INTERRUPT = getattr(signal, "CTRL_BREAK_EVENT", signal.SIGINT)


@contextlib.contextmanager
def launched(*arguments: str, program: Sequence[str] = PROGRAM) -> Iterator[subprocess.Popen[str]]:
    environment = {**os.environ, "LAMPFOLD_FREE_BYTES": "0"}
    process = subprocess.Popen([*program, *arguments, "--no-browser"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               text=True, creationflags=_NEW_GROUP, env=environment)
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def address(process: subprocess.Popen[str]) -> str:
    """The address that the launcher prints."""
    assert process.stdout is not None
    for line in process.stdout:
        found = re.search(r"http://\S+", line)
        if found:
            return found[0]
    raise AssertionError(f"no address: {process.stderr.read() if process.stderr else ''}")


def test_the_printed_address_lets_one_browser_in(tmp_path: Path) -> None:
    with launched("serve", "--port", "0", "--data", str(tmp_path)) as process:
        entry = address(process)
        with httpx.Client(verify=False, follow_redirects=True) as browser:
            assert browser.get(entry).status_code == 200
            assert browser.get(entry).status_code == 403
            assert browser.get(entry.split("/welcome")[0] + "/api/decks").status_code == 200
        # The next browser's address is printed once the first is used.
        with httpx.Client(verify=False, follow_redirects=True) as another:
            assert another.get(address(process)).status_code == 200


def test_a_session_outlives_a_restart(tmp_path: Path) -> None:
    with launched("--port", "0", "--data", str(tmp_path)) as process:
        entry = address(process)
        port = entry.split("/")[2].split(":")[1]
        answer = httpx.get(entry)
    with launched("--port", port, "--data", str(tmp_path)) as process:
        address(process)
        assert httpx.get(f"http://127.0.0.1:{port}/api/decks", cookies=answer.cookies).status_code == 200


def test_a_second_server_on_one_data_folder_says_so_and_ends(tmp_path: Path) -> None:
    with launched("--port", "0", "--data", str(tmp_path)) as first:
        address(first)
        with launched("--port", "0", "--data", str(tmp_path)) as second:
            out, told = second.communicate(timeout=60)
        assert (second.returncode, out) == (2, "")
        assert len(told.splitlines()) == 1
        assert "another Lampfold is using it" in told


def test_a_port_in_use_is_one_line(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with launched("--port", str(port), "--data", str(tmp_path)) as process:
            _, told = process.communicate(timeout=60)
    assert process.returncode == 2
    assert told.splitlines() == [f"lampfold: --port: {port} is in use. "
                                 "Choose another, or leave --port out to take the next that is free."]


def test_a_busy_default_port_moves_to_the_next() -> None:
    first = listen(None, lan=False)
    second = listen(None, lan=False)
    try:
        ports = [sockets[0].getsockname()[1] for sockets in (first, second)]
        assert DEFAULT_PORT <= ports[0] < ports[1]
        assert {one.getsockname()[1] for one in second} == {ports[1]}  # IPv4 and IPv6 alike
    finally:
        for one in (*first, *second):
            one.close()


@pytest.mark.parametrize("port", [-1, 65536])
def test_a_port_that_is_none_is_named(port: int) -> None:
    with pytest.raises(BadValue, match=str(port)):
        listen(port, lan=False)


def test_loopback_listens_on_no_other_address() -> None:
    sockets = listen(0, lan=False)
    try:
        assert {one.getsockname()[0] for one in sockets} <= {"127.0.0.1", "::1"}
    finally:
        for one in sockets:
            one.close()


def test_ctrl_c_ends_it_with_an_upload_stalled(tmp_path: Path) -> None:
    """The process must end by itself within the time that a person is promised: 3 seconds, and as much again for a
    busy machine."""
    with launched("--port", "0", "--data", str(tmp_path)) as process:
        entry = address(process)
        base = entry.split("/welcome")[0]
        port = int(base.rpartition(":")[2])
        cookies = httpx.get(entry).cookies
        deck = httpx.post(f"{base}/api/decks", json={"name": "x"}, cookies=cookies, headers={"Origin": base}).json()
        crumb = "; ".join(f"{name}={value}" for name, value in cookies.items())
        with socket.create_connection(("127.0.0.1", port)) as stalled:
            stalled.sendall((f"PUT /api/decks/{deck['id']}/files/fronts/a.png HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
                             f"Origin: {base}\r\nCookie: {crumb}\r\nContent-Length: 1000\r\n\r\n").encode()
                            + b"\x89PNG\r\n\x1a\n")
            assert httpx.get(f"{base}/health").status_code == 200
            process.send_signal(_INTERRUPT)
            _, told = process.communicate(timeout=6)
    assert process.returncode in (0, 130)
    assert "Traceback" not in told
