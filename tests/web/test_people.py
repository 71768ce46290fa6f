"""Guests: codes, rates, roles, links to one deck, and being put out."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import httpx
import pytest

from server.store.limits import Limits
from server.web.access import plain_code
from server.web.hosts import Hosts
from tests.web.live import LiveServer, picture, running, small_deck
from tests.web.raw import Talk

LAN = Hosts(frozenset(("127.0.0.1", "localhost")), 0, lan=True)


@pytest.fixture(scope="module")
def lan_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    with running(tmp_path_factory.mktemp("lan") / "data", hosts=LAN) as server:
        yield server


def guest(server: LiveServer, role: str, name: str = "") -> httpx.Client:
    """A client that has come in by the door."""
    client = server.stranger()
    code = server.services.door.code(role)  # type: ignore[arg-type]
    answer = client.post("/join", data={"code": code, "name": name or role})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    return client


# Crockford's Base32: letters that look alike are read as one, hyphens are for people.
@pytest.mark.parametrize("typed", ["4K7M-9QXD", "4k7m9qxd", " 4K7M 9QXD ", "4K7M–9QXD\n"])
def test_a_code_may_be_typed_as_one_likes(typed: str) -> None:
    assert plain_code(typed) == "4K7M9QXD"


def test_guessing_is_slowed_down_and_says_how_long(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(hosts=LAN)
    client = server.stranger()
    answers = [client.post("/join", data={"code": "0000-0000"}) for _ in range(7)]
    assert [answer.status_code for answer in answers] == [403] * 6 + [429]
    assert int(answers[-1].headers["retry-after"]) > 0
    assert all("set-cookie" not in answer.headers for answer in answers)


def test_nobody_comes_in_where_nobody_is_asked(live_server: LiveServer) -> None:
    code = live_server.services.door.code("maker")
    answer = live_server.stranger().post("/join", data={"code": code})
    assert (answer.status_code, "set-cookie" in answer.headers) == (403, False)
    assert live_server.client().post("/api/links", json={"deck_id": "x"}).status_code == 403


def test_a_maker_edits_and_does_not_see_the_codes(lan_server: LiveServer) -> None:
    maker = guest(lan_server, "maker", "Ada")
    assert maker.get("/api/me").json()["role"] == "maker"
    deck_id = lan_server.deck(small_deck(1), client=maker)
    assert maker.patch(f"/api/decks/{deck_id}", json={"revision": 99, "name": "x"}).status_code == 409
    assert {maker.get("/api/people").status_code, maker.get("/people").status_code,
            maker.post("/api/links", json={"deck_id": deck_id}).status_code} == {403}


def test_a_playtester_looks_and_prints_and_changes_nothing(lan_server: LiveServer) -> None:
    host = lan_server.client()
    deck_id = lan_server.deck(small_deck(1), client=host)
    before = host.get(f"/api/decks/{deck_id}").json()
    tester = guest(lan_server, "playtester")
    deck = f"/api/decks/{deck_id}"
    refused = [
        tester.patch(deck, json={"revision": 1, "name": "Mine"}), tester.delete(deck), tester.post(f"{deck}/undo"),
        tester.put(f"{deck}/files/fronts/x.png", content=picture()), tester.post("/api/decks", json={"name": "x"}),
        tester.delete(f"{deck}/files/fronts/keeper-0.png"), tester.post(f"{deck}/archive", content=b"PK"),
        tester.post("/api/demo", json={"which": "x"}), tester.get(f"/decks/{deck_id}/art"),
        tester.get(f"/decks/{deck_id}/sheet"), tester.get("/people"),
    ]
    assert {answer.status_code for answer in refused} == {403}
    assert [tester.get(f"/decks/{deck_id}/{page}").status_code for page in ("glow", "output")] == [200, 200]
    assert tester.post(f"{deck}/plan", json={"settings": {"paper": "letter"}}).status_code == 200
    assert tester.post(f"{deck}/builds", json={}).status_code == 202
    assert host.get(deck).json() == before


def test_a_playtester_builds_for_the_own_printer(lan_server: LiveServer) -> None:
    deck_id = lan_server.deck(small_deck(1))
    tester = guest(lan_server, "playtester")
    wish = tester.post(f"/api/decks/{deck_id}/builds", json={"settings": {"paper": "letter", "flip": "short-edge"}})
    with tester.stream("GET", f"/api/jobs/{wish.json()['job']}/events") as stream:
        list(stream.iter_lines())
    result = tester.get(f"/api/jobs/{wish.json()['job']}").json()["result"]
    assert result["paper"] == "letter"
    for what in ("builds", "plan"):  # held alike wherever settings are put over a deck's own
        for settings in ({"card": "tarot"}, {"paper": "a5", "bleed_mm": 0}):
            answer = tester.post(f"/api/decks/{deck_id}/{what}", json={"settings": settings})
            assert (answer.status_code, "margin_mm" in answer.json()["fix"]) == (403, True)
    for what in ("plan", "builds"):
        own = {"margin_mm": 6, "stock": "office-80", "cut_lines": "both", "line_style": "ticks", "printer": ""}
        assert tester.post(f"/api/decks/{deck_id}/{what}", json={"settings": own}).status_code in (200, 202)
    assert lan_server.client().get(f"/api/decks/{deck_id}").json()["settings"]["paper"] == "a4"


def test_one_persons_build_is_not_anothers(lan_server: LiveServer) -> None:
    deck_id = lan_server.deck(small_deck(1))
    job = lan_server.client().post(f"/api/decks/{deck_id}/builds", json={}).json()["job"]
    tester = guest(lan_server, "playtester")
    for route in ("", "/file.pdf", "/plan.json", "/events"):
        assert tester.get(f"/api/jobs/{job}{route}").status_code == 403
    assert tester.delete(f"/api/jobs/{job}").status_code == 403


def test_a_link_shows_one_deck_until_it_is_withdrawn(lan_server: LiveServer) -> None:
    host = lan_server.client()
    shown, other = (lan_server.deck(small_deck(1), name, host) for name in ("Shown", "Other"))
    made = host.post("/api/links", json={"deck_id": shown}).json()
    way = "/link/" + made["url"].rpartition("/")[2]
    tester = lan_server.stranger()
    came = tester.get(way)
    assert (came.status_code, came.headers["location"]) == (303, f"/decks/{shown}/glow")
    desk = tester.get("/api/decks").json()
    assert [deck["id"] for deck in desk["decks"]] == [shown]
    own = sum(file["bytes"] for file in host.get(f"/api/decks/{shown}").json()["files"])
    assert (desk["storage"]["decks"], desk["storage"]["bytes"]) == (1, own)  # nothing of the others, not their number
    assert tester.get(f"/api/decks/{shown}").status_code == 200
    assert tester.get(f"/api/decks/{other}").status_code == 403
    other_key = host.get(f"/api/decks/{other}").json()["cards"][0]["front"]["key"]
    assert tester.get(f"/api/art/{other_key}").status_code == 200  # the same picture is in the deck that is shown
    secret_art = picture((250, 1, 2))
    host.put(f"/api/decks/{other}/files/fronts/secret.png", content=secret_art)
    key = next(file["key"] for file in host.get(f"/api/decks/{other}").json()["files"] if "secret" in file["path"])
    assert tester.get(f"/api/art/{key}").status_code == 404
    assert host.delete(f"/api/links/{made['id']}").status_code == 200
    assert tester.get(f"/api/decks/{shown}").status_code == 401
    assert lan_server.stranger().get(way).status_code == 404


def test_a_link_leaves_the_host_the_host(lan_server: LiveServer) -> None:
    host = lan_server.client()
    made = host.post("/api/links", json={"deck_id": lan_server.deck({}, client=host)}).json()
    host.get("/link/" + made["url"].rpartition("/")[2])
    host.post("/join", data={"code": lan_server.services.door.code("playtester")})
    assert host.get("/api/me").json()["role"] == "host"


def test_a_guest_who_comes_in_anew_is_in_once(lan_server: LiveServer) -> None:
    client = guest(lan_server, "playtester", "Twice")
    client.post("/join", data={"code": lan_server.services.door.code("maker"), "name": "Twice"})
    assert client.get("/api/me").json()["role"] == "maker"
    people = lan_server.client().get("/api/people").json()["people"]
    assert [person["role"] for person in people if person["name"] == "Twice"] == ["maker"]


@pytest.mark.parametrize("secret", ["", "x", "0" * 200, "..%2f..", "%00"])
def test_a_made_up_link_lets_no_one_in(lan_server: LiveServer, secret: str) -> None:
    answer = lan_server.stranger().get(f"/link/{secret}")
    assert answer.status_code in (303, 404, 422)
    assert answer.headers.get("location", "/join") == "/join"
    assert "set-cookie" not in answer.headers


def test_the_host_sees_who_is_in_and_puts_them_out(lan_server: LiveServer) -> None:
    host, maker = lan_server.client(), guest(lan_server, "maker", "Grace")
    people = host.get("/api/people").json()
    entry = next(person for person in people["people"] if person["name"] == "Grace")
    assert (entry["role"], entry["address"], entry["you"]) == ("maker", "127.0.0.1", False)
    assert set(people["doors"]) == {"maker", "playtester"}
    left = host.delete(f"/api/people/{entry['id']}").json()["people"]
    assert "Grace" not in [person["name"] for person in left]
    assert maker.get("/api/decks").status_code == 401
    you = next(person for person in left if person["you"])
    assert host.delete(f"/api/people/{you['id']}").status_code == 422


def test_whoever_is_put_out_in_the_middle_of_an_upload_keeps_nothing(lan_server: LiveServer) -> None:
    host, maker = lan_server.client(), guest(lan_server, "maker", "Mid")
    deck_id = lan_server.deck({}, client=host)
    body = picture((7, 7, 7))
    crumb = "; ".join(f"{name}={value}" for name, value in maker.cookies.items())
    with Talk(lan_server) as talk:
        talk.say((f"PUT /api/decks/{deck_id}/files/fronts/a.png HTTP/1.1\r\nHost: 127.0.0.1:{lan_server.port}\r\n"
                  f"Origin: {lan_server.base}\r\nCookie: {crumb}\r\nContent-Length: {len(body)}\r\n\r\n").encode()
                 + body[:100])
        person = next(one for one in host.get("/api/people").json()["people"] if one["name"] == "Mid")
        host.delete(f"/api/people/{person['id']}")
        talk.say(body[100:])
        assert talk.hear().status == 403
    assert host.get(f"/api/decks/{deck_id}").json()["files"] == []


def test_a_stream_ends_for_whoever_is_put_out(make_server: Callable[..., LiveServer]) -> None:
    from tests.jobs import tasks

    server = make_server(Limits(free_bytes=0), LAN)
    server.services.builds._task = tasks.counting_build
    host, maker = server.client(), guest(server, "maker", "Watcher")
    job = maker.post(f"/api/decks/{server.deck(small_deck(1), client=host)}/builds", json={}).json()["job"]
    begun, done = threading.Event(), threading.Event()

    def watch() -> None:
        with maker.stream("GET", f"/api/jobs/{job}/events") as stream:
            for _ in stream.iter_lines():
                begun.set()
        done.set()

    threading.Thread(target=watch, daemon=True).start()
    assert begun.wait(30)
    person = next(one for one in host.get("/api/people").json()["people"] if one["name"] == "Watcher")
    host.delete(f"/api/people/{person['id']}")
    assert done.wait(30)
    assert host.get(f"/api/jobs/{job}").json()["state"] == "running"


def test_codes_come_as_a_picture_and_change_on_demand(lan_server: LiveServer) -> None:
    host = lan_server.client()
    door = host.get("/api/people").json()["doors"]["playtester"]
    answer = host.get("/api/people/codes/playtester/qr.svg")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert b"<script" not in answer.content
    assert door["url"].endswith(f"/join?code={door['code']}")
    old = door["code"]
    assert host.post("/api/people/codes/playtester").json()["doors"]["playtester"]["code"] != old


def test_a_code_from_a_qr_fills_the_door_in_and_is_escaped(lan_server: LiveServer) -> None:
    page = lan_server.stranger().get("/join", params={"code": '"><script>alert(1)</script>'}).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_machines_own_addresses_are_names_on_the_lan_alone() -> None:
    lan, loopback = Hosts(frozenset(("localhost",)), 8437, lan=True), Hosts(frozenset(("localhost",)), 8437)
    assert lan.serves("192.168.7.20:8437", "192.168.7.20")
    assert lan.serves("[fd00::7]:8437", "fd00::7")
    assert not lan.serves("192.168.7.21:8437", "192.168.7.20")
    assert not loopback.serves("192.168.7.20:8437", "192.168.7.20")
