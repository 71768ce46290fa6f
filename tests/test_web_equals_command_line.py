"""Pages and command line make the same of a deck, to the byte: the PDF, the plan, the numbers, the problems."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from server import cli
from server.commands.report import here
from server.core.methods import METHODS
from server.core.setting import Setting
from server.core.settings import SETTINGS
from server.errors import Busy
from server.formats.limits import ArtLimits
from server.jobs.queue import Work
from server.prepress import Prepared
from server.web import services
from tests.formats.artwork import ENDINGS, PICTURES, encoded, oriented, pdf, picture, write
from tests.formats.svg_files import link, svg
from tests.web.live import LiveServer, running

Files = Mapping[str, bytes]


@dataclass(frozen=True)
class Made:
    """What one face makes of a deck; ``refusal`` is what it says where it makes nothing, the setting's name aside."""

    pdf: bytes = b""
    plan: dict[str, Any] | None = None
    summary: dict[str, Any] | None = None
    problems: frozenset[tuple[str, str, str]] = frozenset()
    refusal: str = ""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A server whose workers' tasks run in this process, so that examples are quick and mutants reach them."""
    with running(tmp_path_factory.mktemp("faces") / "data") as live, pytest.MonkeyPatch.context() as patch:
        patch.setattr(live.services.pool, "submit", _run_here)
        yield live


def _run_here(work: Work) -> Work:
    work.future.set_running_or_notify_cancel()
    work.started()
    try:
        work.future.set_result(work.task(lambda done, total, text="": None, *work.arguments))
    except Exception as error:
        work.fail(error)
    return work


def by_command_line(folder: Path, given: Mapping[str, Any], printer: str | None) -> Made:
    with tempfile.TemporaryDirectory() as room:
        out, plan, profile = Path(room) / "deck.pdf", Path(room) / "plan.json", Path(room) / "printer.json"
        arguments = ["build", str(folder), "--json", "--out", str(out), "--plan", str(plan)]
        for name, value in given.items():
            option = SETTINGS[name].option
            if SETTINGS[name].kind == "yes-no":
                arguments += [option] if value != SETTINGS[name].default else []
            else:
                arguments += [option, str(value)] if value != "" else []
        if printer:
            profile.write_text(printer, encoding="utf-8")
            arguments += ["--printer", str(profile)]
        said, trouble = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(trouble):
            code = cli.main(arguments)
        if code:
            return _without(trouble.getvalue().removeprefix("lampfold: "))
        values = json.loads(said.getvalue())
        problems = _told(values.pop("problems"))
        for own in ("pdf", "pairs", "proposals", "bleeds"):  # where it lies, and what a deck's record says on the pages
            del values[own]
        return Made(out.read_bytes(), json.loads(plan.read_text(encoding="utf-8")), values, problems)


def by_web(server: LiveServer, name: str, files: Files, given: Mapping[str, Any], printer: str | None) -> Made:
    client = server.client()
    try:
        chosen = dict(given)
        if printer:
            chosen["printer"] = client.post("/api/printers/import", content=printer).json()["id"]
        deck = server.deck(files, name, client)
        preview = client.post(f"/api/decks/{deck}/plan", json={"settings": chosen})
        started = client.post(f"/api/decks/{deck}/builds", json={"settings": chosen})
        if started.status_code != 202:
            return _refused(started)
        job = client.get(f"/api/jobs/{started.json()['job']}").json()
        if job["state"] != "done":
            return Made(refusal=job["message"].partition(": ")[2])
        result = job["result"]
        for own in ("name", "bytes", "left_out", "changes"):
            del result[own]
        made = client.get(result.pop("pdf")).content
        plan = client.get(result.pop("plan")).json()
        inked = {"ink", "ink_saved_percent"}  # known once it is drawn
        assert preview.json()["summary"] == {name: value for name, value in result.items() if name not in inked}
        return Made(made, plan, result, _told(preview.json()["problems"]))
    finally:
        for one in client.get("/api/printers").json()["printers"]:  # a host keeps 200 at most
            client.delete(f"/api/printers/{one['id']}")


def _refused(answer: httpx.Response) -> Made:
    said = answer.json()
    return _without(f"{said['message']} {here(said['fix'])}")


def _without(refusal: str) -> Made:
    """A deck without a card is refused in each place's own words, since art is added in other ways there."""
    return Made(refusal="no card" if "no card to print" in refusal else refusal.partition(": ")[2].strip())


def _told(problems: list[dict[str, str]]) -> frozenset[tuple[str, str, str]]:
    return frozenset((one["file"], one["code"], one["message"]) for one in problems)


def both(server: LiveServer, files: Files, given: Mapping[str, Any], printer: str | None = None) -> tuple[Made, Made]:
    with tempfile.TemporaryDirectory() as room:
        for path, content in files.items():
            write(Path(room) / "Harbour", path, content)
        return (by_command_line(Path(room) / "Harbour", given, printer),
                by_web(server, "Harbour", files, given, printer))


