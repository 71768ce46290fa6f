"""Nudged files, made by pikepdf and read by pdfium: what moves, by how much, and what stays."""

from __future__ import annotations

import io
import math
from datetime import date
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2 as pdfium
import pytest
from PIL import Image
from scipy import ndimage

from server.core.geometry import Affine, ThroughFront
from server.core.registration import Drift
from server.core.registration.correction import back_correction
from server.core.registration.printer import Printer
from server.core.sizes import paper_named
from server.drawing.nudge import nudge_pdf, page_correction
from server.errors import BadValue, Unreadable

A4_PT = (595.276, 841.890)
PPI = 144.0
MM_PT = 72 / 25.4
# Middles of squares, in mm from the top-left corner of an upright A4 page.
SPOTS = ((40.0, 50.0), (170.0, 50.0), (40.0, 250.0), (170.0, 250.0))


def printer(flip="long-edge", drift=(1.5, -0.7, 0.3, 1.004, 0.997)) -> Printer:
    made = Printer("Harbour office", paper_named("a4"), flip)
    return made.trued(Drift.of(made.centre, *drift), date(2026, 11, 25))


def squares(spots=SPOTS, size=A4_PT, origin=(0.0, 0.0), unit=1.0) -> bytes:
    """Content that draws squares on their corners, on a page whose box starts at ``origin``, in the page's own units.

    Upright ones pdfium would lay on whole pixels.
    """
    k, parts = MM_PT / unit, []
    for x, y in spots:
        u, v = x * k + origin[0], size[1] - y * k + origin[1]
        corners = [(u - 3 * k, v), (u, v - 3 * k), (u + 3 * k, v), (u, v + 3 * k)]
        parts.append(" ".join(f"{cx:.4f} {cy:.4f} {'l' if at else 'm'}" for at, (cx, cy) in enumerate(corners)) + " f")
    return "\n".join(parts).encode()


def write(path: Path, *pages: dict, contents=None) -> Path:
    """A PDF by pikepdf; each page is a dict of its keys, /Contents as bytes or a list of bytes."""
    pdf = pikepdf.new()
    for keys in pages:
        body = keys.pop("/Contents", b"")
        page = pikepdf.Dictionary(Type=pikepdf.Name.Page, MediaBox=[0, 0, *A4_PT], Resources=pikepdf.Dictionary())
        for name, value in keys.items():
            page[name] = value
        if isinstance(body, list):
            page.Contents = pikepdf.Array([pdf.make_indirect(pikepdf.Stream(pdf, part)) for part in body])
        else:
            page.Contents = pdf.make_indirect(pikepdf.Stream(pdf, body))
        pdf.pages.append(pikepdf.Page(pdf.make_indirect(page)))
    pdf.save(path)
    return path


def middles(path: Path, number: int) -> list[tuple[float, float]]:
    """Middles of the dark squares of a page as pdfium shows it, in mm."""
    page = pdfium.PdfDocument(path)[number]
    dark = 255.0 - np.asarray(page.render(scale=PPI / 72, grayscale=True).to_pil(), dtype=float)
    labels, count = ndimage.label(dark > 0)
    found = ndimage.center_of_mass(dark, labels, range(1, count + 1))
    # pdfium stretches the page over whole pixels
    across, down = page.get_width() / MM_PT / dark.shape[1], page.get_height() / MM_PT / dark.shape[0]
    return [((x + 0.5) * across, (y + 0.5) * down) for y, x in found]


def nudged(source: Path, backs=(1,), own: Printer | None = None) -> tuple[Path, tuple[str, ...]]:
    out = source.with_name("out.pdf")
    return out, nudge_pdf(source, out, own or printer(), backs).warnings


def close(found, meant, within=0.03):
    assert len(found) == len(meant)
    for one in meant:
        assert min(math.dist(one, other) for other in found) < within


@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
def test_backs_move_by_the_correction_and_fronts_stay(tmp_path, flip):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    out, warnings = nudged(source, own=printer(flip))
    close(middles(out, 0), SPOTS)
    turn = ThroughFront("vertical", 105.0) if flip == "long-edge" else ThroughFront("horizontal", 148.5)
    drift = printer(flip).drift
    assert drift is not None
    move = back_correction(drift, turn)
    close(middles(out, 1), [move(spot) for spot in SPOTS])
    assert warnings == ()


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
@pytest.mark.parametrize("origin", [(0.0, 0.0), (-60.0, 35.0)])
def test_rotate_and_crop_box_are_taken_as_they_are_seen(tmp_path, rotate, origin):
    """The page looks the same as an upright one with other keys; pdfium's picture says how it must move."""
    keys = {"/Rotate": rotate, "/MediaBox": [origin[0] - 30, origin[1] - 20, origin[0] + 700, origin[1] + 900],
            "/CropBox": [*origin, origin[0] + A4_PT[0], origin[1] + A4_PT[1]], "/Contents": squares(origin=origin)}
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, keys)
    before = middles(source, 1)
    out, warnings = nudged(source)
    size = (297.0, 210.0) if rotate in (90, 270) else (210.0, 297.0)
    move = page_correction(printer(), *size)
    close(middles(out, 1), [move(spot) for spot in before])
    assert any("lie across" in text for text in warnings) == (rotate in (90, 270))


