"""Releases by the API: made by host and makers, kept as a pack, fetched whole or one PDF at a time by playtesters."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from typing import Any

import httpx
import pypdfium2
import pytest

from server.store.cleaning import clean
from tests.web.live import LiveServer, running, small_deck
from tests.web.test_builds_api import events
from tests.web.test_people import LAN, guest


@pytest.fixture(scope="module")
def lan_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    with running(tmp_path_factory.mktemp("lan") / "data", hosts=LAN) as server:
        yield server


def ask(**changes: Any) -> dict[str, Any]:
    return {"version": "0.3", "methods": ["duplex", "vertical-fold"], "papers": ["a4", "letter"], "inks": ["full"],
            **changes}


def released(client: httpx.Client, deck_id: str, **changes: Any) -> dict[str, Any]:
    """The newest release, once it is made."""
    answer = client.post(f"/api/decks/{deck_id}/releases", json=ask(**changes))
    assert answer.status_code == 202, answer.text
    last = events(client, answer.json()["job"])[-1]
    assert last["state"] == "done", last
    newest: dict[str, Any] = client.get(f"/api/decks/{deck_id}/releases").json()["releases"][0]
    assert newest["id"] == answer.json()["release"]
    return newest


def test_a_maker_releases_and_a_playtester_gets_the_packs_own_bytes(lan_server: LiveServer) -> None:
    maker, tester = guest(lan_server, "maker"), guest(lan_server, "playtester")
    deck_id = lan_server.deck(small_deck(2), "Tides", maker)
    one = released(maker, deck_id, inks=["full", "pale"])
    address = f"/api/decks/{deck_id}/releases"
    assert [row["name"] for row in maker.get(f"/api/decks/{deck_id}/versions").json()["versions"]] == ["0.3"]
    assert tester.post(address, json=ask()).status_code == 403
    assert tester.delete(f"{address}/{one['id']}").status_code == 403
    assert tester.get(address).json()["releases"] == [one]

    answer = tester.get(f"{address}/{one['id']}/pack.zip")
    assert 'filename="Tides-0.3.zip"' in answer.headers["content-disposition"] and len(answer.content) == one["bytes"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as pack:
        listed = {file["file"]: file["sha256"] for file in json.loads(pack.read("manifest.json"))["files"]}
        assert {file["file"]: file["sha256"] for file in one["files"]} == listed
        assert len(listed) == 4 * 3 + 1  # of each method and paper two inks and a guide; the index
        for file in one["files"]:
            got = tester.get(f"{address}/{one['id']}/files/{file['file']}")
            assert got.content == pack.read(file["file"]) and len(got.content) == file["bytes"]
            assert hashlib.sha256(got.content).hexdigest() == file["sha256"]
    pale = next(file for file in one["files"] if (file["method"], file["paper"], file["ink"])
                == ("vertical-fold", "letter", "pale"))
    assert pale["file"] == "Tides/Tides-0.3-vertical-fold-letter-pale.pdf"
    document = pypdfium2.PdfDocument(tester.get(f"{address}/{one['id']}/files/{pale['file']}").content)
    assert document.get_page_size(0) == pytest.approx((612, 792)) and len(document) == pale["papers"]
    document.close()


def test_what_the_manifest_does_not_name_is_refused(lan_server: LiveServer) -> None:
    host = lan_server.client()
    deck_id, other = (lan_server.deck(small_deck(1), name, host) for name in ("Buoy", "Other"))
    one = released(host, deck_id, methods=["duplex"], papers=["a4"])
    files = f"/api/decks/{deck_id}/releases/{one['id']}/files"
    # Encoded, since the client itself takes plain dots out of an address.
    for name in ("manifest.json", "Buoy", "Buoy/", "%2e%2e/%2e%2e/lampfold.db", "..%2f..%2flampfold.db",
                 "Buoy%2f..%2findex.pdf", "/index.pdf", "INDEX.PDF", f"..%5c{one['id']}.zip"):
        assert host.get(f"{files}/{name}").status_code in (400, 404), name
    assert host.get(f"{files}/index.pdf").status_code == 200
    # Another deck's link opens nothing of this one.
    assert host.get(f"/api/decks/{other}/releases/{one['id']}/pack.zip").status_code == 404
    wrong = (ask(methods=["folding"]), ask(papers=["nine"]), ask(inks=["red"]), ask(methods=[]), ask(version=" "))
    assert {host.post(f"/api/decks/{deck_id}/releases", json=one).status_code for one in wrong} == {422}


def test_a_kept_version_is_released_whatever_the_deck_is_now(lan_server: LiveServer) -> None:
    host = lan_server.client()
    deck_id = lan_server.deck(small_deck(10), "Old", host)
    host.post(f"/api/decks/{deck_id}/versions", json={"name": "0.1"})
    for number in range(9):
        host.delete(f"/api/decks/{deck_id}/files/fronts/keeper-{number}.png")
    papers = {one["version"]: next(file["papers"] for file in one["files"] if file["ink"] == "full")
              for one in (released(host, deck_id, version=name, methods=["duplex"], papers=["a4"])
                          for name in ("0.1", "0.2"))}
    assert papers == {"0.1": 2, "0.2": 1}  # nine cards of 63 by 88 mm lie on A4
    assert [one["version"] for one in host.get(f"/api/decks/{deck_id}/releases").json()["releases"]] == ["0.2", "0.1"]


def test_what_is_cancelled_or_removed_leaves_nothing(lan_server: LiveServer) -> None:
    host, store = lan_server.client(), lan_server.services.store
    deck_id = lan_server.deck(small_deck(2), "Gone", host)
    job = host.post(f"/api/decks/{deck_id}/releases", json=ask(inks=["full", "pale"])).json()["job"]
    host.delete(f"/api/jobs/{job}")
    assert events(host, job)[-1]["state"] == "cancelled"
    assert host.get(f"/api/decks/{deck_id}/releases").json()["releases"] == []
    assert not list(store.folder.incoming.glob("release-*"))

    one = released(host, deck_id, methods=["duplex"], papers=["a4"])
    path = store.releases.path(one["id"])
    clean(store)
    assert path.is_file()
    assert host.delete(f"/api/decks/{deck_id}/releases/{one['id']}").json()["releases"] == []
    assert not path.exists()
