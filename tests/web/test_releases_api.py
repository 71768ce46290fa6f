"""Releases by the API: made by host and makers, kept as a pack, fetched whole or one PDF at a time by playtesters."""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import httpx
import pypdfium2
import pytest

from server.cli import main
from server.store.store import clean
from tests.test_true_up_loop import discs_pdf
from tests.test_web_equals_command_line import printer_file
from tests.virtual_printer import Error, misfits, pages, print_sheet
from tests.web.live import TEST_LIMITS, LiveServer, picture, running, small_deck
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
    assert [row["version"] for row in tester.get("/api/decks").json()["decks"] if row["id"] == deck_id] == ["0.3"]
    link = lan_server.client().post("/api/links", json={"deck_id": deck_id}).json()["url"].rpartition("/")[2]
    door = lan_server.stranger().get(f"/link/{link}", follow_redirects=False)
    assert door.headers["location"] == f"/decks/{deck_id}/output"  # where what was released lies

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


def test_a_game_of_two_decks_with_boxes_and_own_files_is_one_pack(lan_server: LiveServer) -> None:
    maker, tester = guest(lan_server, "maker"), guest(lan_server, "playtester")
    tides, lamps = (lan_server.deck(small_deck(count), name, maker) for name, count in (("Ebb", 2), ("Wicks", 3)))
    revision = maker.get(f"/api/decks/{tides}").json()["revision"]
    maker.patch(f"/api/decks/{tides}", json={"revision": revision, "settings": {"box": "tuck", "card": "mini"}})
    extras = f"/api/decks/{tides}/releases/extras"
    for name, content in (("Règles.txt", b"old"), ("règles.txt", b"Turn a card."), ("logo.exe", b"MZ")):
        assert maker.put(f"{extras}/{name}", content=content).status_code == 200
    assert [one["name"] for one in maker.get(extras).json()["extras"]] == ["logo.exe", "r\u00e8gles.txt"]
    assert tester.put(f"{extras}/x.txt", content=b"x").status_code == 403
    clean(lan_server.services.store)
    one = released(maker, tides, decks=[lamps], extras=["r\u00e8gles.txt"], methods=["duplex"], papers=["a4"])
    # The same release in both decks; each deck kept the version.
    assert [row["id"] for row in tester.get(f"/api/decks/{lamps}/releases").json()["releases"]] == [one["id"]]
    assert [row["name"] for row in maker.get(f"/api/decks/{lamps}/versions").json()["versions"]] == ["0.3"]
    parts = {(file["part"], file["deck"]): file["file"] for file in one["files"]}
    assert parts == {
        ("sheets", tides): "Ebb/Ebb-0.3-duplex-a4-full.pdf", ("guide", tides): "Ebb/Ebb-0.3-duplex-a4-guide.pdf",
        ("box", tides): "Ebb/Ebb-0.3-duplex-a4-box.pdf", ("sheets", lamps): "Wicks/Wicks-0.3-duplex-a4-full.pdf",
        ("guide", lamps): "Wicks/Wicks-0.3-duplex-a4-guide.pdf", ("index", ""): "index.pdf",
        ("extra", ""): "extras/r\u00e8gles.txt"}
    files = f"/api/decks/{lamps}/releases/{one['id']}/files"
    rules = tester.get(f"{files}/extras/r\u00e8gles.txt")
    assert rules.content == b"Turn a card." and rules.headers["content-type"] == "application/octet-stream"
    for name, count in (("Ebb-0.3-duplex-a4-full.pdf", 2), ("Ebb-0.3-duplex-a4-box.pdf", 1)):
        document = pypdfium2.PdfDocument(tester.get(f"{files}/Ebb/{name}").content)
        assert len(document) == count
        document.close()
    assert maker.delete(f"{extras}/logo.exe").json()["extras"] == [{"name": "r\u00e8gles.txt", "bytes": 12}]
    assert maker.delete(f"/api/decks/{lamps}/releases/{one['id']}").status_code == 200
    assert maker.get(f"/api/decks/{tides}/releases").json()["releases"] == []


