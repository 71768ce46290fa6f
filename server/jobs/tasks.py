"""The tasks that worker processes run. What decodes art is imported inside them, in the worker and only there."""

from __future__ import annotations

import io
import json
import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.core.art import Art, Deck
from server.core.back_designs import BackDesign
from server.core.bleed import ArtFit
from server.core.camera_marks import DeckSheet
from server.core.edge_bleed import ArtEdges
from server.core.leeway import BackProfile
from server.core.lettering import VersionMark
from server.core.plan import Flip
from server.core.registration.printer import Printer
from server.core.settings import DeckSettings
from server.core.sizes import CardSize, Paper
from server.errors import TooMuch, Unreadable
from server.formats.limits import ArtLimits
from server.jobs.worker import Report
from server.store.art_records import ArtRecord

if TYPE_CHECKING:
    from server.prepress import ChangeSheet, Part, Prepared
    from server.prepress.record import Picture

THUMB_PX = 512
# Pages beyond these are read and drawn when they are first looked at: rendering a page takes some 10 ms.
_EAGER_PAGES = 24


@dataclass(frozen=True, slots=True)
class ReadOrder:
    """What to read: the blob's path, its label for messages, its key, where thumbnails go, and the limits."""

    path: Path
    label: str
    key: str
    thumbs: Path
    limits: ArtLimits


def thumb_path(thumbs: Path, key: str, longest_px: int) -> Path:
    """Where the thumbnail of an art key (``<blob>`` or ``<blob>#<page>``) is kept."""
    blob, _, page = key.partition("#")
    return thumbs / blob[:2] / f"{blob}-{page or 0}-{longest_px}.webp"


def read_file(report: Report, order: ReadOrder) -> ArtRecord:
    """Read, check and shrink one file. Broken art gives a record with its problem.

    Raises TooMuch where it is over one of the host's limits: such a file isn't kept at all.
    """
    from server.formats.limits import problem_from
    from server.formats.pixels import survey
    from server.formats.reader import read_art

    try:
        arts = read_art(order.path, order.label, order.key, order.limits)
        first, rest = arts[:_EAGER_PAGES], arts[_EAGER_PAGES:]
        coloured = []
        for art, (seen, small) in zip(first, survey(order.path, first, THUMB_PX, order.limits), strict=True):
            coloured.append(replace(art, edge_rgb=seen.rgb, edges=seen))
            _keep_thumb(order.thumbs, art, THUMB_PX, small)
    except TooMuch:
        raise
    except Unreadable as error:
        return ArtRecord((), problem_from(error, order.label))
    return ArtRecord(tuple(replace(art, file="") for art in (*coloured, *rest)))


def measure_colours(report: Report, arts: tuple[tuple[Path, Art], ...]) -> dict[str, ArtEdges]:
    """The edges of each art by its key. One that can't be decoded is left out: a build names it."""
    from server.prepress.prepare import edge_colours

    paths = {art.key: path for path, art in arts}
    return edge_colours([art for _, art in arts], lambda art: paths[art.key])[0]


def measure_inks(report: Report, fronts: tuple[tuple[Path, Art, ArtFit], ...], mark: VersionMark,
                 pale: bool) -> dict[str, tuple[int, int, int]]:
    """The ink of the version mark on each front by its key. One that can't be decoded is left out: a build names it."""
    from server.prepress.inks import mark_inks

    paths = {art.key: path for path, art, _ in fronts}
    return mark_inks([(art, fit) for _, art, fit in fronts], lambda art: paths[art.key], mark, pale=pale)[0]


def make_thumb(report: Report, path: Path, art: Art, longest_px: int, thumbs: Path) -> Path:
    """A WebP of the art, upright, ``longest_px`` on its longer side. Returns where it was put. Raises Unreadable."""
    from server.formats.pixels import thumbnail

    return _keep_thumb(thumbs, art, longest_px, thumbnail(path, art, longest_px))


def _keep_thumb(thumbs: Path, art: Art, longest_px: int, picture: bytes) -> Path:
    target = thumb_path(thumbs, art.key, longest_px)
    target.parent.mkdir(parents=True, exist_ok=True)
    write_whole(target, picture)
    return target


def measure_profiles(report: Report, backs: tuple[tuple[Path, Art, ArtFit], ...],
                     card: CardSize) -> dict[str, BackProfile]:
    """The profile of each back by its art's key. One that can't be decoded is left out: it is named elsewhere."""
    from server.intake.border import measure_backs

    paths = {art.key: path for path, art, _ in backs}
    found = measure_backs([(art, fit) for _, art, fit in backs], lambda art: paths[art.key], card)
    return {key: profile for key, profile in found.items() if not isinstance(profile, Unreadable)}


def draw_design(report: Report, design: BackDesign, card: CardSize, bleed_mm: float) -> bytes:
    """A made back as a PDF of one page. Raises BadValue for a choice that can't be drawn."""
    from server.prepress.backs import design_pdf

    return design_pdf(design, card, bleed_mm)


def profile_design(report: Report, design: BackDesign, card: CardSize, bleed_mm: float) -> BackProfile:
    """The profile of a made back as it will be printed."""
    from server.prepress.backs import measure_design

    return measure_design(design, card, bleed_mm)


@dataclass(frozen=True, slots=True)
class SinceOrder:
    """The version that is built already: its deck and settings, what it is called, and those pictures of both that
    have been looked at, by art key."""

    deck: Deck
    settings: DeckSettings
    version: str
    known: Mapping[str, Picture] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BuildOrder:
    """What to build: ``sources`` maps blob keys to files; ``pdf``, ``plan`` and ``info`` are where results go. With
    ``since`` only what brings a built deck from that version to this one."""

    deck: Deck
    settings: DeckSettings
    printer: Printer | None
    limits: ArtLimits
    sources: Mapping[str, Path]
    pdf: Path
    plan: Path
    info: Path
    since: SinceOrder | None = None
    part: Part = "sheets"


