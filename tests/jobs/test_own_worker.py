"""Art that is a trap ends by itself on the command line too: named, in time, and the other cards are built."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pikepdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name, Pdf

from server import cli
from server.errors import Unreadable
from server.formats.apart import apart, elsewhere
from server.formats.limits import BadArt
from server.jobs.own_worker import OwnWorker
from server.store.limits import Limits
from tests.formats.artwork import encoded, picture, write
from tests.jobs import tasks

CARD = (0, 0, 178.58, 249.45)  # 63 by 88 mm
NEST = 10  # each draws the next ten times: ten thousand million in all


@pytest.fixture(scope="module")
def worker() -> Iterator[OwnWorker]:
    """The command line's, with a second where a server gives nine."""
    made = OwnWorker(Limits(read_seconds=1))
    yield made
    made.close()


def page(pdf: Pdf, content: bytes, **resources: Any) -> Pdf:
    made = Dictionary(Type=Name.Page, MediaBox=Array(CARD), Contents=pdf.make_stream(content),
                      Resources=Dictionary(**resources))
    pdf.pages.append(pikepdf.Page(pdf.make_indirect(made)))
    return pdf


def form(pdf: Pdf, content: bytes, **resources: Any) -> pikepdf.Object:
    made = pdf.make_stream(content, Type=Name.XObject, Subtype=Name.Form, BBox=Array(CARD),
                           Resources=Dictionary(**resources))
    return pdf.make_indirect(made)


def tiles(pdf: Pdf) -> Pdf:
    """Tiling patterns that are filled with tiling patterns (ISO 32000-1, 8.7.3)."""
    inner = None
    for _ in range(NEST):
        fills = b"".join(b"%d %d 20 20 re f " % (at, at) for at in range(0, 30, 3))
        content = b"/Pattern cs /P scn " + fills if inner is not None else b"0 0 5 5 re f"
        own = Dictionary(Pattern=Dictionary(P=inner)) if inner is not None else Dictionary()
        made = pdf.make_stream(content, PatternType=1, PaintType=1, TilingType=1, BBox=Array([0, 0, 50, 50]), XStep=50,
                               YStep=50, Resources=own)
        inner = pdf.make_indirect(made)
    return page(pdf, b"/Pattern cs /P scn 0 0 178 249 re f", Pattern=Dictionary(P=inner))


def glyphs(pdf: Pdf) -> Pdf:
    """Type 3 glyphs that are set in Type 3 fonts (9.6.5)."""
    inner = None
    for depth in range(NEST):
        content = b"1000 0 d0 " + (b"BT /F 1 Tf (aaaaaaaaaa) Tj ET" if inner is not None else b"0 0 500 500 re f")
        scale = 0.001 if depth == NEST - 1 else 1
        made = Dictionary(Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1000, 1000]), FirstChar=97,
                          LastChar=97, FontMatrix=Array([scale, 0, 0, scale, 0, 0]), Widths=Array([1000]),
                          CharProcs=Dictionary(a=pdf.make_stream(content)),
                          Encoding=Dictionary(Type=Name.Encoding, Differences=Array([97, Name.a])),
                          Resources=Dictionary(Font=Dictionary(F=inner)) if inner is not None else Dictionary())
        inner = pdf.make_indirect(made)
    return page(pdf, b"BT /F 12 Tf 20 20 Td (aaaaaaaaaa) Tj ET", Font=Dictionary(F=inner))


def forms(pdf: Pdf) -> Pdf:
    """Forms that draw forms."""
    inner = form(pdf, b"0 0 9 9 re f")
    for _ in range(NEST):
        inner = form(pdf, b"/X Do " * 10, XObject=Dictionary(X=inner))
    return page(pdf, b"/X Do", XObject=Dictionary(X=inner))


def deep(pdf: Pdf) -> Pdf:
    """Forms within forms, once each, far down."""
    inner = form(pdf, b"0 0 9 9 re f")
    for _ in range(3000):
        inner = form(pdf, b"/X Do", XObject=Dictionary(X=inner))
    return page(pdf, b"/X Do", XObject=Dictionary(X=inner))


def chain(pdf: Pdf) -> Pdf:
    """A page tree of one page, three thousand nodes deep (7.7.3)."""
    page(pdf, b"0 0 9 9 re f")
    node = pdf.pages[0].obj
    for _ in range(3000):
        above = pdf.make_indirect(Dictionary(Type=Name.Pages, Kids=Array([node]), Count=1))
        node.Parent, node = above, above
    pdf.Root.Pages = node
    return pdf