def test_the_command_line_packs_the_same_bytes(lan_server: LiveServer, tmp_path: Path,
                                               capsys: pytest.CaptureFixture[str]) -> None:
    host = lan_server.client()
    for name, count in (("Groyne", 10), ("Spit", 2)):
        for path, content in small_deck(count).items():
            (tmp_path / name / path).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name / path).write_bytes(content)
    (tmp_path / "rules.txt").write_text("Turn a card.", encoding="utf-8")
    groyne, spit = (lan_server.deck(small_deck(count), name, host) for name, count in (("Groyne", 10), ("Spit", 2)))
    host.put(f"/api/decks/{groyne}/releases/extras/rules.txt", content=b"Turn a card.")
    one = released(host, groyne, decks=[spit], extras=["rules.txt"], inks=["full", "pale"])
    assert main(["release", str(tmp_path / "Groyne"), str(tmp_path / "Spit"), "--version", "0.3",
                 "--papers", "a4,letter", "--methods", "duplex,vertical-fold", "--ink", "full,pale",
                 "--extra", str(tmp_path / "rules.txt"), "--out", str(tmp_path / "pack.zip")]) == 0
    capsys.readouterr()
    theirs = host.get(f"/api/decks/{groyne}/releases/{one['id']}/pack.zip").content
    with zipfile.ZipFile(io.BytesIO(theirs)) as pack, zipfile.ZipFile(tmp_path / "pack.zip") as ours:
        differ = [name for name in pack.namelist() if pack.read(name) != ours.read(name)]
        assert pack.namelist() == ours.namelist() and not differ
    assert theirs == (tmp_path / "pack.zip").read_bytes()


def test_own_files_are_bounded_and_their_names_safe(make_server: Callable[..., LiveServer]) -> None:
    server = make_server(replace(TEST_LIMITS, extra_bytes=2000, extras=1))
    host = server.client()
    extras = f"/api/decks/{server.deck({}, 'Own', host)}/releases/extras"
    # Encoded: a slash, two points, a colon, a right-to-left override before fdp.exe.
    for name in ("a%2Fb.txt", "%2e%2e", "a%3Ab.txt", "a%E2%80%AEfdp.exe", "nul.txt", "rules.pdf."):
        assert host.put(f"{extras}/{name}", content=b"x").status_code in (404, 405, 422), name
    assert host.put(f"{extras}/empty.txt", content=b"").status_code == 422
    assert host.put(f"{extras}/big.bin", content=b"x" * 2001).status_code == 413
    assert host.put(f"{extras}/rules.txt", content=b"x" * 2000).status_code == 200
    assert host.put(f"{extras}/second.txt", content=b"x").status_code == 413
    assert host.get(extras).json()["extras"] == [{"name": "rules.txt", "bytes": 2000}]
    assert not list(server.services.store.folder.incoming.iterdir())


def test_a_playtester_sees_what_changed_since_theirs_and_prints_only_that(lan_server: LiveServer) -> None:
    maker, tester = guest(lan_server, "maker"), guest(lan_server, "playtester")
    deck_id = lan_server.deck(small_deck(10), "Reef", maker)
    first = released(maker, deck_id, version="0.1", methods=["duplex", "side-fold"], papers=["a4"])
    maker.put(f"/api/decks/{deck_id}/files/fronts/keeper-3.png", content=picture((240, 240, 10)))
    maker.delete(f"/api/decks/{deck_id}/files/fronts/keeper-9.png")
    second = released(maker, deck_id, version="0.2", methods=["duplex", "side-fold"], papers=["a4"])
    # Whatever becomes of the old version on the makers' list, who is on it is served.
    maker.delete(f"/api/decks/{deck_id}/versions/{first['version_id']}")
    lan_server.services.store.versions.empty_bin(timedelta(0))
    address = f"/api/decks/{deck_id}/releases/{second['id']}"
    changes = tester.get(f"{address}/changes", params={"since": first["id"]}).json()
    assert changes["since"] == "0.1"
    assert [one["new"]["name"] for one in changes["changed"]] == ["keeper-3"]
    assert [one["name"] for one in changes["gone"]] == ["keeper-9"] and changes["added"] == []
    for key in (changes["changed"][0]["old"]["front"], changes["changed"][0]["new"]["front"]):
        assert tester.get(f"/api/art/{key}?longest=256").status_code == 200

    choice = {"since": first["id"], "method": "side-fold", "paper": "a4", "ink": "full"}
    job = tester.post(f"{address}/change-sheet", json=choice).json()["job"]
    last: dict[str, Any] = events(tester, job)[-1]
    assert last["state"] == "done", last
    assert last["result"]["name"] == "Reef-0.2-since-0.1-side-fold-a4.pdf" and last["result"]["cards"] == 1
    document = pypdfium2.PdfDocument(tester.get(last["result"]["pdf"]).content)
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    assert len(document) == 2 and "0.2" in words and "2 to take out" in words  # a folded sheet; the list
    document.close()
    assert last["message"] == "Done: 1 of 9 cards, 1 sheet" and last["result"]["changes"]["cards"] == 9
    for wrong, status in (({"ink": "pale"}, 422), ({"paper": "letter"}, 404), ({"since": "nothing"}, 404),
                          ({"printer": "nobody's"}, 422)):
        assert tester.post(f"{address}/change-sheet", json={**choice, **wrong}).status_code == status
    looks: dict[str, list[dict[str, str]]] = tester.get(f"{address}/looks", params={
        "paper": "a4", "method": "duplex", "ink": "full"}).json()
    assert {kind: [one["value"] for one in of] for kind, of in looks.items()} == {
        "paper": ["a4"], "method": ["duplex", "side-fold"], "ink": ["full"]}
    drawn = [one[part] for of in looks.values() for one in of for part in ("printed", "made")]
    assert all(ElementTree.fromstring(svg).tag.endswith("svg") for svg in drawn)
    assert "210 \u00d7" in looks["paper"][0]["made"] and "/api/art/" in looks["ink"][0]["made"]


