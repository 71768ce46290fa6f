"""A release: one ZIP with every deck by every chosen method, paper and ink, their guides, an index and a manifest.

The same input gives the same bytes: members stand in a fixed order with a fixed date, and hold nothing of the machine.
PDFs are written straight into it, so a pack takes the memory of one build. Each begins with all its art, which is read,
made ready and summed once for all of them; another PDF with the same art takes it from the pack.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from server import __version__
from server.core.art import Art, Deck
from server.core.settings import DeckSettings
from server.errors import BadValue, DoesNotFit, Unreadable
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.prepress.build import begin_into, build_into, without_broken
from server.prepress.pack import Beginning, Member, Pack
from server.prepress.prepare import Prepared, prepare
from server.store.names import file_stem, version_stem

if TYPE_CHECKING:  # what draws is loaded once colours are measured, which takes the most memory
    from server.drawing.pdf_images import Begun
    from server.drawing.release_index import Contents, Sheets
    from server.prepress.small_pictures import SmallPictures

FORMAT, VERSION = "lampfold-release", 1
INDEX = "index.pdf"
InkName = Literal["full", "pale"]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class DeckToPack:
    """A deck of the release, its settings, and where its art lies."""

    deck: Deck
    settings: DeckSettings
    source: Callable[[Art], Path]


@dataclass(frozen=True)
class ReleaseOrder:
    """What to pack: every deck by every one of ``methods``, ``papers`` and ``inks``, and ``extras`` as (name, file)."""

    decks: tuple[DeckToPack, ...]
    version: str
    methods: tuple[str, ...]
    papers: tuple[str, ...]
    inks: tuple[InkName, ...]
    extras: tuple[tuple[str, Path], ...] = ()
    limits: ArtLimits = field(default=DEFAULT_LIMITS)


@dataclass(frozen=True, slots=True)
class Released:
    """What was packed, in the pack's order, and what wasn't, in words: ways that don't fit, art that is broken."""

    members: tuple[Member, ...]
    left_out: tuple[str, ...]


def release(order: ReleaseOrder, out: Path, progress: Progress = lambda done, total: None,
            cancelled: Callable[[], bool] = lambda: False) -> Released:
    """Write the pack. ``progress`` is told (PDFs done, PDFs in all).

    A file that stood at ``out`` stays until the new one is whole. Raises BadValue where nothing fits or two files would
    have one name, Unreadable, TooMuch, Stopped, or OSError where the disk refuses.
    """
    from server.prepress.small_pictures import SmallPictures

    under_way = out.with_name(f".{out.name}.{os.urandom(4).hex()}.part")
    try:
        with (under_way.open("xb", buffering=0) as stream,
              SmallPictures(under_way.with_suffix(".small"), order.limits) as small):
            pack = Pack(stream, under_way)
            told = _fill(pack, order, progress, cancelled, small)
        under_way.replace(out)
        return Released(tuple(pack.members), told)
    finally:
        under_way.unlink(missing_ok=True)


def _stems(names: Iterable[str]) -> tuple[str, ...]:
    """Every deck's name as its folder's, those that would share one numbered; names that differ by case alone do."""
    stems: list[str] = []
    for stem in map(file_stem, names):
        tries = (f"{stem}-{number}" if number > 1 else stem for number in count(1))
        taken = {one.lower() for one in stems}
        stems.append(next(one for one in tries if one.lower() not in taken))
    return tuple(stems)


def _fill(pack: Pack, order: ReleaseOrder, progress: Progress, cancelled: Callable[[], bool],
          small: SmallPictures) -> tuple[str, ...]:
    total, done = len(order.decks) * len(order.methods) * len(order.papers) * len(order.inks), count()
    contents: list[Contents] = []
    broken: list[str] = []
    first: Prepared | None = None
    stems = _stems(one.deck.name for one in order.decks)
    for number, (one, stem) in enumerate(zip(order.decks, stems, strict=True)):
        packed, built = _pack_deck(pack, number, one, stem, order, lambda: progress(next(done), total), cancelled,
                                   small)
        contents.append(packed)
        broken += [f"{one.deck.name}: {problem.file}: {problem.message}"
                   for problem in (built.deck if built else one.deck).problems if problem.severity == "error"]
        first = first or built
    told = tuple(f"{one.name}: {said}" for one in contents for said in one.left_out)
    if first is None:
        raise BadValue(f"release: nothing fits. {told[0] if told else ''}".rstrip(),
                       "Choose larger papers or other methods.")
    from server.drawing.deck_pdf import stream_pdf
    from server.drawing.release_index import draw_index

    names = " and ".join(dict.fromkeys(one.deck.name for one in order.decks))
    draw = partial(draw_index, page=first.planned.plan.layout.page, title=f"{names} {order.version}", decks=contents,
                   extras=[f"extras/{name}" for name, _ in order.extras])
    with pack.writing(INDEX, "index") as inside:
        stream_pdf((draw,), first.planned, small.source, inside.stream)
    for name, path in order.extras:
        pack.add(f"extras/{name}", path, "extra")
    pack.seal({"format": FORMAT, "version": VERSION, "lampfold": __version__, "release": order.version,
               "decks": [one.deck.name for one in order.decks]})
    progress(total, total)
    return (*told, *broken)