def test_a_landscape_page_stands_on_the_paper_by_a_clockwise_quarter():
    # A point at the left of the page as it is read lies at the top of the paper: what is down there is left here.
    own = printer(drift=(0.0, 1.0))  # lands 1 mm low, so it is drawn 1 mm higher on the paper
    move = page_correction(own, 297.0, 210.0)
    assert move((100.0, 100.0)) == pytest.approx((99.0, 100.0))
    assert page_correction(own, 210.0, 297.0)((100.0, 100.0)) == pytest.approx((100.0, 99.0))


def test_user_unit(tmp_path):
    size = tuple(side / 2 for side in A4_PT)
    keys = {"/MediaBox": [0, 0, *size], "/UserUnit": 2, "/Contents": squares(size=size, unit=2.0)}
    source = write(tmp_path / "in.pdf", {"/Contents": b""}, keys)
    out, _ = nudged(source, own=printer(drift=(2.0, 0.0)))
    with pikepdf.open(out) as pdf:
        first = pdf.pages[1].Contents[0].read_bytes().split()
    # drawn 2 mm to the right on the back's own page; one unit is 2/72 in (ISO 32000-1, Table 30)
    assert float(first[4]) == pytest.approx(2.0 * MM_PT / 2, abs=1e-6)


def test_everything_else_stays_as_it_was(tmp_path):
    picture = io.BytesIO()
    Image.effect_noise((200, 280), 80).convert("RGB").save(picture, "JPEG", quality=80)
    source = write(tmp_path / "in.pdf", {"/Contents": squares()},
                   {"/Contents": squares(), "/TrimBox": [10, 10, 500, 800], "/BleedBox": [5, 5, 510, 810]})
    with pikepdf.open(source, allow_overwriting_input=True) as pdf:
        image = pikepdf.Stream(pdf, picture.getvalue(), Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image,
                               Width=200, Height=280, ColorSpace=pikepdf.Name.DeviceRGB, BitsPerComponent=8,
                               Filter=pikepdf.Name.DCTDecode)
        pdf.pages[1].Resources.XObject = pikepdf.Dictionary(Im0=image)
        pdf.save(source)
    out, _ = nudged(source)
    assert out.read_bytes().startswith(source.read_bytes())  # what stood in the file stands there still
    with pikepdf.open(source) as before, pikepdf.open(out) as after:
        for old, new in zip(before.pages, after.pages, strict=True):
            for box in ("MediaBox", "CropBox", "TrimBox", "BleedBox", "ArtBox"):
                assert list(getattr(old, box.lower())) == list(getattr(new, box.lower()))
        kept = after.pages[1].Resources.XObject.Im0
        assert kept.read_raw_bytes() == picture.getvalue() and kept.Filter == pikepdf.Name.DCTDecode


def test_a_stream_that_front_and_back_share(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": b""})
    with pikepdf.open(source, allow_overwriting_input=True) as pdf:
        pdf.pages[1].Contents = pdf.pages[0].Contents
        pdf.save(source)
    out, _ = nudged(source)
    close(middles(out, 0), SPOTS)
    close(middles(out, 1), [page_correction(printer(), 210, 297)(spot) for spot in SPOTS])


@pytest.mark.parametrize("nested", [False, True])
def test_one_page_object_used_as_front_and_back(tmp_path, nested):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    with pikepdf.open(source, allow_overwriting_input=True) as pdf:
        tree = pdf.Root.Pages
        once = tree.Kids[0]
        if nested:
            node = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.Pages, Kids=pikepdf.Array([once, once]),
                                                        Count=2, Parent=tree))
            once.Parent = node
            tree.Kids = pikepdf.Array([node])
        else:
            tree.Kids = pikepdf.Array([once, once])
        pdf.save(source)
    out, _ = nudged(source)
    close(middles(out, 0), SPOTS)
    close(middles(out, 1), [page_correction(printer(), 210, 297)(spot) for spot in SPOTS])


