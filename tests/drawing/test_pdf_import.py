"""Pages of other PDFs as art: vectors stay vectors, and nothing comes along that doesn't draw."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest

from server.core.art import Art
from server.core.geometry import Affine
from server.drawing import pdf_import
from server.drawing.pdf_surface import PdfSurface
from server.errors import Unreadable
from tests.drawing.pdf_help import READERS, art_of, drawn, page_of, xobjects

WIDTH, HEIGHT = 120, 90


def card_page(document: pymupdf.Document, width: int = WIDTH, height: int = HEIGHT) -> pymupdf.Page:
    """Red top-left, green top-right, blue bottom-right, yellow bottom-left, and text across the middle."""
    page = document.new_page(width=width, height=height)
    for (x, y), colour in zip(((0, 0), (width / 2, 0), (width / 2, height / 2), (0, height / 2)),
                              ((0.8, 0.1, 0.1), (0.1, 0.6, 0.2), (0.1, 0.2, 0.8), (0.9, 0.8, 0.1)), strict=True):
        page.draw_rect((x, y, x + width / 2, y + height / 2), color=None, fill=colour)
    page.insert_text((8, height / 2 + 5), "Lamp 12", fontsize=14, color=(1, 1, 1))
    return page


def saved(folder: Path, document: pymupdf.Document | pikepdf.Pdf) -> Path:
    path = folder / "lamp.pdf"
    document.save(path)
    document.close()
    return path


def imported(path: Path, width: int = WIDTH, height: int = HEIGHT, page: int = 0) -> bytes:
    return page_of(art_of(path, "pdf", page=page, size_mm=(width, height)), path, width, height)


def by_itself(path: Path, reader: str, ppi: float = 144, page: int = 0) -> np.ndarray:
    return READERS[reader](path.read_bytes(), ppi, page)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_a_page_looks_as_it_does_by_itself(tmp_path: Path, rotate: int, reader: str) -> None:
    # /Rotate: clockwise when the page is shown, ISO 32000-1, Table 30.
    document = pymupdf.open()
    card_page(document).set_rotation(rotate)
    path = saved(tmp_path, document)
    size = (WIDTH, HEIGHT) if rotate % 180 == 0 else (HEIGHT, WIDTH)
    shown = READERS[reader](imported(path, *size), 144)
    alone = by_itself(path, reader)
    assert shown.shape == alone.shape
    assert (np.abs(shown - alone).max(axis=2) > 8).mean() < 0.01


@pytest.mark.parametrize("reader", READERS)
def test_only_what_lies_in_the_crop_box_is_seen(tmp_path: Path, reader: str) -> None:
    # CropBox: the region to which a page is clipped, ISO 32000-1, 14.11.2; corners in any order, 7.9.5.
    document = pymupdf.open()
    card_page(document)
    path = saved(tmp_path, document)
    with pikepdf.open(path, allow_overwriting_input=True) as opened:
        opened.pages[0].obj.CropBox = pikepdf.Array([WIDTH, HEIGHT, WIDTH // 2, HEIGHT // 2])
        opened.save(path)
    shown = READERS[reader](imported(path, WIDTH // 2, HEIGHT // 2))
    assert shown.shape[:2] == (HEIGHT // 2, WIDTH // 2)
    assert np.abs(shown[1:-1, 5:-1] - np.array([26, 153, 51])).max() <= 2  # the green quarter, from edge to edge
    with xobjects(imported(path, WIDTH // 2, HEIGHT // 2)) as (form,):
        assert [float(side) for side in form.BBox] == [WIDTH // 2, HEIGHT // 2, WIDTH, HEIGHT]


def test_type_stays_type_and_lines_stay_lines(tmp_path: Path) -> None:
    document = pymupdf.open()
    card_page(document)
    pdf = imported(saved(tmp_path, document))
    opened = pypdfium2.PdfDocument(pdf)
    assert "Lamp 12" in opened[0].get_textpage().get_text_bounded()
    with xobjects(pdf) as (form,):
        assert form.Subtype == "/Form"
        assert "/XObject" not in form.Resources  # no picture of the page


@pytest.mark.parametrize("reader", READERS)
def test_several_content_streams_are_one_page(tmp_path: Path, reader: str) -> None:
    # ISO 32000-1, Table 30: the streams count as one, split anywhere between lexical tokens.
    with pikepdf.new() as document:
        page = document.add_blank_page(page_size=(WIDTH, HEIGHT))
        page.obj.Contents = pikepdf.Array([document.make_indirect(pikepdf.Stream(document, part)) for part in
                                           (b"0.8 0.1 0.1", b"rg 0 0", b"120 90 re f")])
        document.save(tmp_path / "lamp.pdf")
    shown = READERS[reader](imported(tmp_path / "lamp.pdf"))
    assert np.abs(shown - np.array([204, 26, 26])).max() <= 1


def test_a_page_drawn_often_is_imported_once_and_shared_objects_too(tmp_path: Path) -> None:
    document = pymupdf.open()
    for _ in range(3):
        card_page(document)
    path = saved(tmp_path, document)
    arts = [art_of(path, "pdf", page=page, size_mm=(40, 30)) for page in range(3)]
    arts = [Art(art.file, f"{art.key}#{art.page}", art.kind, page=art.page, size_mm=art.size_mm) for art in arts]

    def draw(surface: PdfSurface) -> None:
        for art in arts * 4:
            surface.art(art, Affine(a=40, d=30))

    pdf = drawn(draw,
                {art.key: path for art in arts})
    with xobjects(pdf) as forms:
        assert len(forms) == 3
        fonts = {form.Resources.Font[name].objgen for form in forms for name in form.Resources.Font.keys()}  # noqa: SIM118
        assert len(fonts) == 1


FORBIDDEN = re.compile(rb"JavaScript|/JS|OpenAction|/AA|/Annots?\b|/Metadata|xmpmeta|/PieceInfo|/StructParent"
                       rb"|/EmbeddedFile|/Launch|secret")


def busy_pdf(folder: Path) -> Path:
    """A PDF with all that mustn't come along."""
    document = pymupdf.open()
    page = card_page(document)
    page.add_text_annot((10, 10), "secret note")
    page.insert_link({"kind": pymupdf.LINK_URI, "from": pymupdf.Rect(0, 0, 50, 50), "uri": "https://secret.invalid"})
    document.embfile_add("secret.txt", b"secret")
    path = saved(folder, document)
    with pikepdf.open(path, allow_overwriting_input=True) as opened:
        script = opened.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert('secret')"))
        opened.Root.OpenAction = script
        first = opened.pages[0].obj
        first.AA = pikepdf.Dictionary(O=script)
        note = pikepdf.Stream(opened, b"<x:xmpmeta>secret</x:xmpmeta>")
        note.Type, note.Subtype = pikepdf.Name.Metadata, pikepdf.Name.XML
        inner = pikepdf.Stream(opened, b"0 g 0 0 5 5 re f")
        inner.Type, inner.Subtype, inner.BBox = pikepdf.Name.XObject, pikepdf.Name.Form, [0, 0, 5, 5]
        inner.Metadata = opened.make_indirect(note)
        inner.PieceInfo = pikepdf.Dictionary(Maker=pikepdf.Dictionary(Private="secret"))
        inner.StructParent = 3
        inner.Back = first  # a way to the page, and from there to all the rest
        inner.Action = script
        first.Resources.XObject = pikepdf.Dictionary(Inner=opened.make_indirect(inner))
        opened.docinfo["/Author"] = "secret"
        opened.save(path)
    return path


