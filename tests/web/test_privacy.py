"""What must not come out: where a photograph was taken, scripts of a PDF that came in, bytes as they came in."""

from __future__ import annotations

import io

import pikepdf
import pytest
from PIL import Image

from tests.web.live import LiveServer

_GPS_IFD = 0x8825  # CIPA DC-008 (EXIF), 4.6.3


def photograph() -> bytes:
    """A JPEG that says where it was taken, and by which camera."""
    out = io.BytesIO()
    picture = Image.new("RGB", (630, 880), (90, 120, 40))
    exif = picture.getexif()
    exif[0x010F] = "Lamplight Optical"  # Make
    exif[0x0112] = 1
    exif.get_ifd(_GPS_IFD).update({1: "N", 2: (52.0, 22.0, 33.0), 3: "E", 4: (4.0, 54.0, 12.0)})
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def scripted() -> bytes:
    """A PDF page the size of a card that runs a script when it is opened, and has a link."""
    out = io.BytesIO()
    with pikepdf.new() as pdf:
        pdf.add_blank_page(page_size=(178.58, 249.45))
        page = pdf.pages[0]
        page.Contents = pdf.make_stream(b"0.2 0.4 0.6 rg 0 0 200 300 re f")
        script = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert('lamp')"))
        pdf.Root.OpenAction = script
        page.Annots = pdf.make_indirect([pikepdf.Dictionary(
            Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, Rect=[0, 0, 50, 50], A=script)])
        page.AA = pikepdf.Dictionary(O=script)
        pdf.save(out)
    return out.getvalue()


@pytest.fixture(scope="module")
def made(live_server: LiveServer) -> tuple[bytes, list[bytes]]:
    """(the built PDF, every picture that the screen is given) of a deck with both."""
    client = live_server.client()
    deck_id = live_server.deck({"fronts/photo.jpg": photograph(), "fronts/page.pdf": scripted()}, client=client)
    job = client.post(f"/api/decks/{deck_id}/builds", json={}).json()["job"]
    with client.stream("GET", f"/api/jobs/{job}/events") as stream:
        list(stream.iter_lines())
    keys = [card["front"]["key"] for card in client.get(f"/api/decks/{deck_id}").json()["cards"]]
    assert len(keys) == 2
    pictures = [client.get("/api/art/" + key.replace("#", "%23")).content for key in keys]
    return client.get(f"/api/jobs/{job}/file.pdf").content, pictures


def test_the_photograph_does_tell_where_it_was_taken() -> None:
    with Image.open(io.BytesIO(photograph())) as picture:
        assert picture.getexif().get_ifd(_GPS_IFD)[2] == (52.0, 22.0, 33.0)


def test_pictures_for_the_screen_tell_nothing(made: tuple[bytes, list[bytes]]) -> None:
    for content in made[1]:
        with Image.open(io.BytesIO(content)) as picture:
            assert not dict(picture.getexif())
        assert b"Lamplight" not in content


def test_the_pdf_does_not_tell_where_a_photograph_was_taken(made: tuple[bytes, list[bytes]]) -> None:
    with pikepdf.open(io.BytesIO(made[0])) as pdf:
        streams = [one.read_raw_bytes() for one in pdf.objects if isinstance(one, pikepdf.Stream)]
    assert streams
    for content in streams:
        assert b"Exif\x00" not in content
        assert b"Lamplight" not in content


def test_the_pdf_runs_nothing(made: tuple[bytes, list[bytes]]) -> None:
    with pikepdf.open(io.BytesIO(made[0])) as pdf:
        for one in pdf.objects:
            if isinstance(one, (pikepdf.Dictionary, pikepdf.Stream)):
                names = set(one.keys())
                assert not names & {"/JS", "/JavaScript", "/OpenAction", "/AA", "/Annots", "/Launch"}, names
    assert b"app.alert" not in made[0]
