"""A photograph through the API, and a phone that a desk's code lets in."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from PIL import Image

from server.errors import NotThere
from server.web import access
from server.web.hosts import Hosts
from server.web.true_up_answers import Posts
from tests.photo.conftest import Faces, a4
from tests.photographer import Conditions, photograph
from tests.web.live import LiveServer, running

__all__ = ["a4"]

HOW = Conditions(drift=(1.3, -0.8, 0.25, 1.002, 0.998), megapixels=2.0, turn=184.0, seed=31)


@pytest.fixture
def client(live_server: LiveServer) -> httpx.Client:
    return live_server.client()


@pytest.fixture(scope="module")
def jpeg(a4: Faces) -> bytes:
    return photograph(*a4, HOW).jpeg


def test_numbers_and_the_picture_come_back_and_nothing_is_kept(client: httpx.Client, live_server: LiveServer,
                                                               jpeg: bytes) -> None:
    before = client.get("/api/printers").json()
    answer = client.post("/api/read?paper=a4&flip=long-edge&name=window.jpg", content=jpeg)
    assert answer.status_code == 200, answer.text
    sheet, = answer.json()["sheets"]
    assert sheet["photo"] == "window.jpg" and sheet["problems"] == []
    assert [one["station"] for one in sheet["stations"]] == list(range(1, 10))
    assert sheet["stations"][2]["dx_mm"] == pytest.approx(1.3, abs=0.05)
    kind, _, body = sheet["pictures"][0].partition(",")
    assert kind == "data:image/jpeg;base64"
    with Image.open(io.BytesIO(base64.b64decode(body))) as picture:
        assert picture.format == "JPEG"
    assert client.get("/api/printers").json() == before
    assert not list(Path(live_server.services.store.folder.incoming).iterdir())


def test_what_is_no_picture_or_no_sheet_says_so(client: httpx.Client) -> None:
    heic = client.post("/api/read?name=IMG_1.heic", content=b"\0\0\0\x18ftypheic" + bytes(200))
    assert heic.status_code == 415 and "HEIC" in heic.json()["message"] and "JPEG" in heic.json()["fix"]
    out = io.BytesIO()
    Image.effect_noise((640, 480), 50).save(out, "JPEG")
    sheet, = client.post("/api/read?name=sea.jpg", content=out.getvalue()).json()["sheets"]
    assert [one["code"] for one in sheet["problems"]] == ["no-sheet"] and sheet["stations"] == []
    assert client.post("/api/read?paper=nowhere", content=out.getvalue()).status_code == 422
    assert client.post("/api/read/posts").status_code == 403  # this machine alone: no phone can come
    assert client.get("/api/read/posts/0123").status_code == 404 and client.get("/phone/guess").status_code == 404


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[LiveServer]:
    with running(tmp_path / "data", hosts=Hosts(frozenset(("127.0.0.1", "localhost")), 0, lan=True)) as server:
        yield server


def test_a_phone_comes_by_the_code_and_its_picture_arrives_at_the_desk(
        lan: LiveServer, jpeg: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = lan.client()
    post = desk.post("/api/read/posts?paper=a4&flip=long-edge").json()
    secret = post["url"].rpartition("/phone/")[2]
    picture = desk.get(post["qr"])
    assert picture.headers["content-type"].startswith("image/svg+xml") and picture.text.startswith("<svg")
    phone = lan.stranger()
    assert phone.post("/api/read", content=jpeg).status_code in (401, 403)
    way = phone.get(f"/phone/{secret}")
    assert way.status_code == 303 and way.headers["location"].startswith(f"/true-up?to={post['id']}&paper=a4")
    assert phone.get("/api/me").json()["name"] == "Phone"
    for method, path in (("GET", "/api/people"), ("GET", "/"), ("GET", "/api/decks"), ("POST", "/api/decks"),
                         ("POST", "/api/read/posts"), ("POST", "/api/nudge?printer=1"), ("DELETE", "/api/printers/0a")):
        refused = phone.request(method, path, headers={"Accept": "application/json"})
        assert refused.status_code == 403, (method, path)
    assert "came by a desk's code" in phone.post("/api/decks", json={"name": "x"}).json()["message"]
    assert lan.stranger().get(f"/phone/{secret}").status_code == 404  # one phone
    assert phone.get(f"/phone/{secret}").status_code == 303  # which may come again
    assert phone.post(f"/api/read?name=1.jpg&to={post['id']}", content=jpeg).status_code == 200
    came = desk.get(f"/api/read/posts/{post['id']}").json()
    assert came["next"] == 1 and len(came["sheets"][0]["stations"]) == 9
    assert desk.get(f"/api/read/posts/{post['id']}?after=1").json()["sheets"] == []
    assert phone.get(f"/api/read/posts/{post['id']}").status_code == 403  # a post is its desk's own
    desk.post("/api/read/posts")  # a new code voids the old one
    assert phone.get(f"/phone/{secret}").status_code == 404
    monkeypatch.setattr(access, "PHONE_MINUTES", -1)  # its time is over
    assert phone.get("/api/me").status_code == 401 and [one["name"] for one in desk.get("/api/people").json()["people"]
                                                        ] == [desk.get("/api/me").json()["name"]]


def test_a_code_runs_out() -> None:
    now = [0.0]
    posts = Posts(lambda: now[0])
    key, post = posts.make("desk", "a4", "long-edge")
    assert posts.by_secret(post.secret) == (key, post) and posts.get(key) is post
    now[0] = 1801.0
    with pytest.raises(NotThere, match="has run out"):
        posts.by_secret(post.secret)
    with pytest.raises(NotThere, match="has run out"):
        posts.get(key)
