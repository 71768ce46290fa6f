"""A photograph of a test sheet against the light, read: rings, the sheet's place, every back mark, how certain.

All numbers are in the front's own frame, as each ring's dots show it, so that neither the camera nor where the print
lies on its paper matters. Each refusal says what is wrong with the picture or the print, and what to do.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import DISC_MM, LARGE_MM, SMALL_MM, STATION_WORDS, WORDS, is_large, ring_points
from server.core.gauge_sheet import stations
from server.core.geometry import Point
from server.core.plan import Flip
from server.core.sighting import SheetSight, Sight, SightProblem
from server.core.sizes import PAPERS, Paper
from server.photo.discs import CLEAR_MM, Back, Discs, find_backs, fit_discs, flip_seen, near, search
from server.photo.lens import Array, Lens, carried, fit_lens, local_frame
from server.photo.rings import Ring, find_rings

_SURE_DOTS = 13  # of a ring that stands alone
_LEAST_CLEAR = 10  # dots of a ring's fourteen
OFF_MM = 0.8  # as far as rings may lie from where a lens has them
_WINDOW_MM = 1.32
_LEAST_LARGER = 1.4
_FIT_TRUST, _FLOOR_MM = 2.0, 0.004
_MOST_SIGMA_MM = 0.06

NO_SHEET = SightProblem("no-sheet", "No test sheet is to be seen.",
                        "Have the whole sheet in the picture, sharp, in front of a bright window, the room dark.")


@dataclass(frozen=True, slots=True)
class Found:
    """What was found in the picture, for drawing: the lens, and per station (seen middle, back's middle) in mm."""

    sight: SheetSight
    lens: Lens | None = None
    fronts: tuple[tuple[int, tuple[float, float]], ...] = ()
    backs: tuple[tuple[int, tuple[float, float]], ...] = ()
    size: float = 1.0  # of the marks


@dataclass(frozen=True, slots=True)
class Front:
    """The front of a sheet in a picture: the lens, and of each ring that is there its frame (2 x 3, mm about its own
    middle) and how uncertain the middle is. ``points`` are all rings by their place in ``WORDS``, ``blanks`` what to
    say of each, with why one isn't there. Lengths in mm of rings of size 1."""

    lens: Lens
    points: dict[int, Point]
    places: tuple[int, ...]
    frames: tuple[Array, ...]
    sigmas: tuple[float, ...]
    dots: Discs
    scale: float
    blanks: tuple[Sight, ...]


def read_test_sheet(grey: NDArray[np.uint8], photo: str, paper: Paper, flip: Flip, rings: Sequence[Ring]) -> Found:
    """Read a picture of a test sheet that was printed on ``paper`` for ``flip``; never raises for what it shows."""
    front = front_of(grey, photo, paper, rings)
    if isinstance(front, Found):
        return front
    backs = backs_of(grey, front)
    problem = _whole(backs, flip)
    if problem:
        return refused(photo, problem)
    return Found(SheetSight(photo, tuple(sights_of(front, backs)), (), "test sheet"), front.lens,
                 tuple((place + 1, front.points[place]) for place in front.places),
                 tuple((place + 1, back.middle) for place, back in zip(front.places, backs, strict=True) if back.seen))


def backs_of(grey: NDArray[np.uint8], front: Front, size: float = 1.0) -> list[Back]:
    """The back's mark in every ring that is there, of marks of that size."""
    centres = np.array([front.points[place] for place in front.places])
    return find_backs(grey, front.lens, centres, front.scale, front.dots, len(ring_points()), size)


def sights_of(front: Front, backs: Sequence[Back], size: float = 1.0) -> list[Sight]:
    """Every ring's numbers or why there are none, numbered by its place in ``WORDS`` from 1."""
    sights, count = {sight.station: sight for sight in front.blanks}, len(ring_points())
    for at, place in enumerate(front.places):
        dots = front.dots.rows(slice(at * count, (at + 1) * count))
        sights[place + 1] = _sight(place + 1, front.points[place], front.frames[at], backs[at], front.sigmas[at], dots,
                                   front.scale, _MOST_SIGMA_MM / size)
    return list(sights.values())


def front_of(grey: NDArray[np.uint8], photo: str, paper: Paper, rings: Sequence[Ring] | None = None) -> Front | Found:
    """A test sheet's front in a picture, or the refusal."""
    plain = unmirrored(find_rings(grey) if rings is None else rings, range(len(STATION_WORDS)))
    if isinstance(plain, SightProblem):
        return refused(photo, plain)
    placed = _on_paper(plain, grey.shape, paper)
    if isinstance(placed, SightProblem):
        return refused(photo, placed)
    points = {station.number - 1: station.point for station in stations(paper)}
    return measured(grey, points, *placed) or refused(photo, NO_SHEET)


def unmirrored(rings: Sequence[Ring], places: range) -> list[Ring] | SightProblem:
    """The best ring for each of ``places`` in ``WORDS``, or why the picture has none."""
    chosen = [ring for ring in rings if ring.place in places]
    plain = [ring for ring in chosen if not ring.mirrored]
    if len(plain) < len(chosen) - len(plain):
        return SightProblem(
            "mirrored", "The picture is mirrored: the phone mirrored it, or it shows the sheet from its back.",
            "Turn the front, with its words, towards the camera, and use the camera at the phone's back.")
    if not plain or (len(plain) == 1 and plain[0].found < _SURE_DOTS):
        return NO_SHEET
    best: dict[int, Ring] = {}
    for ring in plain:
        if ring.place not in best or ring.found > best[ring.place].found:
            best[ring.place] = ring
    return list(best.values())


def refused(photo: str, problem: SightProblem) -> Found:
    """Nothing read, and why."""
    return Found(SheetSight(photo, (), (problem,)))


def fitted(rings: Sequence[Ring], points: Mapping[int, Point], shape: tuple[int, ...]) -> tuple[Lens | None, float]:
    """The lens through which all dots of the rings lie as ``points`` have them, and what is left, in mm."""
    if any(one.place not in points for one in rings):
        return None, np.inf
    ring = np.array(ring_points())
    sheet = np.concatenate([ring + points[one.place] for one in rings])
    pixels = np.concatenate([carried(one.to_picture, ring) for one in rings])
    return fit_lens(sheet, pixels, len(rings), (shape[1], shape[0]))


def placed(rings: list[Ring], points: Mapping[int, Point], shape: tuple[int, ...]) -> tuple[Lens, list[int]] | None:
    """The lens through which the rings lie as ``points`` have them, and the places of the rings that do."""
    kept = list(rings)
    lens, off = fitted(kept, points, shape)
    while off > OFF_MM and len(kept) > 3:
        tries = [[*kept[:at], *kept[at + 1:]] for at in range(len(kept))]
        kept = min(tries, key=lambda some: fitted(some, points, shape)[1])
        lens, off = fitted(kept, points, shape)
    return (lens, [one.place for one in kept]) if lens and off <= OFF_MM else None


def _on_paper(rings: list[Ring], shape: tuple[int, ...], paper: Paper) -> tuple[Lens, list[int]] | SightProblem:
    """The lens through which the rings lie as on ``paper``, and the places of those that do; or what they are."""
    def off_on(size: Paper) -> float:
        return fitted(rings, {station.number - 1: station.point for station in stations(size)}, shape)[1]

    off = off_on(paper)
    if off > 0.15 and len(rings) > 1:
        others = [(off_on(size), size) for size in PAPERS.values()
                  if size.name != paper.name and size.width_mm >= 148 and size.height_mm >= 200]
        other = min(others, key=lambda pair: pair[0])
        if other[0] < 0.6 * off and other[0] < OFF_MM:
            return SightProblem("other-sheet", f"This is a test sheet on {other[1].label}, not on {paper.label}.",
                                f"Choose {other[1].label} as the paper, or print the sheet "
                                f"on {paper.label}.")
    found = placed(rings, {station.number - 1: station.point for station in stations(paper)}, shape)
    return found or SightProblem("other-sheet", f"The stations don't lie as on a test sheet on {paper.label}.",
                                 "Have one flat sheet in the picture, and name the paper that it was made for.")


def measured(grey: NDArray[np.uint8], points: dict[int, Point], lens: Lens, rings: Collection[int],
             again: bool = True) -> Front | None:
    """Every dot of the rings, given by their place in ``WORDS``, measured, and of those of ``points`` that were
    overlooked; None where none is there. Where some were, others are looked for ``again``."""
    ring = np.array(ring_points())
    # Where the others lie is known now: a ring that was overlooked is measured all the same, if it is there.
    places = [place for place in points if _in_view(lens, points[place], grey.shape)]
    centres = np.array([points[place] for place in places])
    sheet = (centres[:, None] + ring[None]).reshape(-1, 2)
    large = np.array([[is_large(WORDS[place], dot) for dot in range(len(ring))] for place in places])
    radii = np.where(large, LARGE_MM, SMALL_MM).ravel()
    scale = lens.px_per_mm(centres)
    first = fit_discs(grey, lens.to_picture, sheet, radii, _WINDOW_MM, scale, 5, 7)
    known = np.array([place in rings for place in places])
    good = np.repeat(known, len(ring))
    good &= (first.sigma < 0.08) & (first.darkness > 0.04)
    if good.sum() >= _LEAST_CLEAR:  # once more through the lens that the measured dots tell
        lens, _ = fit_lens(sheet[good], lens.to_picture(first.middle[good]), len(rings), (grey.shape[1], grey.shape[0]))
    behind, contrast = search(grey, lens, centres, first, len(ring))
    reach = np.where(contrast > 0.03, DISC_MM + CLEAR_MM, 0.0)
    dots = fit_discs(grey, lens.to_picture, sheet, radii, _WINDOW_MM, scale, 5, 10,
                     hidden=near(np.repeat(behind, len(ring), 0)[:, None], np.repeat(reach, len(ring))[:, None]))
    held = _rings_there(dots, sheet, large, known)
    rows = np.repeat(held, len(ring))
    if again and known.sum() < held.sum() < len(held):
        size = grey.shape[1], grey.shape[0]
        lens, _ = fit_lens(sheet[rows], lens.to_picture(dots.middle[rows]), int(held.sum()), size)
        return measured(grey, points, lens, [place for place, one in zip(places, held, strict=True) if one], False)
    places = [place for place, is_there in zip(places, held, strict=True) if is_there]
    dots, sheet, centres = dots.rows(rows), sheet[rows], centres[held]
    if not places:
        return None
    found, spreads, sureness = _frames(dots, sheet, centres, len(ring))
    typical = float(np.median(spreads))
    sigmas = tuple(max(spread, 0.7 * typical) * share for spread, share in zip(spreads, sureness, strict=True))
    blanks = tuple(Sight(place + 1, point, why="" if place in places else _unseen(lens, point, grey.shape))
                   for place, point in sorted(points.items()))
    return Front(lens, points, tuple(places), tuple(found), sigmas, dots, scale, blanks)


def _rings_there(dots: Discs, sheet: Array, large: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which stations' dots are where and as large as their word says; a few of them may be hidden."""
    shape = large.shape
    typical = np.median(dots.darkness)
    clear = (dots.sigma < 0.1) & (dots.darkness > 0.3 * typical) & (np.linalg.norm(dots.middle - sheet, axis=1) < 0.45)
    # What blur takes from a dot's darkness comes back in its size: of both together the large ones have twice as much.
    clear, ink = clear.reshape(shape), (dots.darkness * dots.radius**2).reshape(shape)
    bigger = np.array([np.median(one[sure & big]) / np.median(one[sure & ~big])
                       if (sure & big).sum() > 2 < (sure & ~big).sum() else 0.0
                       for one, sure, big in zip(ink, clear, large, strict=True)])
    there: NDArray[np.bool_] = (clear.sum(axis=1) >= _LEAST_CLEAR) & (known | (bigger > _LEAST_LARGER))
    return there


def _frames(dots: Discs, sheet: Array, centres: Array, count: int) -> tuple[list[Array], list[float], list[float]]:
    """Per station: its affine frame, the spread of a dot, and what that makes of the middle's uncertainty."""
    frames, spreads, sureness = [], [], []
    for at in range(len(centres)):
        rows = slice(at * count, (at + 1) * count)
        frame, held, spread = local_frame(dots.middle[rows] - centres[at], sheet[rows] - centres[at])
        given = np.column_stack([sheet[rows][held] - centres[at], np.ones(held.sum())])
        frames.append(frame)
        spreads.append(spread)
        sureness.append(float(np.sqrt(np.linalg.inv(given.T @ given)[2, 2])))
    return frames, spreads, sureness


def _whole(backs: Sequence[Back], flip: Flip) -> SightProblem | None:
    """What is wrong with the whole print, seen at its back marks."""
    if not any(back.seen for back in backs):
        return SightProblem(
            "one-side", "Only the front is to be seen: no station shows a mark of the back within 4 mm.",
            "Print the back too and hold the sheet before a brighter light; thinner paper lets more through. A back "
            "that is off by more than 4 mm is read by the small rulers.")
    made, right = flip_seen(backs)
    if made is None:
        return None
    words = made.replace("-", " ")
    if not right:
        other = "short edge" if made == "long-edge" else "long edge"
        return SightProblem("wrong-flip", f"The back is upside down: the sheet is made for the {words} and was flipped "
                            f"on the {other}.", f"Choose the {words} in the print dialog and print it again.")
    if made != flip:
        return SightProblem("other-flip", f"This sheet is made for a flip on the {words}, not on the "
                            f"{flip.replace('-', ' ')}.", f"Choose the {words} as the flip.")
    return None


def _sight(number: int, point: tuple[float, float], frame: Array, back: Back, front_sigma: float, dots: Discs,
           scale: float, most_sigma: float) -> Sight:
    if not back.seen:
        return Sight(number, point, why=_faint(dots, scale, "the back's mark"))
    dx, dy = frame @ np.array([back.middle[0] - point[0], back.middle[1] - point[1], 1.0])
    sigma = float(np.sqrt((_FIT_TRUST * back.sigma) ** 2 + front_sigma**2 + _FLOOR_MM**2))
    if sigma > most_sigma:
        return Sight(number, point, why=_faint(dots, scale, "the mark"))
    return Sight(number, point, float(dx), float(dy), sigma)


def _faint(dots: Discs, scale: float, what: str) -> str:
    """What would help most where something isn't clear enough."""
    if float(np.median(dots.light)) > 251:
        return f"Too bright to tell {what}: the white is burnt out. Tap on it in the camera, or take some light off."
    if float(np.median(dots.light)) < 40:
        return f"Too dark to tell {what}: more light behind the sheet."
    if float(np.median(dots.darkness)) < 0.3:
        return f"Too pale to tell {what}: darken the room, so that light comes from behind only."
    if float(np.median(dots.edge)) * scale > 2.0:
        return f"Too blurred to tell {what}: hold still, and let the camera focus on the dots."
    if scale < 3.0:
        return f"Too small to tell {what}: go closer, or take two pictures of half the sheet each."
    return f"Not clear enough to tell {what}: more light behind the sheet, or thinner paper."


def _in_view(lens: Lens, point: tuple[float, float], shape: tuple[int, ...]) -> bool:
    edge = lens.to_picture(np.array(ring_points()) * 1.2 + point)
    return bool((edge >= 0).all() and (edge <= np.array([shape[1], shape[0]])).all())


def _unseen(lens: Lens, point: tuple[float, float], shape: tuple[int, ...]) -> str:
    if not _in_view(lens, point, shape):
        return "Outside the picture: go back a little, or turn the phone."
    return "Its ring of dots isn't seen: move what lies over it, or give it more light and hold straighter."
