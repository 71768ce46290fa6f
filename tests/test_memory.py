"""What large pictures take of the memory, in a build or by their headers; all kinds of them are in
``python -m tests.bench_memory``."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
from pathlib import Path

import pikepdf
import pytest

from server.errors import TooMuch
from server.formats.limits import BadArt
from server.formats.reader import read_art
from tests import bench_memory
from tests.formats.artwork import encoded, write

_BUILD = """
import sys
from pathlib import Path
from server.cli import main
code = main(["build", sys.argv[1], "--out", sys.argv[2]])
print(code, int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]) / 1000)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the peak of a process is read from /proc")
def test_a_build_of_large_pictures_holds_one_of_them_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_memory, "WIDTH", 3850)
    monkeypatch.setattr(bench_memory, "HEIGHT", 5245)  # 69 x 94 mm, 20 megapixels: 81 MB as Pillow holds them
    fronts = tmp_path / "deck" / "fronts"
    fronts.mkdir(parents=True)
    for number, kind in enumerate(("png rgba gamma", "png rgba interlaced", "tiff rgb 16")):
        bench_memory.KINDS[kind](fronts / f"{number}{kind[:3]}")
    done = subprocess.run([sys.executable, "-c", _BUILD, str(fronts.parent), str(tmp_path / "out.pdf")], check=True,
                          capture_output=True, text=True)
    code, peak_mb = done.stdout.splitlines()[-1].split()
    assert code == "0", done.stdout
    assert float(peak_mb) < 200


def _claiming(kind: str, width: int, height: int) -> bytes:
    """A small file whose header claims that size."""
    if kind == "WEBP":  # RFC 9649, 3.4
        bits = (width - 1) | (height - 1) << 14
        body = b"WEBPVP8L" + struct.pack("<IBI", 30, 0x2F, bits) + bytes(25)
        return b"RIFF" + struct.pack("<I", len(body)) + body
    if kind == "AVIF":
        data = bytearray(encoded(kind, subsampling="4:4:4"))
        at = data.index(b"ispe") + 8
        data[at:at + 8] = struct.pack(">II", width, height)
    elif kind == "JPEG":  # SOF2, progressive
        data = bytearray(encoded(kind, progressive=True, subsampling=0))
        at = data.index(b"\xff\xc2") + 5
        data[at:at + 4] = struct.pack(">HH", height, width)
    else:  # the size marker of JPEG 2000 (ITU-T T.800, A.5.1), whatever the PDF says beside it
        inside = bytearray(encoded("JPEG2000", no_jp2=True))
        at = inside.index(b"\xff\x4f\xff\x51") + 8
        inside[at:at + 8] = struct.pack(">II", width, height)
        with pikepdf.new() as document:
            page = document.add_blank_page(page_size=(179, 249))
            image = document.make_stream(bytes(inside), Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=63,
                                         Height=88, Filter=pikepdf.Name.JPXDecode)
            page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(A=image))
            page.Contents = document.make_stream(b"179 0 0 249 0 0 cm /A Do")
            out = io.BytesIO()
            document.save(out)
        return out.getvalue()
    return bytes(data)


@pytest.mark.parametrize("kind", ["WEBP", "AVIF", "JPEG", "PDF"])
def test_what_would_take_too_much_memory_to_decode_is_refused_unopened(tmp_path: Path, kind: str) -> None:
    path = write(tmp_path, "file", _claiming(kind, 7000, 9000))
    with pytest.raises(TooMuch, match=r"^fronts/lamp: .* to decode") as caught:
        read_art(path, "fronts/lamp", "key")
    assert isinstance(caught.value, BadArt)
    assert caught.value.code == "too-many-pixels"
    # An A4 page at 600 ppi is let through by its header, but for JPEG 2000, which takes fifteen bytes of a pixel.
    if kind != "PDF":
        assert read_art(write(tmp_path, "file", _claiming(kind, 4961, 7016)), "fronts/lamp", "key")[0].width_px == 4961


def test_a_tiff_of_strips_that_are_one_and_the_same_is_refused(tmp_path: Path) -> None:
    # TIFF 6.0, section 2: width, height, bits, no compression, black is 0, strips of a row each, all at byte 8.
    width, height = 600, 200
    lists = 8 + width, 8 + width + 4 * height
    entries = ((256, width), (257, height), (258, 8), (259, 1), (262, 1), (273, lists[0]), (277, 1), (278, 1),
               (279, lists[1]))
    directory = b"".join(struct.pack("<HHII", tag, 4, height if tag in (273, 279) else 1, value)
                         for tag, value in entries)
    data = (b"II*\0" + struct.pack("<I", lists[1] + 4 * height) + bytes(range(200)) * 3
            + struct.pack("<I", 8) * height + struct.pack("<I", width) * height
            + struct.pack("<H", len(entries)) + directory + bytes(4))
    with pytest.raises(BadArt, match=r"^lamp: says the same") as caught:
        read_art(write(tmp_path, "lamp", data), "lamp", "key")
    assert caught.value.code == "too-much-inside"
    assert caught.value.fix