def variant_of(settings: DeckSettings, version: str, method: str, paper: str, ink: InkName) -> DeckSettings:
    """The settings of one choice of a release: for any printer, by the plan that is best."""
    return replace(settings, method=method, paper=paper, ink=ink, version=version, arrangement="", card_turned="",
                   printer="")


def _variants(one: DeckToPack, order: ReleaseOrder) -> Iterator[DeckSettings]:
    for method in order.methods:
        for paper in order.papers:
            for ink in order.inks:
                yield variant_of(one.settings, order.version, method, paper, ink)


@dataclass(slots=True)
class _Art:
    """All art of a PDF, by its keys, as it stands in the pack: what the next PDF with the same begins with."""

    keys: tuple[str, ...]
    begun: Begun
    beginning: Beginning


def _pack_deck(pack: Pack, number: int, one: DeckToPack, stem: str, order: ReleaseOrder, begins: Callable[[], None],
               cancelled: Callable[[], bool], small: SmallPictures) -> tuple[Contents, Prepared | None]:
    """All that the pack has of a deck, and one of its variants, None where none fits."""
    deck, left_out = one.deck, list[str]()
    sheets: list[Sheets] = []
    art: _Art | None = None
    built: Prepared | None = None
    for asked in _variants(one, order):
        try:
            prepared = prepare(deck, asked, one.source, None, order.limits)
        except DoesNotFit as error:
            left_out.append(f"Not by {asked.method} on {asked.paper}: {error.message}")
            continue
        begins()
        paper = prepared.planned.plan.layout.paper.name
        name = f"{stem}/{stem}-{version_stem(order.version)}-{asked.method}-{file_stem(paper)}"
        built, art = _pack_sheets(pack, f"{name}-{asked.ink}.pdf", number, prepared, art, cancelled)
        # What was built knows its edges and has lost its broken art: neither is looked at again.
        deck = built.deck
        small.begin(number, deck, one.source)
        if not pack.has(f"{name}-guide.pdf"):
            left_out += _pack_guide(pack, name, number, prepared, built, cancelled)
        sheets.append(_listed(name, prepared, built))
    from server.drawing.release_index import Contents

    small.begin(number, deck, one.source)
    cards, others = small.of(number)
    return Contents(deck.name, deck.count, cards, others, tuple(sheets), tuple(dict.fromkeys(left_out))), built


def _listed(name: str, prepared: Prepared, built: Prepared) -> Sheets:
    """One variant's line in the index."""
    from server.drawing.release_index import Sheets

    plan, settings = built.planned.plan, built.settings
    return Sheets(f"{name}-{settings.ink}.pdf", settings.method, plan.layout.paper.name, settings.ink,
                  plan.sheet_count, plan.paper_count, f"{name}-box.pdf" if prepared.planned.box else "")


def _pack_sheets(pack: Pack, name: str, number: int, prepared: Prepared, art: _Art | None,
                 cancelled: Callable[[], bool]) -> tuple[Prepared, _Art]:
    """The sheets' PDF, its art before all pages, and from ``art`` where that is the same. Returns what was built."""
    # The box is a file of its own, the same for all inks of the sheets.
    planned = prepared.planned
    built = replace(prepared, planned=replace(planned, box=None, settings=replace(planned.settings, box="")))
    from server.drawing.deck_pdf import drawn_art

    while True:
        planned, drawn = built.planned, drawn_art(built.planned)
        keys = tuple(one.key for one in drawn)
        try:
            with pack.writing(name, "sheets", deck=number, method=planned.settings.method,
                              paper=planned.plan.layout.paper.name, ink=planned.settings.ink,
                              papers=planned.plan.paper_count) as inside:
                if art and art.keys == keys:
                    inside.repeat(art.beginning)
                else:
                    art = _Art(keys, begin_into(built, drawn, inside.stream, cancelled), inside.so_far())
                build_into(built, inside.stream, cancelled, begun=art.begun)
            return built, art
        except Unreadable as error:  # of broken art, which comes to light here; what was written of it is gone
            built = without_broken(built, error)


def _pack_guide(pack: Pack, name: str, number: int, prepared: Prepared, built: Prepared,
                cancelled: Callable[[], bool]) -> list[str]:
    """Once for all inks the guide, and the box beside it. Returns what is missing, in words."""
    planned = prepared.planned
    about = {"deck": number, "method": planned.settings.method, "paper": planned.plan.layout.paper.name}
    boxed = replace(built, planned=replace(built.planned, box=planned.box, settings=planned.settings))
    with pack.writing(f"{name}-guide.pdf", "guide", **about) as inside:
        build_into(boxed, inside.stream, cancelled, "guide")
    if planned.box:
        with pack.writing(f"{name}-box.pdf", "box", **about) as inside:
            build_into(boxed, inside.stream, cancelled, "box")
    return [f"No box by {planned.settings.method} on {planned.plan.layout.paper.name}: {one.message}"
            for one in planned.problems if one.code == "no-box"]