TRAPS: tuple[Callable[[Pdf], Pdf], ...] = (tiles, glyphs, forms, deep, chain)


def test_traps_are_left_out_and_the_rest_is_built(tmp_path: Path, worker: OwnWorker, monkeypatch: pytest.MonkeyPatch,
                                                  capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "deck"
    write(folder, "fronts/lamp.png", encoded("PNG", picture()))
    for trap in TRAPS:
        path = folder / "fronts" / f"{trap.__name__}.pdf"
        trap(Pdf.new()).save(path)
        assert path.stat().st_size < 1_000_000
    monkeypatch.setattr(cli, "_the_worker", lambda: worker)
    out = tmp_path / "out.pdf"
    assert cli.main(["build", str(folder), "--out", str(out), "--edges", "colour", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    wrong = {one["file"]: one["fix"] for one in said["problems"] if one["severity"] == "error"}
    # Three thousand forms within forms are odd, and drawn all the same.
    assert wrong.keys() | {"fronts/deep.pdf"} == {f"fronts/{trap.__name__}.pdf" for trap in TRAPS}
    assert all(fix.startswith("Export it again") for fix in wrong.values())
    read = pypdfium2.PdfDocument(out)
    assert len(read) == 2
    assert said["cards"] + len(wrong) == 1 + len(TRAPS)
    read.close()


def test_what_is_done_apart_is_done_in_another_process(worker: OwnWorker, tmp_path: Path,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    assert apart("lamp.pdf", os.getpid) == os.getpid()
    with elsewhere(worker):
        assert apart("lamp.pdf", os.getpid) != os.getpid()
        with pytest.raises(Unreadable, match=r"^lamp\.pdf: .*gave up on it"):
            apart("lamp.pdf", os._exit, 1)
        with pytest.raises(Unreadable, match=r"^lamp\.pdf: .*more memory"):
            apart("lamp.pdf", tasks.take_memory, 4 << 30)
        monkeypatch.chdir(tmp_path)
        (tmp_path / "here").touch()
        assert apart("here", os.stat, Path("here")).st_size == 0
        with pytest.raises(FileNotFoundError):
            apart("gone", os.stat, Path("gone"))
    assert apart("lamp.pdf", os.getpid) == os.getpid()


def test_a_ready_pdf_that_is_a_trap_is_not_nudged(tmp_path: Path, worker: OwnWorker, monkeypatch: pytest.MonkeyPatch,
                                                  capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(cli, "_the_worker", lambda: worker)
    monkeypatch.setattr("server.commands.nudge._AS_MANY_FILES", 1)
    trap, out, printer = tmp_path / "trap.pdf", tmp_path / "out.pdf", tmp_path / "printer.json"
    forms(Pdf.new()).save(trap)
    assert cli.main(["fit", "--shift", "1 right", "--out", str(printer)]) == 0
    assert cli.main(["nudge", str(trap), "--printer", str(printer), "--backs", "1", "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert f"{trap}: took longer" in said and "Export it again" in said
    assert {path.name for path in tmp_path.iterdir()} == {"trap.pdf", "printer.json"}  # and nothing half done


def test_photographs_are_read_in_another_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("cv2")
    asked: list[tuple[str, int]] = []

    def gives_up(label: str, times: int, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        asked.append((function.__name__, times))
        raise BadArt(f"{label}: the program that reads it gave up on it.", "Export it.", "too-much-inside")

    monkeypatch.setattr(cli, "_the_worker", lambda: gives_up)
    photo = tmp_path / "window.png"
    photo.write_bytes(encoded("PNG", picture()))
    assert cli.main(["read", str(photo)]) == cli.main(["read", "--front", str(photo), "--back", str(photo)]) == 2
    assert [name for name, _ in asked] == ["read_photos", "read_two_scans"] and asked[1][1] == 2 * asked[0][1]
    assert capsys.readouterr().err.count("gave up on it. Take the picture again") == 2


def test_work_that_ends_just_as_the_wait_does_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wait's end is a TimeoutError, and so an OSError; taken for the work's own, it stopped the command."""

    class JustNow(Future[str]):
        def exception(self, timeout: float | None = None) -> BaseException | None:
            if timeout is not None:
                self.set_result("done")
                raise TimeoutError
            return super().exception(timeout)

    class Pool:
        def submit(self, work: object) -> object:
            return SimpleNamespace(future=JustNow())

    worker = OwnWorker(Limits())
    monkeypatch.setattr(worker, "_pool", Pool())
    assert worker("keeper.pdf", 1, str, ()) == "done"