def test_a_playtesters_change_sheet_lands_on_their_own_printer(lan_server: LiveServer, tmp_path: Path) -> None:
    """The virtual printer lays the back 1.2 mm to the right and 0.7 mm high of its place, seen from the front."""
    maker, tester, other = (guest(lan_server, role) for role in ("maker", "playtester", "playtester"))
    art: dict[str, bytes] = {}
    for side, seen in (("fronts", 20.0), ("backs", 43.0)):  # 63 mm wide: behind each other against the light
        path = discs_pdf(tmp_path / "card.pdf", (63.0, 88.0), ((seen, 30.0),))
        art |= {f"{side}/lamp.pdf": path.read_bytes()}
    deck_id = lan_server.deck({f"{side}/buoy.png": picture() for side in ("fronts", "backs")}, "Sound", maker)
    released(maker, deck_id, version="1", methods=["duplex"], papers=["a5"])
    for name, content in art.items():
        maker.put(f"/api/decks/{deck_id}/files/{name}", content=content)
    second = released(maker, deck_id, version="2", methods=["duplex"], papers=["a5"])
    first = maker.get(f"/api/decks/{deck_id}/releases").json()["releases"][1]
    profile = json.loads(printer_file("a5", "long-edge", drift=True))
    profile["drift"] |= {"rotation_deg": 0, "scale_x": 1, "scale_y": 1}
    profile["front_scale"] = {"x": 1, "y": 1}
    own = tester.post("/api/printers/import", content=json.dumps(profile)).json()["id"]
    choice = {"since": first["id"], "method": "duplex", "paper": "a5", "ink": "full"}
    address = f"/api/decks/{deck_id}/releases/{second['id']}/change-sheet"
    off = []
    for printer in ("", own):
        job = tester.post(address, json={**choice, "printer": printer}).json()["job"]
        last: dict[str, Any] = events(tester, job)[-1]
        assert last["state"] == "done", last
        (tmp_path / "sheet.pdf").write_bytes(tester.get(last["result"]["pdf"]).content)
        front, back = pages(tmp_path / "sheet.pdf", 300)[:2]
        # As the back is looked at, what lies to the right from the front lies to the left.
        sheet = print_sheet(front, back, "long-edge", Error(), Error(right=-1.2, down=-0.7), 300)
        off.append(float(misfits(sheet, 4.0).max()))
    assert off[0] == pytest.approx(math.hypot(1.2, 0.7), abs=0.05) and off[1] < 0.05
    # Another's own printer is nobody else's, and another paper is told.
    assert other.post(address, json={**choice, "printer": own}).status_code == 422
    profile["paper"] = "a4"
    wide = tester.post("/api/printers/import", content=json.dumps(profile)).json()["id"]
    told = tester.post(address, json={**choice, "printer": wide})
    assert told.status_code == 422 and "measured on A4" in told.json()["message"]


def test_a_release_under_way_is_found_again(lan_server: LiveServer) -> None:
    host, tester = lan_server.client(), guest(lan_server, "playtester")
    deck_id = lan_server.deck(small_deck(2), "Mole", host)
    assert host.get(f"/api/decks/{deck_id}/releases").json()["under_way"] is None
    job = host.post(f"/api/decks/{deck_id}/releases", json=ask(inks=["full", "pale"])).json()["job"]
    assert host.get(f"/api/decks/{deck_id}/releases").json()["under_way"]["id"] == job
    assert tester.get(f"/api/decks/{deck_id}/releases").json()["under_way"] is None
    host.delete(f"/api/jobs/{job}")
    assert events(host, job)[-1]["state"] == "cancelled"
    assert host.get(f"/api/decks/{deck_id}/releases").json()["under_way"] is None


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
