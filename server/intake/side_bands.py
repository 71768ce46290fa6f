"""A picture looked at from one of its sides, slab by slab, by Pillow alone.

Each slab is small enough to stay in the processor's cache; only extremes, means and bounding boxes come out of it, so
that no pixel passes through Python.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from PIL import Image, ImageChops

from server.core.leeway import SideName

Box = tuple[int, int, int, int]
_SLAB_PX = 26_000  # about 100 kB: larger ones cost more in fresh memory than they save in calls


@dataclass(frozen=True, slots=True)
class View:
    """A picture looked at from one side of ``box``: row 0 runs along that side, the last row along the opposite."""

    image: Image.Image
    box: Box
    side: SideName

    @property
    def slab(self) -> int:
        """How many rows make a slab of handy size."""
        left, top, right, bottom = self.box
        return max(4, _SLAB_PX // ((right - left) if self.level else (bottom - top)))

    @property
    def level(self) -> bool:
        return self.side in ("top", "bottom")

    @property
    def depth(self) -> int:
        left, top, right, bottom = self.box
        return bottom - top if self.level else right - left

    def rows(self, first: int, last: int) -> Image.Image:
        """Rows ``first`` up to ``last``, lying as they do in the picture."""
        left, top, right, bottom = self.box
        return self.image.crop({"top": (left, top + first, right, top + last),
                                "bottom": (left, bottom - last, right, bottom - first),
                                "left": (left + first, top, left + last, bottom),
                                "right": (right - last, top, right - first, bottom)}[self.side])

    def strip(self, slab: Image.Image, first: int, last: int) -> Image.Image:
        """Rows ``first`` up to ``last`` of a ``slab``, as far as it goes."""
        width, height = slab.size
        depth = height if self.level else width
        first, last = min(first, depth), min(last, depth)
        return slab.crop({"top": (0, first, width, last), "bottom": (0, height - last, width, height - first),
                          "left": (first, 0, last, height),
                          "right": (width - last, 0, width - first, height)}[self.side])

    def first_in(self, slab: Image.Image) -> int | None:
        """The first row of ``slab`` that isn't black."""
        box = slab.getbbox()
        if not box:
            return None
        return {"top": box[1], "bottom": slab.height - box[3], "left": box[0], "right": slab.width - box[2]}[self.side]

    def means(self, slab: Image.Image) -> list[int]:
        """The mean of each row of a grey ``slab``, the side's first."""
        line = slab.reduce((slab.width, 1) if self.level else (1, slab.height))
        return list(line.tobytes())[::1 if self.side in ("top", "left") else -1]

    def without_ends(self, share: float) -> View:
        """The same side, its ends left out."""
        left, top, right, bottom = self.box
        if self.level:
            cut = round((right - left) * share)
            return replace(self, box=(left + cut, top, right - cut, bottom))
        cut = round((bottom - top) * share)
        return replace(self, box=(left, top + cut, right, bottom - cut))

    def unit_at(self, depth_px: float) -> float:
        """A depth below this side as a coordinate of the whole picture's unit square."""
        left, top, right, bottom = self.box
        width, height = self.image.size
        return {"left": (left + depth_px) / width, "right": (right - depth_px) / width,
                "top": (top + depth_px) / height, "bottom": (bottom - depth_px) / height}[self.side]


class Apart:
    """How far the rows of a view are from one colour, on the channel that differs most."""

    def __init__(self, view: View, rgb: tuple[int, int, int]) -> None:
        self.view = view
        self.depth = view.depth
        self._rgb = rgb
        self._flats: dict[tuple[int, int], Image.Image] = {}

    def _difference(self, slab: Image.Image) -> Image.Image:
        flat = self._flats.get(slab.size)
        if flat is None:
            flat = self._flats[slab.size] = Image.new("RGB", slab.size, self._rgb)
        return ImageChops.difference(slab, flat)

    def first_other(self, at: int) -> int | None:
        """The first row from ``at`` on that isn't of just this colour."""
        while at < self.depth:
            end = min(at + self.view.slab, self.depth)
            row = self.view.first_in(self._difference(self.view.rows(at, end)))
            if row is not None:
                return at + row
            at = end
        return None

    def grey(self, first: int, last: int, thin: int = 1) -> Image.Image:
        """Rows ``first`` up to ``last``; of every ``thin`` pixels along the side only one is kept."""
        slab = self.view.rows(first, last)
        if thin > 1:
            size = (slab.width // thin, slab.height) if self.view.level else (slab.width, slab.height // thin)
            slab = slab.resize(size, Image.Resampling.NEAREST)
        red, green, blue = self._difference(slab).split()
        return ImageChops.lighter(ImageChops.lighter(red, green), blue)


def above(grey: Image.Image, level: int) -> Image.Image:
    """White where ``grey`` is above ``level``, black elsewhere."""
    return grey.point([0] * (level + 1) + [255] * (255 - level))
