"""``python -m tests.bench_memory``: how much memory a build takes for pictures as large as the reader lets through.

Each row is a kind of file that holds 63 megapixels in at most about 1 MB, built by ``lampfold build`` in a process of
its own, once alone and once with two more like it. The peak is of all its processes together, looked at a few hundred
times a second (/proc, so on Linux only). A refusal is as good as a build: it is shown. Names on the command line choose
rows.
"""

from __future__ import annotations

import base64
import io
import math
import struct
import subprocess
import sys
import tempfile
import threading
import time
import zlib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pymupdf
from PIL import Image, ImageDraw

from server.formats.limits import MAX_DECODING_BYTES
from tests.bench import Row
from tests.formats.artwork import chunk, png_header

WIDTH, HEIGHT = 6730, 9400  # 63 x 88 mm without bleed, so that its edges are looked at: 63 megapixels
GOAL_MB = 600
_PAGE_KB = 4


def drawn(mode: str, width: int = WIDTH, height: int = HEIGHT) -> Image.Image:
    """A frame, a disc, a plain ground; clear corners where the mode has alpha."""
    bands = []
    for number, band in enumerate(Image.new(mode, (1, 1)).getbands()):
        plane = Image.new("L", (width, height), 40 + 30 * number)
        pen = ImageDraw.Draw(plane)
        if band == "A":
            plane.paste(0, (0, 0, width, height))
            pen.rounded_rectangle((0, 0, width - 1, height - 1), 300, fill=255)
        else:
            pen.rectangle((300, 300, width - 300, height - 300), outline=200 - 20 * number, width=60)
            pen.ellipse((900, 900, width - 900, width - 900), fill=90 + 40 * number)
        bands.append(plane)
    return bands[0] if len(bands) == 1 else Image.merge(mode, bands)