_LAMP = ('<linearGradient id="g"><stop stop-color="#123"/><stop offset="1" stop-color="#fd6" stop-opacity=".5"/>'
         '</linearGradient><mask id="m"><circle cx="50" cy="60" r="40" fill="#fff"/></mask><rect width="100" '
         f'height="140" fill="url(#g)"/><image width="100" height="140" mask="url(#m)" href="'
         f'{link(picture(mode="RGBA"), "PNG")}"/>'
         '<text x="5" y="130" font-family="Arial" font-size="20">Lamp</text>')
ART = {
    **{f"{kind}.{ENDINGS[kind]}": encoded(kind) for kind in PICTURES},
    "clear.png": encoded("PNG", picture(69, 94, "RGBA")), "grey.png": encoded("PNG", picture(mode="L")),
    "inks.jpg": encoded("JPEG", picture(mode="CMYK")), "turned.jpg": oriented("JPEG", 6, picture(88, 63)),
    "lying.png": encoded("PNG", picture(88, 63)), "page.pdf": pdf(1, 69, 94), "pages.pdf": pdf(3),
    "drawn.svg": svg(_LAMP, 'width="63mm" height="88mm" viewBox="0 0 100 140"').encode(),
    "moving.svg": svg("<set/>").encode(),
}


@st.composite
def decks(draw: st.DrawFn) -> dict[str, bytes]:
    """A folder of one to four fronts of any format, some in several copies, with backs of their own, one, or none."""
    files: dict[str, bytes] = {}
    for number, name in enumerate(draw(st.lists(st.sampled_from(sorted(ART)), min_size=1, max_size=4))):
        stem, _, ending = name.rpartition(".")
        copies = draw(st.sampled_from(["", "", "_x2", "_x7"]))
        files[f"fronts/{number} {stem}{copies}.{ending}"] = ART[name]
        if draw(st.booleans()):
            files[f"backs/{number} {stem}.{ending}"] = ART[name]
    if draw(st.booleans()):
        back = draw(st.sampled_from(sorted(ART)))
        files[f"backs/all.{back.rpartition('.')[2]}"] = ART[back]
    return files


def _values(setting: Setting) -> st.SearchStrategy[Any]:
    """Values of a row of the table, so that a setting that is added is compared, too."""
    if setting.kind == "choice":
        return st.sampled_from([choice.name for choice in setting.choices])
    if setting.kind == "yes-no":
        return st.booleans()
    if setting.kind == "length":  # in the lower part of its range, where a card still fits
        return st.sampled_from([setting.default, setting.low_mm, setting.low_mm + 1.5])
    return st.just(setting.default)


CHOSEN_ALWAYS = {
    "method": st.sampled_from(sorted(METHODS)), "flip": st.sampled_from(["long-edge", "short-edge"]),
    "paper": st.sampled_from(["a4", "letter", "a5"]), "card": st.sampled_from(["poker-metric", "mini", "70x70"]),
    "edges": st.sampled_from(["auto", "art", "mirror", "stretch", "colour", "none"]),
}
CHOSEN = st.fixed_dictionaries(CHOSEN_ALWAYS, optional={
    **{name: _values(setting) for name, setting in SETTINGS.items() if name not in {*CHOSEN_ALWAYS, "printer"}},
    "back_flood": st.sampled_from(["", "#1f5f6b"]), "stock": st.sampled_from(["office-80", "card-300"]),
    "box_panels": st.sampled_from(["", "all=#1f5f6b"]),
})


def printer_file(paper: str, flip: str, drift: bool, name: str = "Quay") -> str:
    """A printer's file as a person would send it, measured long ago or never."""
    none = {"sheets": 0, "sx_mm": None, "sy_mm": None, "radius_mm": None, "at_mm": None, "share": 0.95,
            "confidence": 0.5}
    moved = {"dx_mm": 1.2, "dy_mm": -0.7, "rotation_deg": 0.2, "scale_x": 1.001, "scale_y": 0.999, "squareness_deg": 0}
    return json.dumps({
        "format": "lampfold-printer", "version": 1, "name": name, "paper": paper, "flip": flip, "feed": "tray 2",
        "margins_mm": {"left": 4, "top": 6, "right": 5, "bottom": 7}, "front_scale": {"x": 1.002, "y": 1.0},
        "trued_up": "2020-02-02" if drift else None, "drift": moved if drift else None, "wander": none,
        "readings": [], "confirmed": None})


MANY_PAGES = {"fronts/pages.pdf": pdf(26)}  # more than are looked at when they come in
TOO_MANY = {f"fronts/{number}_x999.png": encoded("PNG", picture(mode="L")) for number in range(21)}


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(decks(), CHOSEN, st.sampled_from([None, True, False]))
@example(MANY_PAGES, {"edges": "colour"}, None)
@example(TOO_MANY, {}, None)
@example({"fronts/lamp.png": ART["PNG.png"], "backs/lamp.png": ART["PNG.png"]}, {"method": "two-sheet"}, True)
@example({"fronts/lamp.png": ART["PNG.png"], "box/wrap.png": ART["grey.png"], "box/side.pdf": ART["pages.pdf"]},
         {"box": "tuck", "box_panels": "front=box/wrap.png,back=box/side.pdf#2,left=#112233"}, None)
