"""True-up by the API: the test sheet, the live fit, saved printers, and backs of ready PDFs moved."""

from __future__ import annotations

import io
import json
import re
from itertools import pairwise
from typing import Any

import httpx
import pikepdf
import pypdfium2
import pytest

from server.core.registration.printer_file import printer_from_text
from tests.web.live import LiveServer, small_deck

# The stations of an A4 test sheet, measured on it: 31 mm from the edges, and the middle.
STATIONS = {1: (31, 31), 2: (179, 31), 3: (105, 148.5), 4: (31, 266), 5: (179, 266)}


def shifted(dx: float, dy: float, sheets: int = 1, stations: tuple[int, ...] = (1, 2, 3, 4, 5)) -> list[dict[str, Any]]:
    return [{"sheet": str(sheet), "station": one, "dx_mm": dx, "dy_mm": dy}
            for sheet in range(1, sheets + 1) for one in stations]


@pytest.fixture(scope="module")
def client(live_server: LiveServer) -> httpx.Client:
    return live_server.client()


@pytest.fixture
def printer(client: httpx.Client) -> dict[str, Any]:
    made = client.post("/api/printers", json={"name": "Harbour office", "feed": "tray 2",
                                              "margins_mm": {"left": 4, "top": 4, "right": 4, "bottom": 12}})
    assert made.status_code == 201, made.text
    found: dict[str, Any] = made.json()
    return found


def test_the_test_sheet_is_of_that_paper_and_flip(client: httpx.Client) -> None:
    answer = client.get("/api/test-sheet.pdf?paper=letter&flip=short-edge")
    assert answer.headers["content-type"] == "application/pdf"
    assert 'filename="test-sheet-letter-short-edge.pdf"' in answer.headers["content-disposition"]
    with pypdfium2.PdfDocument(answer.content) as document:
        sizes = [document.get_page_size(n) for n in range(len(document))]
        assert sizes == [pytest.approx((612, 792))] * 2  # ANSI/ASME Y14.1, size A
        assert "flip on the short edge" in document[0].get_textpage().get_text_range()
    with pikepdf.open(io.BytesIO(answer.content)) as pdf:  # ISO 32000-1, Table 150
        assert pdf.Root.ViewerPreferences.Duplex == "/DuplexFlipShortEdge"
        assert pdf.Root.ViewerPreferences.PrintScaling == "/None"
    small = client.get("/api/test-sheet.pdf?paper=100x150")
    assert small.status_code == 422 and "too small" in small.json()["message"]


def test_the_page_draws_stations_from_what_the_sheet_prints(client: httpx.Client) -> None:
    found = client.get("/api/test-sheet/stations?paper=a4").json()
    assert {one["number"]: (one["x_mm"], one["y_mm"]) for one in found["stations"][:5]} == STATIONS
    right = sorted(line[0] for line in found["front"]["lines"]
                   if line[0] == line[2] > 7 and (line[1], line[3]) == (-7.0, -1.0))
    back = sorted(line[0] for line in found["back"]["lines"] if line[0] == line[2] > 7 and line[1] == -4.0)
    gaps = lambda at: {round(second - first, 6) for first, second in pairwise(at)}  # noqa: E731
    assert gaps(right) == {1.0} and gaps(back) == {0.9} and right[0] == back[0]  # vernier principle: n in n - 1
    assert len(client.get("/api/test-sheet/stations?paper=a3").json()["stations"]) == 9


def test_a_fit_as_numbers_are_typed_keeps_nothing(client: httpx.Client) -> None:
    before = client.get("/api/printers").json()
    found = client.post("/api/fit", json={"paper": "a4", "readings": shifted(1.2, -0.8, stations=(1, 2, 3, 5))}).json()
    assert found["drift"]["dx_mm"] == pytest.approx(1.2) and found["drift"]["dy_mm"] == pytest.approx(-0.8)
    assert (found["drift"]["rotation_deg"], found["rms_mm"]) == pytest.approx((0, 0), abs=1e-9)
    assert found["sheets"] == 1 and found["wander"]["radius_mm"] is None
    assert "One sheet can't show" in found["wander"]["says"] and len(found["residuals"]) == 4
    assert client.get("/api/printers").json() == before


