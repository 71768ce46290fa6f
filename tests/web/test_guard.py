"""Who is let in to what: Host, Origin, session, headers. Attacks named by OWASP's cheat sheets where they have one."""

from __future__ import annotations

import pytest

from server.store.guests import Session
from server.web.access import cookie_name, may
from server.web.guard import SECURITY_HEADERS
from server.web.hosts import Hosts, lan_hosts, loopback_hosts
from tests.web.live import LiveServer
from tests.web.raw import Talk, ask, cookie

_ROUTES = ["/", "/health", "/static/lampfold.svg", "/api/decks", "/api/openapi.json", "/welcome?token=x", "/nowhere"]


def hosts_of(server: LiveServer) -> list[str]:
    return [f"{name}:{server.port}" for name in ("localhost", "127.0.0.1", "[::1]", "LOCALHOST")]


@pytest.mark.parametrize("route", _ROUTES)
def test_own_names_pass(live_server: LiveServer, route: str) -> None:
    for host in hosts_of(live_server):
        assert ask(live_server, f"GET {route} HTTP/1.1\r\nHost: {host}\r\n\r\n").status != 421


@pytest.mark.parametrize("route", _ROUTES)
@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example:{port}", "127.0.0.1", "localhost:1",
                                  "127.0.0.1:{port}@evil.example", "evil.example:{port}", "127.0.0.2:{port}",
                                  "0.0.0.0:{port}", "", "[::1]", "localhost:{port}, evil.example"])
def test_any_other_name_is_refused_on_every_route(live_server: LiveServer, route: str, host: str) -> None:
    """DNS rebinding: the browser sends the attacker's name as Host."""
    name = host.format(port=live_server.port)
    heard = ask(live_server, f"GET {route} HTTP/1.1\r\nHost: {name}\r\nCookie: {cookie(live_server)}\r\n\r\n")
    assert heard.status == 421
    assert_headers(heard.headers)


def test_no_host_or_two_are_refused(live_server: LiveServer) -> None:
    good = f"Host: 127.0.0.1:{live_server.port}\r\n"
    assert ask(live_server, "GET /health HTTP/1.1\r\n\r\n").status == 400
    assert ask(live_server, f"GET /health HTTP/1.1\r\n{good}{good}\r\n").status in (400, 421)
    assert ask(live_server, "GET /health HTTP/1.0\r\n\r\n").status == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1",
                                    "http://127.0.0.1:{port}.evil.example", "file://", "http://localhost:1", None])
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_a_change_from_another_origin_is_refused(live_server: LiveServer, origin: str | None, method: str) -> None:
    """OWASP CSRF Prevention: verify the origin with standard headers, on every unsafe method."""
    client = live_server.client()
    client.headers.pop("Origin")
    headers = {"Origin": origin.format(port=live_server.port)} if origin else {}
    before = client.get("/api/decks").json()
    answer = client.request(method, "/api/decks", headers=headers, json={"name": "Forged"})
    assert answer.status_code == 403
    assert_headers(dict(answer.headers))
    assert client.get("/api/decks").json() == before


@pytest.mark.parametrize("route", ["/api/decks", "/api/tables", "/api/openapi.json", "/api/art/" + "0" * 64, "/",
                                   "/true-up", "/api/jobs/x", "/decks/x/art", "/nowhere", "/docs", "/redoc"])
def test_strangers_are_told_how_to_get_in_and_nothing_else(live_server: LiveServer, route: str) -> None:
    answer = live_server.stranger().get(route)
    assert answer.status_code == 401
    assert "aren" in answer.text
    assert_headers(dict(answer.headers))


def test_static_files_are_asked_after_and_pages_are_not_kept(live_server: LiveServer) -> None:
    client = live_server.client()
    first = client.get("/static/lampfold.svg")
    again = client.get("/static/lampfold.svg", headers={"If-None-Match": first.headers["etag"]})
    assert (first.headers["cache-control"], again.status_code) == ("no-cache", 304)
    assert client.get("/").headers["cache-control"] == "no-store"
    assert client.get("/favicon.ico").headers["location"] == "/static/lampfold.svg"


def test_health_needs_no_session(live_server: LiveServer) -> None:
    assert live_server.stranger().get("/health").json()["status"] == "ok"


def test_docs_are_not_served(live_server: LiveServer) -> None:
    client = live_server.client()
    assert [client.get(route).status_code for route in ("/docs", "/redoc", "/openapi.json")] == [404, 404, 404]
    schema = client.get("/api/openapi.json").json()
    assert schema["openapi"].startswith("3.")
    assert "/api/decks/{deck_id}/files/{path}" in schema["paths"]


def test_a_launch_token_is_good_once(live_server: LiveServer) -> None:
    entry = live_server.entry()
    first = live_server.stranger().get(entry)
    assert (first.status_code, first.headers["location"]) == (303, "/")
    crumb = first.headers["set-cookie"]
    # RFC 6265bis, 5.4.7: Lax keeps the cookie out of cross-site requests that change something.
    assert "HttpOnly" in crumb
    assert "samesite=lax" in crumb.lower()
    second = live_server.stranger().get(entry)
    assert second.status_code == 403
    assert "set-cookie" not in second.headers


@pytest.mark.parametrize("token", ["", "x", "x" * 300, "%00", "../.."])
def test_a_made_up_token_lets_no_one_in(live_server: LiveServer, token: str) -> None:
    answer = live_server.stranger().get(f"/welcome?token={token}")
    assert answer.status_code in (403, 422)
    assert "set-cookie" not in answer.headers


def test_a_cookie_is_dead_once_its_owner_is_put_out(live_server: LiveServer) -> None:
    client = live_server.client()
    assert client.get("/api/decks").status_code == 200
    people = live_server.services.people
    session = people.find(client.cookies[cookie_name(live_server.port)])
    assert session is not None
    people.put_out(session.id)
    assert client.get("/api/decks").status_code == 401


