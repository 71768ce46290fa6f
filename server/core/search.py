"""One search for all build methods: every arrangement, turn of the card, zone and grid; the best plan first.

Ranked by sheets of paper, then cuts, then waste; where those tie, the plainer reading wins: portrait, card upright,
more outer bleed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from server.core.corner_marks import Kind, best_with_marks
from server.core.cuts import cut_count
from server.core.geometry import Edges, Rect, ThroughFront
from server.core.methods import Frame, Pair, Zone, method_named
from server.core.methods.protocol import EdgeName, printable
from server.core.plan import Arrangement, Layout, Line, PlanRequest, Slot
from server.core.units import mm_text
from server.errors import DoesNotFit

# An outer edge keeps at least this much bleed, or what was asked for if that is less (common practice: half of what
# a home printer drifts is better than none).
LEAST_OUTER_BLEED_MM = 1.0
# A sheet holds no more cards than this, whatever its size: nobody cuts more, and a plan's work grows with them.
MOST_SLOTS = 400
_SLACK_MM = 1e-6
# Clockwise from the left, as the edges of a card follow each other when it is turned on the page.
_EDGES: tuple[EdgeName, ...] = ("left", "top", "right", "bottom")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A layout with its numbers for one deck: pieces of paper, cuts in all, percent of the paper that is cut away."""

    layout: Layout
    papers: int
    cuts: int
    waste_percent: float

    @property
    def cards_per_sheet(self) -> int:
        return len(self.layout.slots)

    @property
    def rank(self) -> tuple[float, ...]:
        plan = self.layout
        bleed = plan.outer_bleed
        return (self.papers, self.cuts, round(self.waste_percent, 6), plan.arrangement == "landscape",
                plan.card_turned, -(bleed.left + bleed.top + bleed.right + bleed.bottom))


def search(request: PlanRequest, cards: int) -> tuple[Candidate, ...]:
    """Every plan worth showing for ``cards`` cards, best first; one per arrangement, turn and hinge side.

    The request's lengths are those that ``DeckSettings`` and a printer's file let through. Raises DoesNotFit, saying by
    how many mm, if there is none.
    """
    best = (best_with_marks(request, lambda asked: _best(asked, cards)) if request.registration
            else _best(request, cards))
    ranked = sorted(best.values(), key=lambda candidate: candidate.rank)
    distinct = {(frozenset(found.layout.slots), found.layout.creases, found.layout.hinge): found
                for found in reversed(ranked)}  # the better reading of the same sheet comes last and stays
    return tuple(sorted(distinct.values(), key=lambda candidate: candidate.rank))


def _best(request: PlanRequest, cards: int) -> dict[Kind, Candidate]:
    best: dict[Kind, Candidate] = {}
    nearest: list[tuple[float, float]] = []
    for frame, turned in _ways(request):
        for zone in method_named(request.method).zones(request, frame):
            grids = _grids(request, turned, zone, nearest)
            if not grids:
                continue
            counts = {grid: _grid_counts(request, grid, max(cards, 1)) for grid in grids}
            fewest = min(counts.values())
            columns, rows = min((grid for grid in grids if counts[grid] == fewest),
                                key=lambda grid: _grid_rank(request, turned, zone, grid))
            candidate = _measure(_layout(request, frame, turned, zone, columns, rows), max(cards, 1))
            key = (frame.arrangement, turned, candidate.layout.hinge_side)
            if key not in best or candidate.rank < best[key].rank:
                best[key] = candidate
    if not best:
        raise _does_not_fit(request, nearest)
    return best


def _ways(request: PlanRequest) -> Iterator[tuple[Frame, bool]]:
    arrangements: Sequence[Arrangement] = (
        (request.arrangement,) if request.arrangement else ("portrait", "landscape"))
    square = abs(request.card.width_mm - request.card.height_mm) < _SLACK_MM
    turns = (request.card_turned,) if request.card_turned is not None else (False,) if square else (False, True)
    for arrangement in arrangements:
        for turned in turns:
            yield Frame(request.paper, arrangement), turned


