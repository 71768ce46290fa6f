"""A release of many variants against builds of one, for ``python -m tests.bench``.

The art has bleed of its own and is fit to print, so that a build only copies it: the hardest case. Then a pack of PNGs
takes what 6 GB take to be written. Where art has to be decoded, for its edges or to be built, that is done once for all
variants, and a release costs little more than a build.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.bench import Row, folder_of

_COMMAND = """
import resource, sys, time
from pathlib import Path
start = time.perf_counter()
from server.cli import main
main(sys.argv[1:])
wall = time.perf_counter() - start
used, theirs = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
status, unit = Path("/proc/self/status"), 1 if sys.platform == "darwin" else 1024
own = 1024 * int(status.read_text().split("VmHWM:")[1].split()[0]) if status.exists() else unit * used.ru_maxrss
seconds = sum(one.ru_utime + one.ru_stime for one in (used, theirs))
print(seconds, wall, own, unit * theirs.ru_maxrss if theirs.ru_utime else 0, file=sys.stderr)
"""


def command(*argv: str) -> tuple[float, float, int]:
    """(seconds of the processors, seconds by the wall, peak bytes of its largest process) of a command."""
    done = subprocess.run([sys.executable, "-c", _COMMAND, *argv], check=True, capture_output=True, text=True)
    seconds, wall, own, theirs = done.stderr.split()[-4:]
    return float(seconds), float(wall), max(int(own), int(theirs))


def release_rows(kind: str, turns: int, room: Path) -> list[Row]:
    """Eight variants of 540 cards in one pack, with their guides and the index, against eight builds of one."""
    if sys.platform == "win32":
        return []  # it has no such account of a process in the standard library
    folder, pack, pdf = str(folder_of(kind, 540)), room / "pack.zip", room / "one.pdf"
    choices = ("--methods", "duplex,vertical-fold", "--papers", "a4,letter", "--ink", "full,pale")
    builds, releases = [], []
    for _ in range(turns):
        builds.append(command("build", folder, "--out", str(pdf)))
        releases.append(command("release", folder, "--version", "1", *choices, "--out", str(pack)))
    pack.unlink()
    pdf.unlink()
    one, eight = (tuple(map(min, zip(*runs, strict=True))) for runs in (builds, releases))
    name = f"Release of 540 cards in 8 variants, {kind.upper()}"
    return [Row(f"{name}: processor's time over one build's", eight[0] / one[0], 8.0, True,
                f"{eight[0]:.1f} and {one[0]:.1f} s"),
            Row(f"{name}: time over one build's", eight[1] / one[1], 8.0, True, f"{eight[1]:.1f} and {one[1]:.1f} s"),
            Row(f"{name}: largest process over one build's", eight[2] / one[2], 1.0, True,
                f"{eight[2] / 1e6:.0f} and {one[2] / 1e6:.0f} MB")]
