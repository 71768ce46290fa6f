"""A release: one ZIP with every deck by every chosen method, paper and ink, their guides, an index and a manifest.

The same input gives the same bytes: members stand in a fixed order with a fixed date, and hold nothing of the machine.
Each PDF is written to a file of its own and put in as it is, so a pack takes the memory of one build.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from server import __version__
from server.core.art import Art, Deck
from server.core.settings import DeckSettings
from server.drawing.deck_pdf import write_pdf
from server.drawing.release_index import Contents, Sheets, draw_index
from server.errors import BadValue, DoesNotFit
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.prepress.build import Part, build
from server.prepress.prepare import Prepared, prepare
from server.prepress.record import Picture, Record, make_record, small_pictures
from server.store.names import file_stem, version_stem

FORMAT, VERSION = "lampfold-release", 1
INDEX, MANIFEST = "index.pdf", "manifest.json"
InkName = Literal["full", "pale"]
MemberPart = Literal["sheets", "guide", "box", "index", "extra"]
# The first date that a ZIP can hold (APPNOTE.TXT, 4.4.6).
_DATE = (1980, 1, 1, 0, 0, 0)
_PIECE = 1 << 20
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class DeckToPack:
    """A deck of the release, its settings, and where its art lies. ``known``: see ``make_record``."""

    deck: Deck
    settings: DeckSettings
    source: Callable[[Art], Path]
    known: dict[str, Picture] = field(default_factory=dict)


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
class Member:
    """A file of the pack and the SHA-256 of its bytes; ``part`` is what it is. Sheets, guides and boxes say of which of
    the order's decks and for which method and paper they are, sheets also in which ink and on how many papers."""

    file: str
    sha256: str
    part: MemberPart
    bytes: int = 0
    deck: int = -1
    method: str = ""
    paper: str = ""
    ink: str = ""
    papers: int = 0


@dataclass(frozen=True, slots=True)
class Released:
    """What was packed, in the pack's order, and what wasn't, in words."""

    members: tuple[Member, ...]
    left_out: tuple[str, ...]


def release(order: ReleaseOrder, out: Path, progress: Progress = lambda done, total: None,
            cancelled: Callable[[], bool] = lambda: False, scratch: Path | None = None) -> Released:
    """Write the pack. ``progress`` is told (PDFs done, PDFs in all); ``scratch`` is where PDFs lie meanwhile.

    A file that stood at ``out`` stays until the new one is whole. Raises BadValue where nothing fits or two files would
    have one name, Unreadable, TooMuch, Stopped, or OSError where the disk refuses.
    """
    under_way = out.with_name(f".{out.name}.{secrets.token_hex(4)}.part")
    try:
        with TemporaryDirectory(prefix="lampfold-", dir=scratch) as folder, zipfile.ZipFile(under_way, "x") as archive:
            pack = _Pack(archive, Path(folder))
            told = _fill(pack, order, progress, cancelled)
        under_way.replace(out)
        return Released(tuple(pack.members), told)
    finally:
        under_way.unlink(missing_ok=True)


class _Pack:
    """The archive under way: files go in by name, once, with a fixed date."""

    def __init__(self, archive: zipfile.ZipFile, folder: Path) -> None:
        self._archive, self.folder = archive, folder
        self.members: list[Member] = []

    def scratch(self) -> Path:
        return self.folder / f"{len(self.members)}.pdf"

    def add(self, name: str, path: Path, part: MemberPart, **about: Any) -> None:
        """Put the file in as it is: PDFs are compressed inside. Raises BadValue for a name that is taken."""
        if self.has(name):
            raise BadValue(f"release: two files would be called {name}.", "Give the decks or the files other names.")
        entry, digest = zipfile.ZipInfo(name, _DATE), hashlib.sha256()
        entry.external_attr = 0o644 << 16
        entry.create_system = 3  # the same bytes on every system
        with path.open("rb") as content, self._archive.open(entry, "w", force_zip64=True) as inside:
            while piece := content.read(_PIECE):
                digest.update(piece)
                inside.write(piece)
        self.members.append(Member(name, digest.hexdigest(), part, path.stat().st_size, **about))

    def has(self, name: str) -> bool:
        """Whether there is such a file; names that differ by case alone are one, as some systems have it."""
        return any(member.file.lower() == name.lower() for member in self.members)

    def seal(self, values: dict[str, Any]) -> None:
        """The manifest, last: every other member and its hash."""
        files = [{"file": member.file, "sha256": member.sha256} for member in self.members]
        text = json.dumps({**values, "files": files}, indent=1, ensure_ascii=False)
        self._archive.writestr(zipfile.ZipInfo(MANIFEST, _DATE), text.encode("utf-8"))