def _cell(request: PlanRequest, turned: bool) -> tuple[float, float]:
    card = request.card
    return (card.height_mm, card.width_mm) if turned else (card.width_mm, card.height_mm)


def _unit(request: PlanRequest, turned: bool, zone: Zone) -> tuple[float, float]:
    """Width and height of what is laid out and cut: a card, or a pair of front and back."""
    width, height = _cell(request, turned)
    if zone.pair is None:
        return width, height
    gap = zone.pair.folds_mm[-1]
    return (width, 2 * height + gap) if _stacked(zone.pair, turned) else (2 * width + gap, height)


def _stacked(pair: Pair, turned: bool) -> bool:
    """True where a pair's back lies above or below its front, as the arrangement is read."""
    return (pair.beside == "head") != turned


def _edge_needs(request: PlanRequest, zone: Zone, bleed_mm: float) -> Edges:
    """What must stay free outside the trim on each edge of the block: its bleed, or more where a crease wants it."""
    def need(edge: str, clearance_mm: float) -> float:
        return max(0.0 if zone.no_bleed == edge else bleed_mm, clearance_mm)
    clear = zone.clearance
    return Edges(need("left", clear.left), need("top", clear.top),
                 need("right", clear.right), need("bottom", clear.bottom))


def _fit(room: float, cell: float, gutter: float, needs: float) -> int:
    return max(0, math.floor((room - needs + gutter + _SLACK_MM) / (cell + gutter)))


