"""Small pictures of art, made by a process of its own while its caller goes on, which needs no decoder in memory then.
Who has one there already makes them by himself: two processes take more than one.

It decodes pictures alone, whose readers the caller trusts in its own process as well; it is no place for traps.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from server.core.art import Art
from server.errors import LampfoldError
from server.formats.limits import ArtLimits

if TYPE_CHECKING:
    from subprocess import Popen

_QUALITY = 80


class Order(NamedTuple):
    """Art, its file, and where its small picture goes."""

    art: Art
    path: Path
    small: Path


def shrink(order: Order, about_px: int, limits: ArtLimits) -> None:
    """A JPEG of the art, as large as ``pixels.rough`` makes it. Raises Unreadable, naming the art."""
    from server.formats.pixels import rough

    under_way = order.small.with_suffix(".part")
    rough(order.path, order.art, about_px, limits).save(under_way, "JPEG", quality=_QUALITY)
    under_way.replace(order.small)


def has_decoder() -> bool:
    return "PIL" in sys.modules


class Shrinking:
    """``orders`` are under way from now on, in a process that ends with them, or with this one; or wait for
    ``finish``."""

    def __init__(self, orders: Iterable[Order], about_px: int, limits: ArtLimits) -> None:
        self._orders, self._about_px, self._limits = tuple(orders), about_px, limits
        self._process: Popen[bytes] | None = None
        pictures = [order._replace(path=order.path.absolute(), small=order.small.absolute())
                    for order in self._orders if not order.art.is_vector]
        if pictures and not has_decoder():
            import pickle
            import subprocess

            ours = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
            with suppress(OSError):  # where it can't begin, or has ended already, ``finish`` does its work
                self._process = subprocess.Popen([sys.executable, "-m", __name__], stdin=subprocess.PIPE, env=ours,
                                                 stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                assert self._process.stdin is not None
                with self._process.stdin as pipe:
                    pickle.dump((pictures, about_px, limits), pipe)

    def finish(self) -> None:
        """Wait for the last. What the process left is done here: art of pages, and what tells why it can't be.

        Raises Unreadable, naming the art.
        """
        if self._process:
            self._process.wait()
        for order in self._orders:
            if not order.small.exists():
                shrink(order, self._about_px, self._limits)

    def end(self) -> None:
        """End the process, finished or not."""
        if self._process:
            self._process.kill()
            self._process.wait()


def _serve() -> None:
    import pickle

    caller = os.getppid()
    orders, about_px, limits = pickle.load(sys.stdin.buffer)
    for order in orders:
        if os.getppid() != caller:
            return
        try:
            shrink(order, about_px, limits)
        except (LampfoldError, OSError, MemoryError):
            continue  # its caller tries it again, and is told


if __name__ == "__main__":
    _serve()
