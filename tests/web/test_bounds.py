"""What a hostile request may cost: refused after a first look, however much it holds."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from pydantic import ValidationError

from server.store.limits import Limits
from server.web import app, models
from tests.formats.artwork import pdf
from tests.web.live import LiveServer, picture

# Loaded with the app; each of them is a body that somebody may send.
assert app.ROUTERS
BODIES = models.Sent.__subclasses__()
MANY = 300


def floods() -> Iterator[Any]:
    kinds: tuple[Any, ...] = ({}, 1, [], "\x00")
    yield {f"field-{number}": 1 for number in range(MANY)}
    for name in {name for body in BODIES for name in body.model_fields}:
        for item in kinds:
            yield {name: [item] * MANY}
    for name in ("cards", "proposals"):
        yield {name: {str(number): [] for number in range(models.MOST_ITEMS + 1)}}


def test_of_many_faults_the_first_is_told() -> None:
    """Half a million of them would take ten seconds and two gigabytes to tell."""
    assert len(BODIES) > 12
    for flood in floods():
        for body in BODIES:
            if next(iter(flood)) in body.model_fields or len(flood) > 1:
                try:
                    body.model_validate(flood)
                except ValidationError as error:
                    assert error.error_count() <= len(body.model_fields) + 3, (body, next(iter(flood)))


def test_a_form_is_short_and_a_photograph_long(live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck({}, client=client)
    body = {"content": b" " * 100_000, "headers": {"content-type": "application/json"}}
    for path in (f"/api/decks/{deck}/plan", f"/api/decks/{deck}/builds", f"/api/decks/{deck}/glow/back", "/join"):
        assert client.post(path, **body).status_code == 413, path  # type: ignore[arg-type]
    for path in (f"/api/decks/{deck}/missing", "/api/fit", f"/api/decks/{deck}/glow/read"):
        assert client.post(path, **body).status_code in (415, 422), path  # type: ignore[arg-type]
    answer = client.post(f"/api/decks/{deck}/glow/read", content=b"\xff\xd8\xff" + bytes(3_000_000))
    assert answer.status_code in (415, 422), answer.text  # no photograph, but not too long for one


@pytest.mark.parametrize("path", ["/".join(["a"] * 13), "x" * 256])
def test_a_path_is_no_deeper_than_a_folder(live_server: LiveServer, path: str) -> None:
    deck = live_server.deck({})
    answer = live_server.client().put(f"/api/decks/{deck}/files/{path}", content=b"GIF89a")
    assert answer.status_code == 422 and "can't name a file" in answer.json()["message"]


def test_a_deck_counts_the_pages_of_its_pdfs(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(Limits(free_bytes=0, deck_files=7))
    client = server.client()
    deck, other = server.deck({"fronts/lamp.png": picture()}, client=client), server.deck({}, client=client)
    pages = pdf(3)
    put = [client.put(f"/api/decks/{deck}/files/fronts/{name}.pdf", content=pages) for name in "abc"]
    assert [one.status_code for one in put] == [200, 200, 413]  # 1 + 3 + 3, and 3 more
    assert "a PDF's pages counted" in put[2].json()["message"]
    assert client.put(f"/api/decks/{deck}/files/fronts/b.pdf", content=pages).status_code == 200  # in its own place
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name in "abc":
            archive.writestr(f"fronts/{name}.pdf", pages)
    assert client.post(f"/api/decks/{other}/archive", content=packed.getvalue()).status_code == 413
    assert client.get(f"/api/decks/{other}").json()["files"] == []


def test_all_printers_together_hold_so_many_readings(make_server: Callable[..., LiveServer],
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.web.true_up_printers._MOST_KEPT_READINGS", 30)
    client = make_server().client()
    readings = [{"sheet": "1", "station": station, "dx_mm": 0.1, "dy_mm": 0.2} for station in range(1, 10)]
    for kept in range(4):
        at = f"/api/printers/{client.post('/api/printers', json={'name': f'Harbour {kept}'}).json()['id']}"
        answer = client.put(f"{at}/readings", json={"readings": readings})
        assert answer.status_code == (200 if kept < 3 else 413), answer.text
    assert "Delete the readings" in answer.json()["fix"]
    assert client.put(f"{at}/readings", json={"plain": {"dx_mm": 1}}).status_code == 200


def test_a_sheet_holds_no_more_readings_than_one_takes(live_server: LiveServer) -> None:
    one = [{"sheet": "1", "x_mm": float(at), "y_mm": float(at % 7), "dx_mm": 0.1, "dy_mm": 0.2} for at in range(61)]
    answer = live_server.client().post("/api/fit", json={"readings": one})
    assert answer.status_code == 422 and "sheet 1 has 61" in answer.json()["message"]


def test_the_desk_derives_no_deck_twice(make_server: Callable[..., LiveServer],
                                        monkeypatch: pytest.MonkeyPatch) -> None:
    """However many large decks there are, of which few views are kept."""
    monkeypatch.setattr("server.web.decks._KEPT_CARDS", 1)
    server = make_server()
    client = server.client()
    decks = [server.deck({"fronts/lamp.png": picture()}, f"Harbour {number}", client) for number in range(3)]
    before = client.get("/api/decks").json()
    derived: list[str] = []
    derive = server.services.views._derive

    def noted(row: Any) -> Any:
        derived.append(row.id)
        return derive(row)

    monkeypatch.setattr(server.services.views, "_derive", noted)
    assert client.get("/api/decks").json() == before and not derived
    assert [one["cards"] for one in before["decks"]] == [1, 1, 1]
    client.delete(f"/api/decks/{decks[0]}")
    derived.clear()
    after = client.get("/api/decks").json()
    assert [one["id"] for one in after["bin"]] == [decks[0]] and after["bin"][0]["deleted"] and not derived