def _grids(request: PlanRequest, turned: bool, zone: Zone,
           nearest: list[tuple[float, float]]) -> list[tuple[int, int]]:
    """Every number of columns and rows that the zone takes; what is lacking goes to ``nearest`` if there is none."""
    width, height = _unit(request, turned, zone)
    least = _edge_needs(request, zone, min(request.bleed_mm, LEAST_OUTER_BLEED_MM))
    columns = _fit(zone.room.width, width, request.gutter_mm, least.left + least.right)
    rows = _fit(zone.room.height, height, request.gutter_mm, least.top + least.bottom)
    if columns < 1 or rows < 1:
        nearest.append((width + least.left + least.right - zone.room.width,
                        height + least.top + least.bottom - zone.room.height))
    return [(across, down) for across in range(1, min(columns, MOST_SLOTS) + 1)
            for down in range(1, min(rows, MOST_SLOTS // across) + 1)]


def _grid_counts(request: PlanRequest, grid: tuple[int, int], cards: int) -> tuple[int, int]:
    """The sheets and cuts of a grid, without laying it out."""
    columns, rows = grid
    full, rest = divmod(cards, columns * rows)
    between = 1 if request.gutter_mm <= _SLACK_MM else 2

    def cuts(count: int) -> int:  # as core.cut_order has it: the waste round the block, then card from card
        return 4 + between * (count - 1) + (count > columns and count % columns > 0)

    return full + bool(rest), full * cuts(columns * rows) + (cuts(rest) if rest else 0)


def _grid_rank(request: PlanRequest, turned: bool, zone: Zone, grid: tuple[int, int]) -> tuple[float, int]:
    """Among grids of as few sheets and cuts: more outer bleed, then more room."""
    columns, rows = grid
    needs = _needs(request, turned, zone, columns, rows)[0]
    return -(needs.left + needs.top + needs.right + needs.bottom), -columns * rows


def _needs(request: PlanRequest, turned: bool, zone: Zone, columns: int, rows: int) -> tuple[Edges, float, float]:
    """What the block keeps free around it, and the block's own width and height."""
    width, height = _unit(request, turned, zone)
    block_width = columns * width + (columns - 1) * request.gutter_mm
    block_height = rows * height + (rows - 1) * request.gutter_mm
    full = _edge_needs(request, zone, request.bleed_mm)
    least = _edge_needs(request, zone, min(request.bleed_mm, LEAST_OUTER_BLEED_MM))
    left, right = _spread(zone.room.width, block_width, (full.left, full.right), (least.left, least.right))
    top, bottom = _spread(zone.room.height, block_height, (full.top, full.bottom), (least.top, least.bottom))
    return Edges(left, top, right, bottom), block_width, block_height


def _spread(room: float, block: float, full: tuple[float, float], least: tuple[float, float]) -> tuple[float, float]:
    """The needs of two opposite edges, brought down evenly from ``full`` towards ``least`` until the block fits."""
    excess = block + sum(full) - room
    if excess <= 0:
        return full
    first = full[0] - min(full[0] - least[0], max(excess / 2, excess - (full[1] - least[1])))
    return first, full[1] - max(0.0, excess - (full[0] - first))


def _layout(request: PlanRequest, frame: Frame, turned: bool, zone: Zone, columns: int, rows: int) -> Layout:
    width, height = _unit(request, turned, zone)
    gutter, room = request.gutter_mm, zone.room
    needs, block_width, block_height = _needs(request, turned, zone, columns, rows)
    left, top, right, bottom = needs.left, needs.top, needs.right, needs.bottom
    x = _place(room.x, room.right, block_width, left, right, zone.snug, ("left", "right"), frame.size.width / 2)
    y = _place(room.y, room.bottom, block_height, top, bottom, zone.snug, ("top", "bottom"), frame.size.height / 2)
    outer = Edges(*(0.0 if zone.no_bleed == edge else min(request.bleed_mm, getattr(needs, edge))
                    for edge in ("left", "top", "right", "bottom")))
    slot = _pair_slot if zone.pair else _slot
    slots = tuple(
        slot(request, frame, zone, turned,
             Rect(x + column * (width + gutter), y + row * (height + gutter), width, height),
             _slot_bleed(request, outer, column, row, columns, rows))
        for row in range(rows) for column in range(columns)
    )
    method = method_named(request.method)
    return Layout(
        method=method.name, faces=method.faces, flip=request.flip if "flip" in method.honours else None,
        paper=request.paper, card=request.card, arrangement=frame.arrangement, card_turned=turned, columns=columns,
        rows=rows, gutter_mm=gutter, bleed_mm=request.bleed_mm, outer_bleed=frame.edges(outer), slots=slots,
        through=frame.through(zone.through) if zone.through else None,
        printable=printable(replace(request, headroom_mm=0.0)), papers_per_sheet=method.papers_per_sheet,
        headroom_mm=request.headroom_mm, in_pairs=zone.pair is not None,
        creases=(tuple(fold for one in slots for fold in one.folds) if zone.pair
                 else tuple(frame.line(line) for line in zone.creases)),
        hinge=frame.rect(zone.hinge) if zone.hinge else None, hinge_side=zone.hinge_side,
    )


def _place(low: float, high: float, block: float, before: float, after: float, snug: str | None,
           names: tuple[str, str], middle: float) -> float:
    """Where the block starts: pushed against the snug edge, otherwise as near the sheet's middle as room allows."""
    first, last = low + before, high - after - block
    if snug == names[0]:
        return first
    if snug == names[1]:
        return last
    return min(max(middle - block / 2, first), max(first, last))


def _slot_bleed(request: PlanRequest, outer: Edges, column: int, row: int, columns: int, rows: int) -> Edges:
    """Bleed never runs into a neighbour: inside the block each card has half of the gutter at most."""
    inner = min(request.bleed_mm, request.gutter_mm / 2)
    return Edges(outer.left if column == 0 else inner, outer.top if row == 0 else inner,
                 outer.right if column == columns - 1 else inner, outer.bottom if row == rows - 1 else inner)


def _rotation(frame: Frame, turned: bool) -> int:
    """A front's turn as the arrangement is read. Turned cards in a landscape arrangement turn the other way, so that
    they stand upright on the page."""
    return 0 if not turned else 90 if frame.arrangement == "portrait" else 270


def _slot(request: PlanRequest, frame: Frame, zone: Zone, turned: bool, rect: Rect, bleed: Edges) -> Slot:
    front, front_bleed = frame.rect(rect), frame.edges(bleed)
    rotation = frame.rotation(_rotation(frame, turned))
    if zone.through is None:
        return Slot(front, rotation, front_bleed)
    through = frame.through(zone.through)
    folds = [frame.line(line) for line in (zone.creases if zone.folds is None else zone.folds)]
    x, y = front.centre
    folds.sort(key=lambda line: abs(line.at_mm - (x if line.axis == "vertical" else y)))
    return Slot(front, rotation, front_bleed, through, through.edges(front_bleed), tuple(folds))


def _pair_slot(request: PlanRequest, frame: Frame, zone: Zone, turned: bool, unit: Rect, bleed: Edges) -> Slot:
    """A front and its back within ``unit``. On the spine each may bleed up to the middle, beyond it lies the other."""
    assert zone.pair
    width, height = _cell(request, turned)
    gap = zone.pair.folds_mm[-1]
    # Where the front's own up (or right) points, as the arrangement is read: a clockwise turn of (0, -1) or (1, 0).
    edge = _EDGES[(_EDGES.index("top" if zone.pair.beside == "head" else "right")
                   + _rotation(frame, turned) // 90) % 4]
    far = edge in ("right", "bottom")  # the back lies to the right of its front, or below it
    front = Rect(unit.x if far else unit.right - width, unit.y if far else unit.bottom - height, width, height)
    inner = min(request.bleed_mm, gap / 2)
    facing = _EDGES[(_EDGES.index(edge) + 2) % 4]
    start = {"left": front.x, "right": front.right, "top": front.y, "bottom": front.bottom}[edge]
    at = [start + (fold if far else -fold) for fold in zone.pair.folds_mm]
    upright = edge in ("left", "right")
    through = ThroughFront("vertical" if upright else "horizontal", start + (gap if far else -gap) / 2)
    folds = tuple(Line((one, unit.y), (one, unit.bottom)) if upright else Line((unit.x, one), (unit.right, one))
                  for one in at)
    return Slot(frame.rect(front), frame.rotation(_rotation(frame, turned)),
                frame.edges(replace(bleed, **{edge: inner})), frame.through(through),
                frame.edges(replace(bleed, **{facing: inner})), tuple(frame.line(line) for line in folds))


def _measure(layout: Layout, cards: int) -> Candidate:
    per_sheet = len(layout.slots)
    full, rest = divmod(cards, per_sheet)
    sheets = full + (1 if rest else 0)
    cuts = full * cut_count(layout) + (cut_count(layout, rest) if rest else 0)
    card_area = layout.card.width_mm * layout.card.height_mm * method_named(layout.method).papers_per_card
    papers = sheets * layout.papers_per_sheet
    paper_area = papers * layout.paper.width_mm * layout.paper.height_mm
    return Candidate(layout, papers, cuts, 100.0 * (1.0 - cards * card_area / paper_area))


def _does_not_fit(request: PlanRequest, nearest: Iterable[tuple[float, float]]) -> DoesNotFit:
    across, down = min(nearest, key=lambda lack: max(lack[0], 0) + max(lack[1], 0), default=(0.0, 0.0))
    lacks = [f"{mm_text(lack, 1)} mm too {what}" for lack, what in ((across, "wide"), (down, "tall")) if lack > 0]
    card, paper = request.card, request.paper
    much = " and ".join(lacks) or "too large"
    return DoesNotFit(
        f"card: {mm_text(card.width_mm)} × {mm_text(card.height_mm)} mm is {much} for {paper.label} once "
        f"margins, bleed and what {method_named(request.method).label.lower()} needs are added, even turned.",
        "Choose larger paper, a smaller card, less bleed or another build method.",
    )