def test_scripts_notes_attachments_and_metadata_stay_behind(tmp_path: Path) -> None:
    path = busy_pdf(tmp_path)
    pdf = imported(path)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        everything = b"\n".join(
            item.unparse(resolved=True) + (item.read_bytes() if isinstance(item, pikepdf.Stream) else b"")
            for item in opened.objects if not isinstance(item, type(None)))
        assert "/Annots" not in opened.pages[0].obj
    assert not FORBIDDEN.search(everything), FORBIDDEN.search(everything)
    assert b"0 g 0 0 5 5 re f" in everything  # what draws came along


def test_exif_inside_a_pdf_stays_behind(tmp_path: Path) -> None:
    from tests.drawing.test_pdf_jpeg import PRIVATE, colours, with_segments
    from tests.drawing.test_pdf_jpeg import saved as jpeg_of

    plain = jpeg_of(colours())
    document = pymupdf.open()
    document.new_page(width=WIDTH, height=HEIGHT).insert_image((0, 0, WIDTH, HEIGHT), stream=plain)
    path = saved(tmp_path, document)
    with pikepdf.open(path, allow_overwriting_input=True) as opened:
        (image,) = opened.pages[0].obj.Resources.XObject.values()
        image.write(with_segments(plain, PRIVATE["Exif"]), filter=pikepdf.Name.DCTDecode)
        opened.save(path)
    with xobjects(imported(path)) as (form,):
        (image,) = form.Resources.XObject.values()
        assert image.read_raw_bytes() == plain


def layered(folder: Path) -> Path:
    document = pymupdf.open()
    page = document.new_page(width=WIDTH, height=HEIGHT)
    shown, hidden = document.add_ocg("shown", on=True), document.add_ocg("hidden", on=False)
    page.draw_rect((0, 0, 60, 90), fill=(1, 0, 0), color=None, oc=shown)
    page.draw_rect((60, 0, 120, 90), fill=(0, 0, 1), color=None, oc=hidden)
    return saved(folder, document)


@pytest.mark.parametrize("reader", READERS)
def test_a_layer_that_the_source_hides_stays_hidden(tmp_path: Path, reader: str) -> None:
    shown = READERS[reader](imported(layered(tmp_path)))
    assert np.abs(shown[:, 5:55] - np.array([255, 0, 0])).max() <= 1
    assert shown[:, 65:].min() == 255


