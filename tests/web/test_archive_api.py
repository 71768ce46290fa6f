"""A ZIP by the API."""

from __future__ import annotations

import io
from urllib.parse import quote

from PIL import Image

from tests.formats.svg_files import svg
from tests.jobs.test_unpack import archive
from tests.web.live import LiveServer, picture


def test_a_zip_is_a_folder_and_one_step_to_undo(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    content = archive({"Lamps/fronts/a.png": picture(), "Lamps/fronts/b.png": picture((1, 2, 3)),
                       "Lamps/backs/back.png": picture((9, 9, 9)), "Lamps/read me.txt": b"hello"})
    answer = client.post(f"/api/decks/{deck_id}/archive", content=content)
    assert answer.status_code == 200, answer.text
    assert [file["path"] for file in answer.json()["files"]] == ["fronts/a.png", "fronts/b.png", "backs/back.png"]
    assert answer.json()["ignored"] == [{"path": "read me.txt", "reason": "is no art by its content"}]
    record = client.get(f"/api/decks/{deck_id}").json()
    assert [card["back"]["file"] for card in record["cards"]] == ["backs/back.png"] * 2
    assert client.post(f"/api/decks/{deck_id}/undo").json()["files"] == []
    assert list((live_server.data / "incoming").iterdir()) == []


def test_drawings_in_a_zip_are_art_and_what_cannot_be_drawn_is_named(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    size = 'width="63mm" height="88mm" viewBox="0 0 63 88"'
    lamp = svg("<style>g > rect, .b {fill:#393}</style><g><rect width='63' height='88'/></g>", size)
    content = archive({"fronts/lamp.svg": b"\xef\xbb\xbf<?xml version='1.0'?>\n<!-- by hand -->\n" + lamp.encode(),
                       "fronts/fog.svg": svg('<rect width="9" height="9" style="filter:blur(2px)"/>', size).encode(),
                       "backs/back.svg": svg("<circle r='30'/>", size).encode()})
    answer = client.post(f"/api/decks/{deck_id}/archive", content=content).json()
    assert (len(answer["files"]), answer["ignored"]) == (3, [])
    record = client.get(f"/api/decks/{deck_id}").json()
    assert [(card["front"]["file"], card["back"]["file"]) for card in record["cards"]] == [
        ("fronts/lamp.svg", "backs/back.svg")]
    assert [(one["file"], one["code"]) for one in record["problems"] if one["severity"] == "error"] == [
        ("fronts/fog.svg", "svg-feature")]
    shown = client.get(f"/api/art/{quote(record['cards'][0]['front']['key'], safe='')}?longest=256")
    with Image.open(io.BytesIO(shown.content)) as drawn:
        red, green, blue = drawn.convert("RGB").getpixel((60, 60))  # type: ignore[misc]
    assert green > 120 > 70 > red and blue < 70


def test_traps_are_refused_and_leave_nothing(live_server: LiveServer) -> None:
    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    for content, status in ((archive({"../a.png": picture()}), 422), (b"no zip", 422), (b"", 422),
                            (archive({"x.png": archive({"a.png": b""})}), 422)):
        answer = client.post(f"/api/decks/{deck_id}/archive", content=content)
        assert (answer.status_code, bool(answer.json()["fix"])) == (status, True)
    assert client.get(f"/api/decks/{deck_id}").json()["files"] == []
    assert list((live_server.data / "incoming").iterdir()) == []


def test_one_file_over_a_limit_does_not_stop_the_others(live_server: LiveServer) -> None:
    from tests.web.test_files_api import png_of

    client = live_server.client()
    deck_id = live_server.deck({}, client=client)
    answer = client.post(f"/api/decks/{deck_id}/archive",
                         content=archive({"fronts/a.png": picture(), "fronts/huge.png": png_of(65_000, 65_000)}))
    assert [file["path"] for file in answer.json()["files"]] == ["fronts/a.png"]
    assert [file["path"] for file in answer.json()["ignored"]] == ["fronts/huge.png"]