def _saved(kind: str, mode: str, each: float = 1, **given: Any) -> Callable[[Path], None]:
    """As large as may be, where a decoder takes so many bytes ``each``."""
    width = min(WIDTH, math.floor(math.sqrt(MAX_DECODING_BYTES / each * WIDTH / HEIGHT)))

    def make(path: Path) -> None:
        drawn(mode, width, width * HEIGHT // WIDTH).save(path, kind, **given)
    return make


def _png(colour: int, depth: int, *, interlaced: bool = False, small: Iterable[tuple[bytes, bytes]] = ()
         ) -> Callable[[Path], None]:
    """Rows of one value each; seven passes where it is interlaced (W3C PNG, 8.2), whose sizes add up to the picture."""
    samples = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]

    def make(path: Path) -> None:
        header = bytearray(png_header(WIDTH, HEIGHT, depth, colour))
        if interlaced:
            header[28] = 1
            header[29:33] = zlib.crc32(header[12:29]).to_bytes(4, "big")
        passes = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))
        packer, data = zlib.compressobj(9), []
        for x, y, across, down in passes if interlaced else ((0, 0, 1, 1),):
            wide, high = -(-(WIDTH - x) // across), -(-(HEIGHT - y) // down)
            row = bytes(-(-wide * samples * depth // 8))
            for at in range(high):
                value = at * down * 200 // HEIGHT if depth >= 8 else 0
                data.append(packer.compress(b"\0" + row.replace(b"\0", bytes((value,)))))
        data.append(packer.flush())
        path.write_bytes(bytes(header) + b"".join(chunk(*one) for one in small) + chunk(b"IDAT", b"".join(data))
                         + chunk(b"IEND", b""))
    return make


def _noisy_png(path: Path) -> None:
    """Noise that comes again after 251 bytes: deflate finds it, and a filter and runs don't."""
    noise = np.random.default_rng(1).integers(0, 256, 251, dtype=np.uint8).tobytes()
    packer, data, at = zlib.compressobj(9), [], 0
    for _ in range(HEIGHT):
        row = noise[at:] + noise * (4 * WIDTH // len(noise) + 1)
        data.append(packer.compress(b"\0" + row[:4 * WIDTH]))
        at = (at + 4 * WIDTH) % len(noise)
    data.append(packer.flush())
    path.write_bytes(png_header(WIDTH, HEIGHT, 8, 6) + chunk(b"IDAT", b"".join(data)) + chunk(b"IEND", b""))


def _tiff(mode: str, **given: Any) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        image = drawn("L").convert(mode) if mode in ("1", "P", "I", "F", "I;16") else drawn(mode)
        image.save(path, "TIFF", **given)
    return make


def _turned(kind: str, mode: str, **given: Any) -> Callable[[Path], None]:
    exif = Image.Exif()
    exif[0x0112] = 6
    return _saved(kind, mode, exif=exif, **given)


def _wide_tiff(samples: int, bits: int, one_strip: bool) -> Callable[[Path], None]:
    """What Pillow doesn't write: 16 bits of several colours, and all rows in one strip."""
    def make(path: Path) -> None:
        row = bytes(WIDTH * samples * bits // 8)
        rows = HEIGHT if one_strip else 64
        strips = []
        for top in range(0, HEIGHT, rows):
            packer = zlib.compressobj(9)
            strips.append(b"".join(packer.compress(row) for _ in range(min(rows, HEIGHT - top))) + packer.flush())
        offsets, at = [], 8
        for strip in strips:
            offsets.append(at)
            at += len(strip)
        photo = {1: 1, 3: 2, 4: 2}[samples]
        entries = [(256, 4, (WIDTH,)), (257, 4, (HEIGHT,)), (258, 3, (bits,) * samples), (259, 3, (8,)),
                   (262, 3, (photo,)), (273, 4, tuple(offsets)), (277, 3, (samples,)), (278, 4, (rows,)),
                   (279, 4, tuple(map(len, strips))), (284, 3, (1,))]
        entries += [(338, 3, (2,))] if samples == 4 else []
        directory, more = b"", b""
        start = at + 2 + 12 * len(entries) + 4
        for tag, kind, values in entries:
            packed = struct.pack(f"<{len(values)}{'H' if kind == 3 else 'I'}", *values)
            if len(packed) > 4:
                where, more = struct.pack("<I", start + len(more)), more + packed
            else:
                where = packed.ljust(4, b"\0")
            directory += struct.pack("<HHI", tag, kind, len(values)) + where
        path.write_bytes(b"II*\0" + struct.pack("<I", at) + b"".join(strips) + struct.pack("<H", len(entries))
                         + directory + b"\0\0\0\0" + more)
    return make


def _animated(kind: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        first = drawn("RGBA", 5560, 7766)
        first.save(path, kind, save_all=True, append_images=[first.rotate(180)], duration=100,
                   **({"lossless": True, "method": 0} if kind == "WEBP" else {}))
    return make


def _pdf(kind: str, mode: str, **given: object) -> Callable[[Path], None]:
    """A page that holds a picture."""
    def make(path: Path) -> None:
        out = io.BytesIO()
        drawn(mode).save(out, kind, **given)
        with pymupdf.open() as document:
            page = document.new_page(width=63 / 25.4 * 72, height=88 / 25.4 * 72)
            page.insert_image(page.rect, stream=out.getvalue())
            document.save(path, deflate=True)
    return make


def _svg(path: Path) -> None:
    out = io.BytesIO()
    drawn("RGBA").save(out, "PNG", compress_level=6)
    path.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="63mm" height="88mm" viewBox="0 0 63 88"><image '
                    'width="63" height="88" href="data:image/png;base64,'
                    f'{base64.b64encode(out.getvalue()).decode()}"/></svg>')


_FAST = {"quality": 30}
KINDS: dict[str, Callable[[Path], None]] = {
    "png rgba": _saved("PNG", "RGBA", compress_level=6),
    "png rgba noisy": _noisy_png,
    "png rgba interlaced": _png(6, 8, interlaced=True),
    "png rgba 16": _png(6, 16),
    "png rgb 16": _png(2, 16),
    "png rgb 16 interlaced": _png(2, 16, interlaced=True),
    "png rgb": _saved("PNG", "RGB", compress_level=6),
    "png rgba gamma": _png(6, 8, small=[(b"gAMA", (100_000).to_bytes(4, "big"))]),
    "png grey keyed": _png(0, 8, small=[(b"tRNS", bytes(2))]),
    "png grey 16 interlaced": _png(0, 16, interlaced=True),
    "png palette": _png(3, 8, small=[(b"PLTE", bytes(range(252)) * 3)]),
    "png palette clear": _png(3, 8, small=[(b"PLTE", bytes(range(252)) * 3), (b"tRNS", bytes(range(0, 250)))]),
    "jpeg progressive": _saved("JPEG", "RGB", progressive=True, **_FAST),
    "jpeg progressive 4:4:4": _saved("JPEG", "RGB", 10, progressive=True, subsampling=0, **_FAST),
    "jpeg progressive turned": _turned("JPEG", "RGB", progressive=True, **_FAST),
    "jpeg cmyk": _saved("JPEG", "CMYK", **_FAST),
    "jpeg cmyk progressive": _saved("JPEG", "CMYK", 12, progressive=True, **_FAST),
    "webp lossy": _saved("WEBP", "RGB", 12, method=0, **_FAST),
    "webp lossy alpha": _saved("WEBP", "RGBA", 12, method=0, **_FAST),
    "webp lossless": _saved("WEBP", "RGBA", 12, lossless=True, method=0),
    "webp animated": _animated("WEBP"),
    "avif": _saved("AVIF", "RGB", 9.5, speed=10, **_FAST),
    "avif 4:4:4": _saved("AVIF", "RGB", 12.5, speed=10, subsampling="4:4:4", **_FAST),
    "avif alpha": _saved("AVIF", "RGBA", 13.5, speed=10, **_FAST),
    "avif grain": _saved("AVIF", "RGB", 9.5, speed=10, advanced={"film-grain-test": "1"}, **_FAST),
    "webp too large": _saved("WEBP", "RGB", method=0, **_FAST),
    "avif alpha grain": _saved("AVIF", "RGBA", 13.5, speed=10, advanced={"film-grain-test": "1"}, **_FAST),
    "tiff rgb lzw": _tiff("RGB", compression="tiff_lzw"),
    "tiff rgba deflate": _tiff("RGBA", compression="tiff_adobe_deflate"),
    "tiff cmyk lzw": _tiff("CMYK", compression="tiff_lzw"),
    "tiff cmyk deflate": _tiff("CMYK", compression="tiff_adobe_deflate"),
    "tiff palette": _tiff("P", compression="tiff_lzw"),
    "tiff turned": _tiff("RGB", compression="tiff_lzw", tiffinfo={274: 6}),
    "tiff rgb 16": _wide_tiff(3, 16, one_strip=False),
    "tiff rgba 16 one strip": _wide_tiff(4, 16, one_strip=True),
    "tiff rgb one strip": _wide_tiff(3, 8, one_strip=True),
    "tiff grey float one strip": _wide_tiff(1, 32, one_strip=True),
    "pdf png alpha": _pdf("PNG", "RGBA", compress_level=6),
    "pdf jpeg": _pdf("JPEG", "RGB", **_FAST),
    "pdf jpeg progressive": _pdf("JPEG", "RGB", progressive=True, subsampling=0, **_FAST),
    "pdf jpeg 2000": _pdf("JPEG2000", "RGB", irreversible=True, quality_mode="rates", quality_layers=[400]),
    "svg png": _svg,
}


def made(name: str) -> Path:
    """The file of that row, made once and kept with the bench's other art."""
    place = Path(tempfile.gettempdir()) / "lampfold-bench" / "large" / name.replace(" ", "-").replace(":", "")
    ending = name.partition(" ")[0]
    path = place.with_suffix(f".{ending}")
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run([sys.executable, "-c", "import sys; from pathlib import Path; from tests.bench_memory import "
                        f"KINDS; KINDS[{name!r}](Path({str(path) + '.part'!r}))"], check=True)
        Path(f"{path}.part").replace(path)
    return path


def _tree_kb(pid: int) -> int:
    """What a process and all that it has started hold now."""
    total = 0
    try:
        total += int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * _PAGE_KB
        for thread in Path(f"/proc/{pid}/task").iterdir():
            for child in (thread / "children").read_text().split():
                total += _tree_kb(int(child))
    except (OSError, IndexError, ValueError):  # it has ended
        pass
    return total


def peak_of(command: list[str]) -> tuple[int, int, str]:
    """(peak of the whole tree in MB, exit code, the last line that it said)."""
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    peak = 0

    def watch() -> None:
        nonlocal peak
        while process.poll() is None:
            peak = max(peak, _tree_kb(process.pid))
            time.sleep(0.003)

    watcher = threading.Thread(target=watch)
    watcher.start()
    said = process.communicate()[0]
    watcher.join()
    return peak // 1000, process.returncode, (said.strip().splitlines() or [""])[-1]


def built(name: str, files: int, *more: str) -> tuple[int, int, str]:
    """``peak_of`` a build of a folder that holds the row's file so often, each a picture of its own."""
    source = made(name)
    with tempfile.TemporaryDirectory() as folder:
        fronts = Path(folder) / "deck" / "fronts"
        fronts.mkdir(parents=True)
        data = source.read_bytes()
        for number in range(files):
            # A box of free space, which an AVIF may end with; other readers don't look behind a picture.
            space = (8 + number).to_bytes(4, "big") + b"free" + bytes(number)
            (fronts / f"{number}{source.suffix}").write_bytes(data + space)
        return peak_of([sys.executable, "-m", "server", "build", str(fronts.parent), "--out",
                        str(Path(folder) / "out.pdf"), *more])


def memory_row() -> Row:
    """The largest of all."""
    peaks = {name: max(built(name, files)[0] for files in (1, 3)) for name in KINDS}
    worst = max(peaks, key=lambda name: peaks[name])
    return Row(f"A build of large pictures, {len(KINDS)} kinds: memory over {GOAL_MB} MB", peaks[worst] / GOAL_MB, 1.0,
               True, f"{peaks[worst]} MB, {worst}")


def main() -> None:
    chosen = [name for name in KINDS if not sys.argv[1:] or any(part in name for part in sys.argv[1:])]
    print(f"{'63 megapixels':<28}{'kB':>7}{'one':>7}{'three':>7}  MB")
    for name in chosen:
        size = made(name).stat().st_size
        peaks = [built(name, files) for files in (1, 3)]
        worst = max(peak for peak, _, _ in peaks)
        said = "" if not peaks[0][1] else peaks[0][2]
        print(f"{name:<28}{size // 1000:>7}{peaks[0][0]:>7}{peaks[1][0]:>7}  {'MISSED' if worst > GOAL_MB else 'met'}"
              f"  {said[:150]}", flush=True)


if __name__ == "__main__":
    main()
