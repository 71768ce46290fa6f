"""A release of many variants against builds of one, for ``python -m tests.bench``.

Where a build only copies art that is fit to print, as it does these PNGs, the pack's sums and the index, for which each
picture is decoded once, weigh most; where art has to be decoded to be built, a release costs little more than a build.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.bench import Row, folder_of

_COMMAND = """
import resource, sys
from pathlib import Path
from server.cli import main
main(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
status = Path("/proc/self/status")
peak = (1024 * int(status.read_text().split("VmHWM:")[1].split()[0]) if status.exists()
        else used.ru_maxrss * (1 if sys.platform == "darwin" else 1024))
print(used.ru_utime + used.ru_stime, peak, file=sys.stderr)
"""


def command(*argv: str) -> tuple[float, int]:
    """(seconds of the processor, peak bytes) of a process of its own for a command."""
    done = subprocess.run([sys.executable, "-c", _COMMAND, *argv], check=True, capture_output=True, text=True)
    seconds, peak = done.stderr.split()[-2:]
    return float(seconds), int(peak)


def release_rows(kind: str, turns: int, room: Path) -> list[Row]:
    """Eight variants of 540 cards in one pack, with their guides and the index, against eight builds of one."""
    if sys.platform == "win32":
        return []  # it has no such account of a process in the standard library
    folder, pack, pdf = str(folder_of(kind, 540)), room / "pack.zip", room / "one.pdf"
    choices = ("--methods", "duplex,vertical-fold", "--papers", "a4,letter", "--ink", "full,pale")
    least = [(float("inf"), 0)] * 2
    for _ in range(turns):
        least = [min(least[0], command("build", folder, "--out", str(pdf))),
                 min(least[1], command("release", folder, "--version", "1", *choices, "--out", str(pack)))]
    pack.unlink()
    pdf.unlink()
    (one, its_peak), (eight, peak) = least
    name = f"Release of 540 cards in 8 variants, {kind.upper()}"
    return [Row(f"{name}: processor's time over one build's", eight / one, 8.0, True, f"{eight:.1f} and {one:.1f} s"),
            Row(f"{name}: peak memory over one build's", peak / its_peak, 1.0, True,
                f"{peak / 1e6:.0f} and {its_peak / 1e6:.0f} MB")]