def test_what_does_not_fit_is_named_with_what_would(client: httpx.Client) -> None:
    readings = shifted(1.2, 0.8)
    readings[3]["dx_mm"] = -1.2
    found = client.post("/api/fit", json={"readings": readings}).json()
    suspect, = found["suspects"]
    assert (suspect["station"], suspect["fits_dx_mm"], suspect["fits_dy_mm"]) == (4, 1.2, 0.8)
    assert "sign of dx" in suspect["why"] and found["drift"]["dx_mm"] == pytest.approx(1.2)
    assert [one["suspect"] for one in found["residuals"]] == [False, False, False, True, False]


@pytest.mark.parametrize(("readings", "words"), [
    (shifted(1, 1, stations=(1, 2)), "needs three"),
    (shifted(1, 1, stations=(1, 3, 5)), "on one line|from one line"),  # a diagonal
    ([*shifted(1, 1), shifted(1, 1)[0]], "read twice"),
    (shifted(1, 1, stations=(1, 2, 3, 12)), "no station 12"),
    ([{"sheet": "1", "dx_mm": 1, "dy_mm": 1}], "has no place"),
])
def test_readings_that_tell_nothing_say_the_way_out(client: httpx.Client, readings: list[Any], words: str) -> None:
    answer = client.post("/api/fit", json={"readings": readings})
    assert answer.status_code == 422 and re.search(words, answer.json()["message"]) and answer.json()["fix"]


def test_more_than_any_printer_drifts_is_shown_but_not_kept(client: httpx.Client, printer: dict[str, Any]) -> None:
    plain = {"dx_mm": 30, "dy_mm": 0}
    found = client.post("/api/fit", json={"plain": plain}).json()
    assert found["drift"]["dx_mm"] == 30 and "shift" in found["trouble"]["message"]
    kept = client.put(f"/api/printers/{printer['id']}/readings", json={"plain": plain})
    assert kept.status_code == 422 and client.get(f"/api/printers/{printer['id']}").json()["drift"] is None


def test_a_printer_is_trued_up_confirmed_and_refined(client: httpx.Client, printer: dict[str, Any]) -> None:
    at = f"/api/printers/{printer['id']}"
    assert printer["state"] == "not trued up" and printer["margins_mm"]["bottom"] == 12
    trued = client.put(f"{at}/readings", json={"readings": shifted(1.2, 0.8, sheets=5)}).json()
    assert trued["state"] == "trued up" and trued["sheets"] == 5 and len(trued["readings"]) == 25
    # Read alike, to a tenth: what a tenth leaves unknown on either axis, times the factor for five sheets.
    assert 0.1 / 12**0.5 < trued["wander"]["radius_mm"] < 0.2 and trued["note"].startswith("made for Harbour")
    confirmed = client.put(f"{at}/confirmation", json={"readings": shifted(0.1, 0)}).json()
    assert confirmed["confirmed"]["drift"]["dx_mm"] == pytest.approx(0.1)
    refined = client.post(f"{at}/refine").json()
    assert refined["drift"]["dx_mm"] == pytest.approx(1.3) and refined["confirmed"] is None
    assert client.post(f"{at}/undo").json()["confirmed"] is not None
    assert client.delete(f"{at}/confirmation").json()["confirmed"] is None
    assert client.delete(f"{at}/readings").json()["state"] == "not trued up"
    assert client.put(f"{at}/confirmation", json={"readings": shifted(0, 0)}).status_code == 422


def test_paper_and_flip_stay_those_of_the_readings(client: httpx.Client, printer: dict[str, Any]) -> None:
    at = f"/api/printers/{printer['id']}"
    form = {"name": "Kitchen", "paper": "letter", "flip": "short-edge", "feed": " by  hand "}
    assert client.put(at, json=form).json()["paper_label"] == "Letter"
    client.put(f"{at}/readings", json={"plain": {"dx_mm": 1}})
    assert client.put(at, json={**form, "name": "Study"}).json()["feed"] == "by hand"
    answer = client.put(at, json={**form, "paper": "a4"})
    assert answer.status_code == 422 and "was trued up on Letter" in answer.json()["message"]
    assert client.put(at, json={**form, "name": "  "}).status_code == 422


def test_delete_can_be_taken_back(client: httpx.Client, printer: dict[str, Any]) -> None:
    at = f"/api/printers/{printer['id']}"
    ids = lambda which: {one["id"] for one in client.get("/api/printers").json()[which]}  # noqa: E731
    assert client.delete(at).json()["deleted"]
    assert printer["id"] in ids("deleted") - ids("printers")
    assert client.delete(at).status_code == 404 and client.put(f"{at}/readings", json={}).status_code == 404
    assert client.post(f"{at}/restore").json()["deleted"] is None and printer["id"] in ids("printers")