def test_the_database_holds_no_cookie(live_server: LiveServer) -> None:
    secret = live_server.client().cookies[cookie_name(live_server.port)]
    live_server.services.store.database.copy_to(live_server.data / "copy.db")
    assert secret.encode() not in (live_server.data / "copy.db").read_bytes()


@pytest.mark.parametrize(("method", "route", "status"), [
    ("GET", "/", 200), ("GET", "/nowhere", 404), ("GET", "/decks/none/art", 404), ("GET", "/api/decks/none", 404),
    ("POST", "/api/decks", 422), ("PUT", "/api/decks", 405), ("GET", "/static/none.css", 404),
    ("GET", "/static/lampfold.svg", 200), ("GET", "/static/../server/errors.py", 404), ("GET", "/api/tables", 200),
    ("GET", "/health", 200), ("DELETE", "/", 405), ("HEAD", "/nowhere", 404),
])
def test_every_answer_carries_the_headers(live_server: LiveServer, method: str, route: str, status: int) -> None:
    answer = live_server.client().request(method, route)
    assert answer.status_code == status
    assert_headers(dict(answer.headers))


def test_an_error_of_ours_is_a_500_with_a_number_and_no_detail(live_server: LiveServer,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise RuntimeError("a secret of the machine")

    monkeypatch.setattr(live_server.services.store.decks, "all", fail)
    answer = live_server.client().get("/api/decks")
    assert answer.status_code == 500
    assert answer.json()["id"]
    assert "secret" not in answer.text
    assert_headers(dict(answer.headers))


@pytest.mark.parametrize("said", ["NONSENSE\r\n\r\n", "GET / HTTP/x\r\n\r\n", "\x16\x03\x01\x02\x00\x01\x00",
                                  "GET /health HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
                                  "GET /health HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n"])
def test_what_is_no_http_gets_a_400_with_the_headers(live_server: LiveServer, said: str) -> None:
    heard = ask(live_server, said + "\r\n\r\n")
    assert heard.status == 400
    assert_headers(heard.headers)


def test_thousands_of_headers_are_refused(live_server: LiveServer) -> None:
    many = "".join(f"X-{number}: {number}\r\n" for number in range(5000))
    heard = ask(live_server, f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{live_server.port}\r\n{many}\r\n")
    assert heard.status == 431
    assert_headers(heard.headers)


def test_two_requests_on_one_connection(live_server: LiveServer) -> None:
    request = f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{live_server.port}\r\n\r\n"
    with Talk(live_server) as talk:
        for _ in range(3):
            talk.say(request)
            assert talk.hear().status == 200


def test_hosts_of_the_lan_are_this_machines_own() -> None:
    hosts = lan_hosts(8437)
    assert {"localhost", "127.0.0.1", "[::1]"} <= hosts.names
    assert any(name.endswith(".local") for name in hosts.names)
    assert not hosts.serves("evil.example:8437")
    assert not hosts.serves("localhost:80")


def test_a_browser_leaves_out_the_port_80() -> None:
    # RFC 9110, 4.2.3: an empty port is the scheme's own.
    assert loopback_hosts(80).serves("localhost")
    assert not loopback_hosts(8437).serves("localhost")


def test_lan_strangers_are_sent_to_the_door(make_server) -> None:
    server = make_server(hosts=Hosts(frozenset(("127.0.0.1", "lamp.local")), 0, lan=True))
    heard = ask(server, f"GET / HTTP/1.1\r\nHost: lamp.local:{server.port}\r\n\r\n")
    assert (heard.status, heard.headers["location"]) == (303, "/join")
    assert ask(server, f"GET /health HTTP/1.1\r\nHost: other.local:{server.port}\r\n\r\n").status == 421


@pytest.mark.parametrize(("role", "method", "path", "allowed"), [
    ("host", "GET", "/api/people", True), ("maker", "GET", "/api/people", False),
    ("maker", "PATCH", "/api/decks/ab", True), ("maker", "POST", "/api/links", False),
    ("playtester", "GET", "/decks/ab/glow", True), ("playtester", "GET", "/decks/ab/output", True),
    ("playtester", "GET", "/decks/ab/art", False), ("playtester", "GET", "/decks/ab/sheet", False),
    ("playtester", "PATCH", "/api/decks/ab", False), ("playtester", "PUT", "/api/decks/ab/files/x.png", False),
    ("playtester", "POST", "/api/decks", False), ("playtester", "POST", "/api/decks/ab/undo", False),
    ("playtester", "POST", "/api/decks/ab/builds", True), ("playtester", "POST", "/api/decks/ab/plan", True),
    ("playtester", "DELETE", "/api/decks/ab", False), ("playtester", "POST", "/api/demo", False),
])
def test_what_each_role_may_do(role: str, method: str, path: str, allowed: bool) -> None:
    assert may(Session("s", role, "Someone", "::1"), method, path) is allowed  # type: ignore[arg-type]


def test_a_playtester_of_one_deck_sees_no_other() -> None:
    one = Session("s", "playtester", "Someone", "::1", deck_id="ab")
    assert may(one, "GET", "/api/decks/ab")
    assert not may(one, "GET", "/api/decks/cd")
    assert not may(one, "POST", "/api/decks/cd/plan")


def assert_headers(headers: dict[str, str]) -> None:
    """The headers of OWASP's HTTP Headers cheat sheet that make sense without TLS."""
    for name, value in SECURITY_HEADERS.items():
        assert headers.get(name) == value, name
    assert "cache-control" in headers
    assert "unsafe" not in headers["content-security-policy"]