@pytest.mark.parametrize("body", [
    b"q q 1 0 0 1 0 0 cm\n" + squares(), b"Q Q\n" + squares() + b"\nQ", b"q Q Q\n" + squares(), [b"q", squares(), b"Q"],
])
def test_unbalanced_and_split_content(tmp_path, body):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": body})
    close(middles(source, 1), SPOTS)
    out, _ = nudged(source)
    close(middles(out, 1), [page_correction(printer(), 210, 297)(spot) for spot in SPOTS])


def test_content_that_runs_off_the_paper_is_told_by_edge_and_amount(tmp_path):
    full = f"0 0 {A4_PT[0]} {A4_PT[1]} re f".encode()
    source = write(tmp_path / "in.pdf", {"/Contents": full}, {"/Contents": full}, {"/Contents": b""},
                   {"/Contents": full})
    _, warnings = nudged(source, (1, 3), printer(drift=(1.5, -0.7)))
    # drawn right and low on its own page to make up for landing left and high there
    assert warnings == ("Content of pages 2 and 4 runs off the paper by up to 1.5 mm at the right.",
                        "Content of pages 2 and 4 runs off the paper by up to 0.7 mm at the bottom.")


def test_only_what_is_drawn_counts_not_what_is_clipped(tmp_path):
    body = b"q 100 100 50 50 re W n -500 -500 3000 3000 re f Q"
    source = write(tmp_path / "in.pdf", {"/Contents": b""}, {"/Contents": body})
    assert nudged(source)[1] == ()


def test_another_paper_and_annotations_are_told(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": b""}, {"/MediaBox": [0, 0, 612, 792], "/Contents": b""})
    with pikepdf.open(source, allow_overwriting_input=True) as pdf:
        pdf.pages[1].Annots = pikepdf.Array([pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Square,
                                                                Rect=[10, 10, 50, 50])])
        pdf.save(source)
    warnings = nudged(source)[1]
    assert any("The size of page 2 isn't A4" in text for text in warnings)
    assert any("fields on page 2 stay" in text for text in warnings)


def test_another_size_is_corrected_about_the_papers_middle():
    own = printer(drift=(0, 0, 0, 1.01, 1.01))
    assert page_correction(own, 100.0, 150.0)((50.0, 75.0)) == pytest.approx((50.0, 75.0))
    assert page_correction(own, 100.0, 150.0)((0.0, 0.0)) == pytest.approx((50 - 50 / 1.01, 75 - 75 / 1.01))
    assert page_correction(Printer("x", paper_named("a4")), 210, 297) == Affine()


def test_files_that_need_mending(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    data = source.read_bytes()
    source.write_bytes(data[:data.rindex(b"startxref")])
    out, _ = nudged(source)
    close(middles(out, 1), [page_correction(printer(), 210, 297)(spot) for spot in SPOTS])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.pdf", "out.pdf"]


def test_what_cannot_be_nudged(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    with pytest.raises(BadValue, match="2 pages"):
        nudge_pdf(source, tmp_path / "out.pdf", printer(), [5])
    with pytest.raises(BadValue, match="isn't trued up"):
        nudge_pdf(source, tmp_path / "out.pdf", Printer("x", paper_named("a4")), [1])
    (tmp_path / "no.pdf").write_bytes(b"no pdf at all")
    with pytest.raises(Unreadable, match=r"no\.pdf: "):
        nudge_pdf(tmp_path / "no.pdf", tmp_path / "out.pdf", printer(), [1])
    with pikepdf.open(source) as pdf:
        pdf.save(tmp_path / "locked.pdf", encryption=pikepdf.Encryption(user="a", owner="b"))
    with pytest.raises(Unreadable, match="password"):
        nudge_pdf(tmp_path / "locked.pdf", tmp_path / "out.pdf", printer(), [1])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.pdf", "locked.pdf", "no.pdf"]


def test_owner_password_alone_is_no_hindrance(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    with pikepdf.open(source) as pdf:
        pdf.save(tmp_path / "guarded.pdf", encryption=pikepdf.Encryption(user="", owner="b"))
    out, _ = nudged(tmp_path / "guarded.pdf")
    close(middles(out, 1), [page_correction(printer(), 210, 297)(spot) for spot in SPOTS])


def test_nudged_twice_adds_up(tmp_path):
    source = write(tmp_path / "in.pdf", {"/Contents": squares()}, {"/Contents": squares()})
    out, _ = nudged(source)
    nudge_pdf(out, tmp_path / "again.pdf", printer(), [1])
    move = page_correction(printer(), 210, 297)
    close(middles(tmp_path / "again.pdf", 1), [move(move(spot)) for spot in SPOTS])