def test_one_file_takes_a_printer_elsewhere(client: httpx.Client, printer: dict[str, Any]) -> None:
    at = f"/api/printers/{printer['id']}"
    client.put(f"{at}/readings", json={"readings": shifted(1.2, 0.8, sheets=2)})
    answer = client.get(f"{at}/export")
    assert 'attachment; filename="Harbour-office.json"' in answer.headers["content-disposition"]
    assert printer_from_text(answer.text).drift is not None  # what build --printer reads
    taken = client.post("/api/printers/import", content=answer.content).json()
    assert taken["id"] != printer["id"]
    kept = client.get(at).json()
    for field in ("name", "paper", "flip", "feed", "margins_mm", "trued_up", "readings", "sheets"):
        assert taken[field] == kept[field]
    for content in (b"[]", b"{", b"\xff\xfe", json.dumps({"format": "other"}).encode()):
        refused = client.post("/api/printers/import", content=content)
        assert refused.status_code == 422 and refused.json()["message"].startswith("printer file")


def two_pages() -> bytes:
    """A ready file from another library: a mark on each side."""
    pdf = pikepdf.new()
    for _ in range(2):
        page = pdf.add_blank_page(page_size=(595.2756, 841.8898))  # A4, ISO 216
        page.Contents = pdf.make_stream(b"0 0 0 rg 200 300 60 40 re f")
    out = io.BytesIO()
    pdf.save(out)
    return out.getvalue()


def mark_mm(content: bytes, page: int) -> tuple[float, float]:
    """The dark mark's middle in mm from the top-left, by pdfium."""
    with pypdfium2.PdfDocument(content) as document:
        image = document[page].render(scale=200 / 72).to_pil().convert("L").point(lambda value: 255 * (value < 128))
    left, top, right, bottom = image.getbbox()
    return (left + right) / 2 * 25.4 / 200, (top + bottom) / 2 * 25.4 / 200


def test_a_ready_pdf_has_its_backs_moved(client: httpx.Client, printer: dict[str, Any]) -> None:
    ready = two_pages()
    ask = f"/api/nudge?printer={printer['id']}&backs=even&name=Charts%20of%20May.pdf"
    assert client.post(ask, content=ready).status_code == 422  # not trued up
    client.put(f"/api/printers/{printer['id']}/readings", json={"readings": shifted(1.5, 1.0)})
    made = client.post(ask, content=ready)
    assert made.status_code == 200, made.text
    told = made.json()
    assert (told["pages"], told["moved"], told["says"]) == (2, [2], "Page 2 of 2 moved.")
    assert told["name"] == "Charts-of-May-trued-up.pdf" and "trued up" in told["note"]
    moved = client.get(told["pdf"]).content
    assert mark_mm(moved, 0) == pytest.approx(mark_mm(ready, 0), abs=0.01)
    x, y = mark_mm(ready, 1)
    # It lands 1.5 mm right and 1 mm low, seen through the front. On the back of a long-edge flip right is left.
    assert mark_mm(moved, 1) == pytest.approx((x + 1.5, y - 1.0), abs=0.15)


@pytest.mark.parametrize(("content", "backs", "status", "words"), [
    (b"%PDF-1.7 broken", "even", 422, "no PDF that can be read"),
    (b"PK\x03\x04 zip", "even", 415, "no PDF by its content"),
    (b"", "even", 415, "no PDF"), (None, "2-9", 422, "no page"), (None, "some", 422, "no list of pages"),
])
def test_what_cannot_be_moved_says_why(client: httpx.Client, printer: dict[str, Any], content: bytes | None, backs: str,
                                       status: int, words: str) -> None:
    client.put(f"/api/printers/{printer['id']}/readings", json={"plain": {"dx_mm": 1}})
    answer = client.post(f"/api/nudge?printer={printer['id']}&backs={backs}", content=two_pages() if content is None
                         else content)
    assert answer.status_code == status and words in answer.json()["message"] and answer.json()["fix"]