def build(report: Report, order: BuildOrder) -> dict[str, Any]:
    """Prepare the deck and write its PDF and its plan. Returns the numbers that the Output page shows.

    ``left_out`` names the art that turned out broken only now. Where nothing has changed since the version that is
    built already, nothing is written.
    """
    from server import prepress

    def source(art: Art) -> Path:
        return order.sources[art.key.partition("#")[0]]

    sheet, changes, says = None, dict[str, Any](), "Drawing the sheets"
    if order.since:
        report(0, 0, "Comparing the pictures")
        sheet, prepared, changes = _changes(report, order, order.since, source)
        if not sheet.has_pages:
            return {**prepress.summarise(prepared), **changes, "pages": 0, "bytes": 0}
        plan = prepared.planned.plan
        says = f"Drawing {prepress.printed_says(len(plan.order), order.deck.count, plan.sheet_count)}"
    else:
        prepared = prepress.prepare(order.deck, order.settings, source, order.printer, order.limits)
    built = prepress.build(prepared, order.pdf, lambda done, total: report(done, total, says),
                           part=order.part, since=sheet)
    write_whole(order.plan, json.dumps(prepress.plan_file(built), ensure_ascii=False).encode("utf-8"))
    left_out = [asdict(one) for one in built.deck.problems if one not in order.deck.problems]
    ink = prepress.ink_figures(built, order.pdf)
    info = {**prepress.summarise(built), **ink, **changes, "bytes": order.pdf.stat().st_size, "left_out": left_out}
    write_whole(order.info, json.dumps(info, ensure_ascii=False).encode("utf-8"))
    return info


def _changes(report: Report, order: BuildOrder, since: SinceOrder,
             source: Callable[[Art], Path]) -> tuple[ChangeSheet, Prepared, dict[str, Any]]:
    """What changed, the cards to print laid out, and what the page shows of it."""
    from server import prepress

    known = dict(since.known)
    arts = {art.key: art for deck in (since.deck, order.deck) for card in deck.cards
            for art in (card.front, card.back) if art and art.key not in known}
    for number, art in enumerate(arts.values()):
        report(number, len(arts), f"Compared {number} of {len(arts)} pictures")
        with suppress(Unreadable):  # what is broken is left out, as in any build
            known[art.key] = prepress.picture_of(source(art), art)
    was, deck = (prepress.readable_deck(one, source, known) for one in (since.deck, order.deck))
    old = replace(prepress.make_record(was, since.settings, source, known), version=since.version)
    sheet, prepared = prepress.prepare_since(deck, order.settings, source, old, order.printer, order.limits, known)
    shown = prepress.shown_changes(was, sheet.old, deck, sheet.new)
    return sheet, prepared, {"pages": prepress.changes_to_json(sheet, prepared)["pages"],
                             "changes": {"since": since.version, **shown}}


def draw_gauge_sheet_pdf(report: Report, paper: Paper, flip: Flip, printer: Printer | None) -> bytes:
    """The test sheet, corrected for ``printer`` where one is given. Raises BadValue where the paper is too small."""
    from server.drawing.gauge_sheet import gauge_sheet_pdf

    out = io.BytesIO()
    gauge_sheet_pdf(out, paper, flip, printer)
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class NudgeOrder:
    """What to move: the PDF and what errors call it, the printer, which pages; ``pdf`` and ``info`` are where results
    go."""

    source: Path
    label: str
    printer: Printer
    backs: str
    pdf: Path
    info: Path


def nudge(report: Report, order: NudgeOrder) -> dict[str, Any]:
    """Write the moved PDF. Returns which pages were moved and what to look at.

    Raises BadValue for pages that aren't there, Unreadable for what is no PDF that can be changed.
    """
    from server.drawing.nudge import nudge_named, nudged_to_json

    done = nudge_named(order.source, order.pdf, order.printer, order.backs, order.label)
    info = {**nudged_to_json(done), "bytes": order.pdf.stat().st_size}
    write_whole(order.info, json.dumps(info, ensure_ascii=False).encode("utf-8"))
    return info


def write_whole(path: Path, content: bytes) -> None:
    """All of it or nothing: a reader never sees half a file."""
    unfinished = path.with_name(f"{path.name}.{os.getpid()}.part")
    unfinished.write_bytes(content)
    unfinished.replace(path)


@dataclass(frozen=True, slots=True)
class PhotoOrder:
    """A picture to read: the file and what errors call it, the sheet's paper and flip, the limits, and of which deck it
    is, if not a test sheet."""

    path: Path
    label: str
    paper: Paper
    flip: Flip
    limits: ArtLimits
    deck: DeckSheet | None = None


def read_photo(report: Report, order: PhotoOrder) -> list[tuple[dict[str, Any], tuple[bytes, ...]]]:
    """(the sheet's values, its pictures as JPEG with what was found drawn on them), one of each for a photograph.

    Raises BadValue or NotArt for what is no picture, and BadValue where nothing is installed that reads one.
    """
    from server.core.sighting import sheets_json
    from server.photo.reading import read_photos

    sheets = read_photos([(order.path, order.label)], order.paper, order.flip, order.limits, draw=".jpg",
                         deck=order.deck)
    values = sheets_json(sheet.sight for sheet in sheets)["sheets"]
    return [(value, sheet.drawn) for value, sheet in zip(values, sheets, strict=True)]