@example({"fronts/lamp.png": ART["PNG.png"], "fronts/torn.png": ART["PNG.png"][:-40]}, {}, None)
@example({"fronts/lamp.png": ART["PNG.png"], "fronts/quay.png": ART["grey.png"], "backs/back.png": ART["PNG.png"],
          "deck.csv": b"front,bleed\nlamp,none\nquay,Stretch\nlamp,\nquay,smeared\n"}, {"edges": "colour"}, None)
def test_both_faces_make_the_same(server: LiveServer, files: Files, given: dict[str, Any],
                                  drift: bool | None) -> None:
    """``drift``: with a printer that is trued up (True) or not (False), or with none."""
    printer = None if drift is None else printer_file(given.get("paper", "a4"), given.get("flip", "long-edge"), drift)
    command, web = both(server, files, given, printer)
    assert command == web


def test_what_was_chosen_by_hand_goes_to_the_command_line_as_a_list(server: LiveServer, tmp_path: Path) -> None:
    files = {"fronts/lamp_x3.png": ART["PNG.png"], "fronts/the quay, north.png": ART["grey.png"],
             "fronts/pages.pdf": ART["pages.pdf"], "fronts/out.png": ART["lying.png"],
             "backs/all.png": ART["clear.png"], "backs/tide.png": ART["PNG.png"]}
    client = server.client()
    deck = server.deck(files, "Harbour", client)
    record = client.get(f"/api/decks/{deck}").json()
    labels = [card["file"] for card in record["cards"]]
    chosen = {"fronts/lamp_x3.png": {"back": "backs/tide.png", "bleed": "mirror", "name": '=The "lamp", lit'},
              "fronts/pages.pdf#2": {"copies": 4, "back": ""}, "fronts/pages.pdf#3": {"bleed": "none"},
              "fronts/the quay, north.png": {"back": "backs/all.png", "swapped": True},
              "fronts/out.png": {"out": True}}
    change = {"revision": record["revision"], "cards": chosen, "order": labels[::-1]}
    assert client.patch(f"/api/decks/{deck}", json=change).status_code == 200
    job = client.post(f"/api/decks/{deck}/builds", json={"settings": {"card": "poker"}}).json()["job"]
    theirs = client.get(client.get(f"/api/jobs/{job}").json()["result"]["pdf"]).content
    answer = client.get(f"/api/decks/{deck}/deck.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    for path, content in {**files, "deck.csv": answer.content}.items():
        write(tmp_path / "Harbour", path, content)
    made = by_command_line(tmp_path / "Harbour", {"card": "poker"}, None)
    assert made.pdf == theirs
    # And back: a new deck of the folder, its list among it, is the same.
    assert by_web(server, "Harbour", {**files, "deck.csv": answer.content}, {"card": "poker"}, None).pdf == theirs


@pytest.mark.parametrize("method", sorted(METHODS))
def test_every_method_is_built_by_both(server: LiveServer, method: str) -> None:
    files = {"fronts/lamp_x3.jpg": ART["JPEG.jpg"], "fronts/quay.webp": ART["WEBP.webp"],
             "backs/back.png": ART["clear.png"]}
    command, web = both(server, files, {"method": method, "edges": "colour"})
    assert command == web
    assert command.pdf.startswith(b"%PDF")


def test_a_face_that_skips_edge_colours_is_caught(server: LiveServer) -> None:
    files, chosen = {"fronts/pages.pdf": pdf(27)}, {"edges": "colour"}  # a deck that no other test has built
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Prepared, "uncoloured", lambda self, sheet=None: ())
        web = by_web(server, "Harbour", files, chosen, None)
    with tempfile.TemporaryDirectory() as room:
        write(Path(room) / "Harbour", "fronts/pages.pdf", files["fronts/pages.pdf"])
        command = by_command_line(Path(room) / "Harbour", chosen, None)
    assert web.pdf and command.pdf
    assert command != web


def test_a_face_that_skips_the_limits_is_caught(server: LiveServer, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(work: Work) -> Work:
        raise Busy("the builds of so many cards take long")

    assert by_web(server, "Harbour", TOO_MANY, {}, None).refusal.startswith("'Harbour' asks for 20979 cards")
    monkeypatch.setattr(services, "art_limits", lambda store: ArtLimits(cards=10**6))
    monkeypatch.setattr(server.services.pool, "submit",
                        lambda work: refused(work) if work.kind == "build" else _run_here(work))
    command, web = both(server, TOO_MANY, {})
    assert command.refusal
    assert command != web