def _fill(pack: _Pack, order: ReleaseOrder, progress: Progress, cancelled: Callable[[], bool]) -> tuple[str, ...]:
    total, done = len(order.decks) * len(order.methods) * len(order.papers) * len(order.inks), 0
    contents: list[Contents] = []
    told: list[str] = []
    with ExitStack() as open_pictures:
        paths: dict[str, Path] = {}
        first: Prepared | None = None
        for number, one in enumerate(order.decks):
            sheets: list[Sheets] = []
            left_out: list[str] = []
            for prepared in _variants(one, order, left_out):
                progress(done, total)
                done += 1
                first = first or prepared
                sheets.append(_pack_variant(pack, number, prepared, order.version, left_out, cancelled))
            record = make_record(one.deck, one.settings, one.source, one.known)
            arts, found = open_pictures.enter_context(small_pictures(record, (card.front for card in record.cards)))
            paths.update(found)
            contents.append(_contents(one.deck, record, arts, sheets, left_out))
            told += [f"{one.deck.name}: {said}" for said in left_out]
        if first is None:
            raise BadValue(f"release: nothing fits. {told[0] if told else ''}".rstrip(),
                           "Choose larger papers or other methods.")
        extras = [f"extras/{name}" for name, _ in order.extras]
        names = " and ".join(dict.fromkeys(one.deck.name for one in order.decks))
        page = first.planned.plan.layout.page
        draw = partial(draw_index, page=page, title=f"{names} {order.version}", decks=contents, extras=extras)
        index = pack.scratch()
        write_pdf((draw,), first.planned, lambda art: paths[art.key], index)
        pack.add(INDEX, index, "index")
    for name, (_, path) in zip(extras, order.extras, strict=True):
        pack.add(name, path, "extra")
    pack.seal({"format": FORMAT, "version": VERSION, "lampfold": __version__, "release": order.version,
               "decks": [one.deck.name for one in order.decks]})
    progress(total, total)
    return tuple(told)


def variant_of(settings: DeckSettings, version: str, method: str, paper: str, ink: InkName) -> DeckSettings:
    """The settings of one choice of a release: for any printer, by the plan that is best."""
    return replace(settings, method=method, paper=paper, ink=ink, version=version, arrangement="", card_turned="",
                   printer="")


def _variants(one: DeckToPack, order: ReleaseOrder, left_out: list[str]) -> Iterator[Prepared]:
    """The deck laid out for every choice that fits; what doesn't is said in ``left_out``, once for all its inks."""
    deck = one.deck
    for method in order.methods:
        for paper in order.papers:
            for ink in order.inks:
                asked = variant_of(one.settings, order.version, method, paper, ink)
                try:
                    prepared = prepare(deck, asked, one.source, None, order.limits)
                except DoesNotFit as error:
                    left_out.append(f"Not by {method} on {paper}: {error.message}")
                    break
                deck = prepared.deck  # with the edges that were measured, so that each is looked at once
                yield prepared


def _pack_variant(pack: _Pack, number: int, prepared: Prepared, version: str, left_out: list[str],
                  cancelled: Callable[[], bool]) -> Sheets:
    """The sheets' PDF, and once for all inks the guide and the box beside it."""
    layout, plan = prepared.planned.plan.layout, prepared.planned.plan
    deck = file_stem(prepared.deck.name)
    stem = f"{deck}/{deck}-{version_stem(version)}-{layout.method}-{file_stem(layout.paper.name)}"

    def add(prepared: Prepared, kind: str, part: Part, **about: Any) -> Prepared:
        path = pack.scratch()
        built = build(prepared, path, cancelled=cancelled, part=part)
        pack.add(f"{stem}-{kind}.pdf", path, part, deck=number, method=layout.method, paper=layout.paper.name, **about)
        path.unlink()
        return built

    ink = prepared.settings.ink
    planned = prepared.planned
    # The box is a file of its own, the same for all inks of the sheets.
    sheets = replace(prepared, planned=replace(planned, box=None, settings=replace(planned.settings, box="")))
    built = add(sheets, ink, "sheets", ink=ink, papers=plan.paper_count)
    if not pack.has(f"{stem}-guide.pdf"):
        add(replace(built, planned=replace(built.planned, box=planned.box)), "guide", "guide")
        if planned.box:
            add(prepared, "box", "box")
        left_out += [f"No box by {layout.method} on {layout.paper.name}: {one.message}"
                     for one in planned.problems if one.code == "no-box"]
    return Sheets(f"{stem}-{ink}.pdf", layout.method, layout.paper.name, ink, plan.sheet_count, plan.paper_count,
                  f"{stem}-box.pdf" if planned.box else "")


def _contents(deck: Deck, record: Record, arts: dict[str, Art], sheets: Sequence[Sheets],
              left_out: Sequence[str]) -> Contents:
    cards = tuple((card.name, card.copies, arts[card.front]) for card in record.cards
                  if card.copies and card.front in arts)
    return Contents(deck.name, deck.count, cards, tuple(sheets), tuple(left_out))

