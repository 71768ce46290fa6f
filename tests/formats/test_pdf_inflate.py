"""What a PDF's streams unpack to is bounded: at intake, and so in a build, whose memory stays small."""

from __future__ import annotations

import base64
import io
import subprocess
import sys
import zlib
from functools import cache
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from server.errors import TooMuch
from server.formats.limits import ArtLimits
from server.formats.pdf_inflate import unpacked_bytes
from server.formats.reader import read_art

FLATE, LZW, A85, HEX, RUN = b"/FlateDecode", b"/LZWDecode", b"/ASCII85Decode", b"/ASCIIHexDecode", b"/RunLengthDecode"
DATA = bytes(range(256)) * 40 + b"lamp " * 3000
MUCH = 700_000_000  # more than a build may take


def lzw(data: bytes) -> bytes:
    """As libtiff packs a strip, which is how a PDF does it: most significant bit first, early change."""
    out = io.BytesIO()
    Image.frombytes("L", (len(data), 1), data).save(out, "TIFF", compression="tiff_lzw")
    with Image.open(io.BytesIO(out.getvalue())) as opened:
        assert isinstance(opened, Image.Image)
        start, length = opened.tag_v2[273][0], opened.tag_v2[279][0]  # type: ignore[attr-defined]
    return out.getvalue()[start:start + length]


@pytest.mark.parametrize(("packed", "filters"), [
    (DATA, []), (zlib.compress(DATA), [FLATE]), (zlib.compress(zlib.compress(DATA)), [FLATE, FLATE]),
    (lzw(DATA), [LZW]), (base64.a85encode(zlib.compress(DATA)) + b"~>", [A85, FLATE]),
    (zlib.compress(DATA).hex().encode() + b">", [HEX, FLATE]), (b"\xf0x" * 9 + b"\x02abc\x80" + b"junk", [RUN]),
], ids=["stored", "deflate", "deflate twice", "LZW", "ASCII 85", "hexadecimal", "runs"])
def test_it_is_known_how_much_comes_out(packed: bytes, filters: list[bytes]) -> None:
    assert unpacked_bytes(packed, filters, 10 ** 9) == (9 * 17 + 3 if filters == [RUN] else len(DATA))


@cache
def zeros(count: int) -> bytes:
    packer = zlib.compressobj(9)
    return b"".join(packer.compress(b" " * 1_000_000) for _ in range(count // 1_000_000)) + packer.flush()


def bomb(folder: Path, where: str) -> Path:
    """A PDF of a few kB, of which a part unpacks to 700 MB, or to 87 MB."""
    document = pikepdf.new()
    page = document.add_blank_page(page_size=(180, 252))
    packed = pikepdf.Stream(document, b"")
    twice = where == "packed twice"
    packed.write(zlib.compress(zeros(MUCH)) if twice else zeros(MUCH // 8),
                 filter=Array([Name.FlateDecode] * 2) if twice else Name.FlateDecode)
    if where in ("content", "packed twice"):
        page.Contents = packed
    elif where == "contents":
        page.Contents = Array([document.make_indirect(packed)] * 8)
    else:
        packed.Type, packed.Subtype, packed.BBox = Name.XObject, Name.Form, Array([0, 0, 9, 9])
        if where == "form":
            page.Resources = Dictionary(XObject=Dictionary(F=packed))
        else:
            page.obj.Annots = Array([Dictionary(Type=Name.Annot, Subtype=Name.Stamp, F=4, Rect=Array([0, 0, 9, 9]),
                                                AP=Dictionary(N=packed))])
    path = folder / "fronts" / "lamp.pdf"
    path.parent.mkdir(exist_ok=True)
    document.save(path, compress_streams=False)
    return path


@pytest.mark.parametrize("where", ["content", "contents", "packed twice", "form", "stamp"])
def test_a_page_that_unpacks_to_too_much_is_refused(tmp_path: Path, where: str) -> None:
    path = bomb(tmp_path, where)
    assert path.stat().st_size < 200_000
    with pytest.raises(TooMuch, match=r"^lamp\.pdf: (a part of it|page 1) unpacks to more than 67 MB of drawing"):
        read_art(path, "lamp.pdf", "key")
    if where == "form":
        assert read_art(path, "lamp.pdf", "key", ArtLimits(stream_bytes=MUCH))


_PEAK = """
import resource, sys
from pathlib import Path
from server.cli import main
code = main(["build", sys.argv[1], "--edges", "colour", "--out", sys.argv[2]])
status = Path("/proc/self/status")  # Linux counts what was there before this program began into ru_maxrss
print(int(status.read_text().split("VmHWM:")[1].split()[0]) // 1024 if status.exists() else
      resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024 if sys.platform != "darwin" else 1024 ** 2))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such account of memory in the standard library")
def test_a_build_of_such_a_file_stays_small(tmp_path: Path) -> None:
    bomb(tmp_path, "packed twice")
    done = subprocess.run([sys.executable, "-c", _PEAK, str(tmp_path), str(tmp_path / "out.pdf")], capture_output=True,
                          text=True, check=True)
    assert "unpacks to more than" in done.stderr
    assert int(done.stdout.split()[-1]) < 600