def test_a_playtester_reads_printers_and_changes_none(live_server: LiveServer, printer: dict[str, Any]) -> None:
    deck = live_server.deck(small_deck(1), "Play")
    cookie, _ = live_server.services.people.start("playtester", "Guest", "127.0.0.1", deck)
    guest = live_server.stranger(cookies={f"lampfold-{live_server.port}": cookie})
    at = f"/api/printers/{printer['id']}"
    assert guest.get("/true-up").status_code == guest.get("/api/printers").status_code == 200
    assert guest.get("/api/test-sheet.pdf").status_code == guest.get(f"{at}/export").status_code == 200
    assert guest.post("/api/fit", json={"readings": shifted(1, 1)}).status_code == 200
    for method, path in (("PUT", at), ("DELETE", at), ("POST", f"{at}/undo"), ("PUT", f"{at}/readings"),
                         ("POST", f"{at}/restore"), ("POST", f"/api/nudge?printer={printer['id']}")):
        form: dict[str, Any] = {"name": "Mine"} if path == at else {"plain": {}} if "readings" in path else {}
        assert guest.request(method, path, json=form).status_code == 403, path
    assert guest.get(at).json() == live_server.client().get(at).json()


def test_a_playtesters_own_printer_is_theirs_alone(live_server: LiveServer, printer: dict[str, Any]) -> None:
    deck = live_server.deck(small_deck(1), "Play")
    people, host = live_server.services.people, live_server.client()
    cookies = [people.start("playtester", "Guest", "127.0.0.1", deck)[0] for _ in range(2)]
    guest, stranger = (live_server.stranger(cookies={f"lampfold-{live_server.port}": one}) for one in cookies)
    own = guest.post("/api/printers", json={"name": "Attic", "paper": "letter"}).json()
    at = f"/api/printers/{own['id']}"
    trued = guest.put(f"{at}/readings?revision={own['revision']}", json={"plain": {"dx_mm": 1.5}}).json()
    assert (trued["own"], trued["drift"]["dx_mm"]) == (True, pytest.approx(1.5))
    listed = [str(client.get("/api/printers").json()) for client in (guest, stranger, host)]
    assert [own["id"] in text for text in listed] == [True, False, False]
    for other in (stranger, host):
        assert {other.get(at).status_code, other.delete(at).status_code, other.get(f"{at}/export").status_code,
                other.get(f"/api/test-sheet.pdf?printer={own['id']}").status_code} == {404}
        assert other.get(f"/api/decks/{deck}/glow?printer={own['id']}&paper=letter").status_code == 422
    # It is used for what they see and for the PDF that they take, on its own paper, and for nothing else.
    mine = {"printer": own["id"], "paper": "letter"}
    seen = guest.get(f"/api/decks/{deck}/glow", params=mine).json()
    assert seen["printer"]["name"] == "Attic" and own["id"] in [one["id"] for one in seen["printers"]]
    plain = guest.get(f"/api/decks/{deck}/glow", params={"paper": "letter"}).json()
    assert seen["back_correction"] != plain["back_correction"]
    assert guest.get(f"/api/decks/{deck}/glow/leeway", params=mine).json()["printer"] == "Attic"
    assert guest.post(f"/api/decks/{deck}/builds", json={"settings": mine}).status_code == 202
    assert guest.get(f"/api/test-sheet.pdf?printer={own['id']}").status_code == 200
    assert host.get(f"/api/decks/{deck}").json()["settings"]["printer"] == ""
    for number in range(4):
        assert guest.post("/api/printers", json={"name": f"Loft {number}"}).status_code == 201
    full = guest.post("/api/printers", json={"name": "One more"})
    assert full.status_code == 413 and "5 are kept" in full.json()["message"]
    # It goes with the session.
    me = guest.get("/api/me").json()["id"]
    people.put_out(me)
    live_server.services.store.printers.forget_guests()
    assert host.get(at).status_code == 404
    assert not [row for row in live_server.services.store.printers.all(session=me) if row.owner]


def test_a_printer_that_others_changed_is_not_overwritten(client: httpx.Client, printer: dict[str, Any]) -> None:
    at, form = f"/api/printers/{printer['id']}", {"name": printer["name"], "paper": printer["paper"]}
    first = client.put(f"{at}?revision={printer['revision']}", json={**form, "feed": "tray 2"})
    assert first.status_code == 200
    for path, body in ((at, {**form, "feed": "tray 3"}), (f"{at}/readings", {"plain": {"dx_mm": 1.0}})):
        late = client.put(f"{path}?revision={printer['revision']}", json=body)
        assert late.status_code == 409 and late.json()["current"]["feed"] == "tray 2"
    assert client.get(at).json()["drift"] is None
    now = client.put(f"{at}/readings?revision={first.json()['revision']}", json={"plain": {"dx_mm": 1.0}})
    assert now.status_code == 200 and now.json()["drift"]["dx_mm"] == pytest.approx(1.0)
