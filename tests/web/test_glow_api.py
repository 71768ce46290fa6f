"""The Glow page's API: a sheet with both faces, leeway against a printer, made backs, and who may ask."""

from __future__ import annotations

import io
import json
from datetime import date
from typing import Any

import httpx
import pypdfium2
import pytest
from PIL import Image, ImageDraw

from server.core.geometry import Edges
from server.core.registration.drift import Drift
from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_to_json
from server.core.registration.wander import Wander
from server.core.sizes import PAPERS
from tests.web.live import LiveServer, picture

METHODS = ("duplex", "vertical-fold", "side-fold", "two-sheet")


def framed(inset_mm: float, ground: tuple[int, int, int] = (20, 40, 120)) -> bytes:
    """A back of 63 x 88 mm at 10 px to the mm, its motif that far inside the cut all round."""
    image, out = Image.new("RGB", (630, 880), ground), io.BytesIO()
    inset = round(inset_mm * 10)
    ImageDraw.Draw(image).rectangle((inset, inset, 629 - inset, 879 - inset), fill=(230, 180, 40))
    image.save(out, "PNG")
    return out.getvalue()


@pytest.fixture(scope="module")
def deck(live_server: LiveServer) -> str:
    files = {f"fronts/keeper-{n}.png": picture((20 * n, 90, 200)) for n in range(4)}
    files |= {"backs/keeper-0.png": framed(4), "backs/keeper-1.png": framed(4), "backs/keeper-2.png": framed(6)}
    return live_server.deck(files, "Glow")


@pytest.fixture(scope="module")
def client(live_server: LiveServer) -> httpx.Client:
    return live_server.client()


def set_settings(client: httpx.Client, deck: str, **settings: Any) -> None:
    revision = client.get(f"/api/decks/{deck}").json()["revision"]
    answer = client.patch(f"/api/decks/{deck}", json={"revision": revision, "settings": settings})
    assert answer.status_code == 200, answer.text


def wandering(live_server: LiveServer, radius_mm: float, drift: tuple[float, float] = (1.2, 0.8)) -> str:
    paper = PAPERS["a4"]
    printer = Printer("Harbour office", paper, margins=Edges.all(5.0))
    printer = printer.trued(Drift.of(printer.centre, *drift), date(2026, 1, 5),
                            Wander(6, 0.1, 0.1, radius_mm, printer.centre))
    return live_server.services.store.printers.put(printer.name, printer_to_json(printer)).id


@pytest.mark.parametrize("method", METHODS)
def test_a_sheet_comes_with_faces_places_and_looks(client: httpx.Client, deck: str, method: str) -> None:
    set_settings(client, deck, method=method, gutter_mm=6, printer="")
    glow = client.get(f"/api/decks/{deck}/glow").json()
    fold = "fold" in method
    assert set(glow["faces"]) == ({"spread"} if fold else {"front", "back"})
    assert all(svg.startswith("<svg") and "longest=2048" in svg for svg in glow["faces"].values())
    assert (glow["panel"] is not None) == fold and bool(glow["creases"]) == fold
    assert [card["back_key"] is None for card in glow["cards"]] == [False, False, False, True]
    assert glow["cards"][0]["look"]["art_mm"] == pytest.approx({"left": 4, "right": 4, "top": 4, "bottom": 4}, abs=0.05)
    assert glow["cards"][3]["look"] is None
    axis, at = glow["through"]["axis"], glow["through"]["at"]
    for card in glow["cards"]:  # each back lies behind its front, by the reflection that comes along
        front, back = card["front"], card["back"]
        x = 2 * at - back["x"] - back["width"] if axis == "vertical" else back["x"]
        y = back["y"] if axis == "vertical" else 2 * at - back["y"] - back["height"]
        assert (x, y) == pytest.approx((front["x"], front["y"]))
    assert 0 < glow["stock"]["show_through"] < 1


def test_leeway_for_each_distinct_back_and_against_a_printer(client: httpx.Client, live_server: LiveServer,
                                                             deck: str) -> None:
    set_settings(client, deck, method="duplex", gutter_mm=6, printer="")
    found = client.get(f"/api/decks/{deck}/glow/leeway").json()
    assert [back["file"] for back in found["backs"]] == ["backs/keeper-0.png", "backs/keeper-2.png"]
    assert [back["cards"] for back in found["backs"]] == [["keeper-0", "keeper-1"], ["keeper-2"]]
    assert found["missing"] == ["keeper-3"] and found["wander_mm"] is None
    first, second = (back["leeway"] for back in found["backs"])
    assert first["leeway_mm"] == pytest.approx(4 / 3, abs=0.05) and first["first_rule"] == "uneven"
    assert second["leeway_mm"] == pytest.approx(2, abs=0.05) and first["verdict"] is None
    # 19 sheets of 20 within 1.2 mm: 4/3 mm is enough, but not by the 0.3 mm that a cut takes; 2 mm is.
    printer = wandering(live_server, 1.2)
    told = client.get(f"/api/decks/{deck}/glow/leeway?printer={printer}").json()
    assert [back["leeway"]["verdict"] for back in told["backs"]] == ["holds barely", "holds"]
    assert told["wander_mm"] == 1.2 and told["printer"] == "Harbour office"
    assert [rule["name"] for rule in told["rules"]] == ["paper_shows", "neighbour_shows", "art_cut", "uneven"]


