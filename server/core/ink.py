"""How much ink or toner a page takes, by channel: mean cover of the whole page, from what is seen.

A printer's own separation isn't known, so cover follows the plain rule: for red, green and blue from 0 to 1,
K = 1 - max(R, G, B), C = 1 - R - K, M = 1 - G - K, Y = 1 - B - K.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# With pale ink, white of this opacity lies over the art, so that it takes that share of ink less.
PALE = 0.5


@dataclass(frozen=True, slots=True)
class Ink:
    """Mean cover of a page by each channel, in percent."""

    cyan_percent: float = 0.0
    magenta_percent: float = 0.0
    yellow_percent: float = 0.0
    black_percent: float = 0.0

    @classmethod
    def seen(cls, red: float, green: float, blue: float, brightest: float) -> Ink:
        """From the means of R, G, B and of the largest of the three in each pixel, 0 to 1 each."""
        return cls(*(100.0 * max(0.0, part) for part in
                     (brightest - red, brightest - green, brightest - blue, 1.0 - brightest)))

    @property
    def total(self) -> float:
        """All channels together, in percent of the page."""
        return self.cyan_percent + self.magenta_percent + self.yellow_percent + self.black_percent

    def scaled(self, share: float) -> Ink:
        return Ink(self.cyan_percent * share, self.magenta_percent * share, self.yellow_percent * share,
                   self.black_percent * share)

    def plus(self, other: Ink) -> Ink:
        return Ink(self.cyan_percent + other.cyan_percent, self.magenta_percent + other.magenta_percent,
                   self.yellow_percent + other.yellow_percent, self.black_percent + other.black_percent)

    def as_mapping(self) -> dict[str, float]:
        """By the names that every face of the program uses, rounded for people."""
        return {"cyan_percent": round(self.cyan_percent, 2), "magenta_percent": round(self.magenta_percent, 2),
                "yellow_percent": round(self.yellow_percent, 2), "black_percent": round(self.black_percent, 2)}


def mean_of(pages: Iterable[Ink]) -> Ink:
    """The mean over pages of one size; none take none."""
    found = tuple(pages)
    total = Ink()
    for one in found:
        total = total.plus(one)
    return total.scaled(1.0 / len(found)) if found else total


def saved_percent(printed: Ink, full: Ink) -> float:
    """How much less ``printed`` takes than ``full``, in percent of it."""
    return 100.0 * (1.0 - printed.total / full.total) if full.total > 0 else 0.0