def test_layers_that_came_along_are_named_in_the_catalogue(tmp_path: Path) -> None:
    # ISO 32000-1, Table 100: /OCGs holds every group of the document.
    with pikepdf.open(io.BytesIO(imported(layered(tmp_path)))) as opened:
        layers = opened.Root.OCProperties
        assert {str(group.Name) for group in layers.OCGs} == {"shown", "hidden"}
        assert [str(group.Name) for group in layers.D.OFF] == ["hidden"]
        assert list(layers.D.Order) == []


def looped(folder: Path) -> Path:
    """Forms that call each other, and a page tree that bites its tail."""
    path = folder / "lamp.pdf"
    with pikepdf.new() as document:
        page = document.add_blank_page(page_size=(WIDTH, HEIGHT))
        forms = [document.make_indirect(pikepdf.Stream(document, b"/Other Do")) for _ in range(2)]
        for form, other in zip(forms, forms[::-1], strict=True):
            form.Type, form.Subtype, form.BBox = pikepdf.Name.XObject, pikepdf.Name.Form, [0, 0, 9, 9]
            form.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Other=other))
        page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Other=forms[0]))
        page.obj.Contents = document.make_stream(b"1 0 0 rg 0 0 120 90 re f /Other Do")
        document.save(path)
    return path


def test_objects_that_refer_to_each_other_are_copied_once(tmp_path: Path) -> None:
    pdf = imported(looped(tmp_path))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert sum(1 for item in opened.objects if isinstance(item, pikepdf.Stream)) == 4  # page, form, two forms
    assert by_red(pdf)


def by_red(pdf: bytes) -> bool:
    return bool(np.abs(READERS["mupdf"](pdf)[20:, 20:] - np.array([255, 0, 0])).max() <= 1)


def test_a_page_tree_that_runs_in_a_loop_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "lamp.pdf"
    path.write_bytes(b"%PDF-1.7\n1 0 obj\n<</Type/Catalog/Pages 2 0 R>>\nendobj\n2 0 obj\n<</Type/Pages/Kids[3 0 R]"
                     b"/Count 1/Parent 4 0 R>>\nendobj\n3 0 obj\n<</Type/Page/Parent 2 0 R/Contents 5 0 R>>\nendobj\n"
                     b"4 0 obj\n<</Type/Pages/Kids[2 0 R]/Count 1/Parent 2 0 R>>\nendobj\ntrailer\n<</Root 1 0 R>>\n")
    with pytest.raises(Unreadable, match=r"^lamp\.pdf: "):
        imported(path)


def test_more_objects_than_a_card_could_need_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf_import, "MOST_OBJECTS", 3)
    with pytest.raises(Unreadable, match=r"^lamp\.pdf: one page is made of more than 3 objects"):
        imported(busy_pdf(tmp_path))


@pytest.mark.parametrize(("name", "content"), [
    ("no PDF", b"not a PDF at all"), ("empty", b""), ("only a head", b"%PDF-1.7\n"),
])
def test_what_is_no_pdf_is_refused_by_name(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / "lamp.pdf").write_bytes(content)
    with pytest.raises(Unreadable, match=r"^lamp\.pdf: "):
        imported(tmp_path / "lamp.pdf")


def test_a_damaged_pdf_ends_as_a_page_or_a_refusal(tmp_path: Path) -> None:
    whole = busy_pdf(tmp_path).read_bytes()
    path = tmp_path / "lamp.pdf"
    random = np.random.default_rng(11)
    for _ in range(60):
        spoilt = bytearray(whole)
        for _ in range(int(random.integers(1, 6))):
            spoilt[int(random.integers(len(spoilt)))] ^= 1 << int(random.integers(8))
        path.write_bytes(bytes(spoilt))
        try:
            pdf = imported(path)
        except Unreadable as error:
            assert error.message.startswith("lamp.pdf: ")
            continue
        with pikepdf.open(io.BytesIO(pdf)) as document:
            assert len(document.pages) == 1


def test_a_page_that_isnt_there_is_refused(tmp_path: Path) -> None:
    document = pymupdf.open()
    card_page(document)
    with pytest.raises(Unreadable, match="there is no page 6"):
        imported(saved(tmp_path, document), page=5)


def test_a_locked_pdf_is_refused_and_one_without_a_password_isnt(tmp_path: Path) -> None:
    for password, opens in (("", True), ("lamp", False)):
        document = pymupdf.open()
        card_page(document)
        path = tmp_path / "lamp.pdf"
        document.save(path, encryption=pymupdf.PDF_ENCRYPT_AES_256, owner_pw="owner", user_pw=password)  # type: ignore[attr-defined]
        document.close()
        if opens:
            alone = by_itself(path, "pdfium")
            assert (np.abs(READERS["pdfium"](imported(path), 144) - alone).max(axis=2) > 8).mean() < 0.01
        else:
            with pytest.raises(Unreadable, match="password"):
                imported(path)