def test_a_printers_drift_and_correction_come_along(client: httpx.Client, live_server: LiveServer, deck: str) -> None:
    set_settings(client, deck, method="duplex", gutter_mm=6, printer="")
    printer = wandering(live_server, 0.4)
    glow = client.get(f"/api/decks/{deck}/glow?printer={printer}").json()
    assert glow["printer"]["drift"] == pytest.approx([1, 0, 0, 1, 1.2, 0.8])
    # The back's own page is mirrored on a long-edge flip: a back that lands right is drawn further right there.
    assert glow["back_correction"] == pytest.approx([1, 0, 0, 1, 1.2, -0.8])
    assert glow["front_correction"] == [1, 0, 0, 1, 0, 0]
    assert client.get(f"/api/decks/{deck}/glow?printer=nobody").status_code == 422


def test_a_made_back_is_measured_before_it_is_taken(client: httpx.Client, deck: str) -> None:
    set_settings(client, deck, method="duplex", gutter_mm=0, printer="", edges="auto", bleed_mm=3)
    ask = {"finish": "flooded", "pattern": "plain", "ground": "#203040"}
    seen = client.post(f"/api/decks/{deck}/glow/back", json=ask).json()
    assert seen["settings"] == {"back_flood": "#203040"} and seen["svg"].startswith("<svg")
    # Four cards on A4 with margins of 5 mm: however they lie, the flood runs on well past 3 mm of bleed.
    assert seen["leeway"]["leeway_mm"] > 10 and seen["leeway"]["first_rule"] == "paper_shows"
    inset = client.post(f"/api/decks/{deck}/glow/back", json={"finish": "inset", "buffer_mm": 2.5}).json()
    assert inset["settings"] == {"back_flood": ""}
    assert inset["leeway"]["clean_mm"] == pytest.approx(2.5, abs=0.05)
    bad = client.post(f"/api/decks/{deck}/glow/back", json={**ask, "ground": "blue"})
    assert bad.status_code == 422 and bad.json()["message"].startswith("ground: 'blue' is no colour")


def test_a_made_back_can_be_taken_as_a_file(client: httpx.Client, deck: str) -> None:
    query = {"finish": "inset", "pattern": "beams", "title": "Lamps", "buffer_mm": "2"}
    answer = client.get(f"/api/decks/{deck}/glow/back.pdf", params=query)
    assert answer.headers["content-type"] == "application/pdf"
    with pypdfium2.PdfDocument(answer.content) as document:
        assert [side * 25.4 / 72 for side in document[0].get_size()] == pytest.approx([69, 94], abs=0.01)
    kept = client.put(f"/api/decks/{deck}/files/backs/made.pdf", content=answer.content)
    assert kept.status_code == 200 and kept.json()["kind"] == "pdf" and kept.json()["problem"] is None
    assert client.delete(f"/api/decks/{deck}/files/backs/made.pdf").status_code == 200


def test_a_playtester_sees_it_and_changes_nothing(live_server: LiveServer, deck: str) -> None:
    services = live_server.services
    cookie, _ = services.people.start("playtester", "Guest", "127.0.0.1", deck)
    guest = live_server.stranger(cookies={f"lampfold-{live_server.port}": cookie})
    assert guest.get(f"/decks/{deck}/glow").status_code == 200
    assert guest.get(f"/api/decks/{deck}/glow").status_code == 200
    assert guest.get(f"/api/decks/{deck}/glow/leeway").status_code == 200
    assert guest.put(f"/api/decks/{deck}/files/backs/x.png", content=picture()).status_code == 403
    assert guest.patch(f"/api/decks/{deck}", json={"revision": 1}).status_code == 403
    other = live_server.deck({"fronts/a.png": picture()}, "Other")
    assert guest.get(f"/api/decks/{other}/glow").status_code == 403


def test_a_deck_without_cards_says_what_to_do(client: httpx.Client) -> None:
    empty = client.post("/api/decks", json={"name": "Empty"}).json()["id"]
    answer = client.get(f"/api/decks/{empty}/glow")
    assert answer.status_code == 422 and "no card" in answer.json()["message"]
    assert json.loads(answer.text)["fix"]
