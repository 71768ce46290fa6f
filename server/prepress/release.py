"""A release: one ZIP with every deck by every chosen method, paper and ink, their guides, an index and a manifest.

The same input gives the same bytes: members stand in a fixed order with a fixed date, and hold nothing of the machine.
PDFs are written straight into it, so a pack takes the memory of one build, and art is looked at once for all of them.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO, Any, BinaryIO, Literal, cast

from server import __version__
from server.core.art import Art, Deck
from server.core.settings import DeckSettings
from server.drawing.deck_pdf import stream_pdf
from server.drawing.release_index import Contents, Sheets, draw_index
from server.errors import BadValue, DoesNotFit
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.prepress.build import build, build_into
from server.prepress.prepare import Prepared, prepare
from server.store.names import file_stem, version_stem

FORMAT, VERSION = "lampfold-release", 1
INDEX, MANIFEST = "index.pdf", "manifest.json"
InkName = Literal["full", "pale"]
MemberPart = Literal["sheets", "guide", "box", "index", "extra"]
# The first date that a ZIP can hold (APPNOTE.TXT, 4.4.6).
_DATE = (1980, 1, 1, 0, 0, 0)
_PIECE = 1 << 20
_SMALL_BYTES = 64 * 1024
_SMALL_PX = 200  # 170 ppi where it is printed
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
    """What was packed, in the pack's order, and what wasn't, in words: ways that don't fit, art that is broken."""

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
            pack = _Pack(archive, Path(folder), _stems(one.deck.name for one in order.decks))
            told = _fill(pack, order, progress, cancelled)
        under_way.replace(out)
        return Released(tuple(pack.members), told)
    finally:
        under_way.unlink(missing_ok=True)


class _Pack:
    """The archive under way: files go in by name, once, with a fixed date. ``folder`` is for what goes in later,
    ``stems`` are what the decks' files are called after."""

    def __init__(self, archive: zipfile.ZipFile, folder: Path, stems: tuple[str, ...]) -> None:
        self._archive, self.folder, self.stems = archive, folder, stems
        self.members: list[Member] = []

    @contextmanager
    def writing(self, name: str, part: MemberPart, **about: Any) -> Iterator[BinaryIO]:
        """Where the file's bytes go; PDFs are compressed inside. Raises BadValue for a name that is taken."""
        if self.has(name):
            raise BadValue(f"release: two files would be called {name}.", "Give the decks or the files other names.")
        entry = zipfile.ZipInfo(name, _DATE)
        entry.external_attr = 0o644 << 16
        entry.create_system = 3  # the same bytes on every system
        with self._archive.open(entry, "w", force_zip64=True) as inside:
            hashed = _Hashed(inside)
            yield cast(BinaryIO, hashed)
        self.members.append(Member(name, hashed.digest.hexdigest(), part, hashed.size, **about))

    def add(self, name: str, path: Path, part: MemberPart, **about: Any) -> None:
        """Put a file in as it is."""
        with path.open("rb") as content, self.writing(name, part, **about) as inside:
            while piece := content.read(_PIECE):
                inside.write(piece)

    def has(self, name: str) -> bool:
        """Whether there is such a file; names that differ by case alone are one, as some systems have it."""
        return any(member.file.lower() == name.lower() for member in self.members)

    def seal(self, values: dict[str, Any]) -> None:
        """The manifest, last: every other member and its hash."""
        files = [{"file": member.file, "sha256": member.sha256} for member in self.members]
        text = json.dumps({**values, "files": files}, indent=1, ensure_ascii=False)
        self._archive.writestr(zipfile.ZipInfo(MANIFEST, _DATE), text.encode("utf-8"))


class _Hashed:
    """A stream that sums up what is written on."""

    def __init__(self, out: IO[bytes]) -> None:
        self._out, self.size, self.digest = out, 0, hashlib.sha256()

    def write(self, part: bytes | memoryview) -> int:
        self.digest.update(part)
        self.size += len(part)
        return self._out.write(part)


def _stems(names: Iterable[str]) -> tuple[str, ...]:
    """Every deck's name as its folder's, those that would share one numbered; names that differ by case alone do."""
    stems: list[str] = []
    for stem in map(file_stem, names):
        tries = (f"{stem}-{number}" if number > 1 else stem for number in count(1))
        taken = {one.lower() for one in stems}
        stems.append(next(one for one in tries if one.lower() not in taken))
    return tuple(stems)


def _fill(pack: _Pack, order: ReleaseOrder, progress: Progress, cancelled: Callable[[], bool]) -> tuple[str, ...]:
    total, done = len(order.decks) * len(order.methods) * len(order.papers) * len(order.inks), count()
    contents: list[Contents] = []
    broken: list[str] = []
    paths: dict[str, Path] = {}
    first: Prepared | None = None
    for number, one in enumerate(order.decks):
        deck, sheets, left_out = one.deck, list[Sheets](), list[str]()
        for asked in _variants(one, order):
            try:
                prepared = prepare(deck, asked, one.source, None, order.limits)
            except DoesNotFit as error:
                left_out.append(f"Not by {asked.method} on {asked.paper}: {error.message}")
                continue
            progress(next(done), total)
            first = first or prepared
            # What was built knows its edges and has lost its broken art: neither is looked at again.
            deck = _pack_variant(pack, number, prepared, sheets, left_out, cancelled).deck
        broken += [f"{deck.name}: {problem.file}: {problem.message}" for problem in deck.problems
                   if problem.severity == "error"]
        arts = _small_pictures(deck, one.source, pack.folder / str(number), order.limits, paths)
        contents.append(_contents(deck, arts, sheets, dict.fromkeys(left_out)))
    told = tuple(f"{one.name}: {said}" for one in contents for said in one.left_out)
    if first is None:
        raise BadValue(f"release: nothing fits. {told[0] if told else ''}".rstrip(),
                       "Choose larger papers or other methods.")
    names = " and ".join(dict.fromkeys(one.deck.name for one in order.decks))
    draw = partial(draw_index, page=first.planned.plan.layout.page, title=f"{names} {order.version}", decks=contents,
                   extras=[f"extras/{name}" for name, _ in order.extras])
    with pack.writing(INDEX, "index") as inside:
        stream_pdf((draw,), first.planned, lambda art: paths[art.key], inside)
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


def _pack_variant(pack: _Pack, number: int, prepared: Prepared, sheets: list[Sheets], left_out: list[str],
                  cancelled: Callable[[], bool]) -> Prepared:
    """The sheets' PDF, and once for all inks the guide and the box beside it. Returns what was built."""
    planned = prepared.planned
    layout, plan, ink = planned.plan.layout, planned.plan, planned.settings.ink
    deck, paper = pack.stems[number], layout.paper.name
    stem = f"{deck}/{deck}-{version_stem(planned.settings.version)}-{layout.method}-{file_stem(paper)}"
    about = {"deck": number, "method": layout.method, "paper": paper}
    # The box is a file of its own, the same for all inks of the sheets.
    built = replace(prepared, planned=replace(planned, box=None, settings=replace(planned.settings, box="")))
    if sheets:
        with pack.writing(f"{stem}-{ink}.pdf", "sheets", **about, ink=ink, papers=plan.paper_count) as inside:
            build_into(built, inside, cancelled)
    else:  # art that is broken comes to light: what was written till then isn't for the pack
        path = pack.folder / "first.pdf"
        built = build(built, path, cancelled=cancelled)
        pack.add(f"{stem}-{ink}.pdf", path, "sheets", **about, ink=ink, papers=built.planned.plan.paper_count)
        path.unlink()
    if not pack.has(f"{stem}-guide.pdf"):
        boxed = replace(built, planned=replace(built.planned, box=planned.box, settings=planned.settings))
        with pack.writing(f"{stem}-guide.pdf", "guide", **about) as inside:
            build_into(boxed, inside, cancelled, "guide")
        if planned.box:
            with pack.writing(f"{stem}-box.pdf", "box", **about) as inside:
                build_into(boxed, inside, cancelled, "box")
        left_out += [f"No box by {layout.method} on {paper}: {one.message}"
                     for one in planned.problems if one.code == "no-box"]
    plan = built.planned.plan
    sheets.append(Sheets(f"{stem}-{ink}.pdf", layout.method, paper, ink, plan.sheet_count, plan.paper_count,
                         f"{stem}-box.pdf" if planned.box else ""))
    return built


def _small_pictures(deck: Deck, source: Callable[[Art], Path], folder: Path, limits: ArtLimits,
                    paths: dict[str, Path]) -> dict[str, Art]:
    """The fronts that are printed as art for the index, by the keys of theirs; ``paths`` takes up where each lies. What
    is a small file already goes in as it is, and isn't decoded; the others are shrunk in ``folder``."""
    folder.mkdir()
    arts: dict[str, Art] = {}
    for front in {card.front.key: card.front for card in deck.cards if card.copies}.values():
        path, key = source(front), f"{folder.name}-{len(arts)}"
        if front.kind in ("png", "jpeg") and path.stat().st_size <= _SMALL_BYTES:
            arts[front.key], paths[key] = replace(front, key=key), path
        else:
            arts[front.key], paths[key] = _shrunk(front, path, folder / f"{len(arts)}.jpg", key, limits)
    return arts


def _shrunk(art: Art, path: Path, small: Path, key: str, limits: ArtLimits) -> tuple[Art, Path]:
    from server.formats.pixels import rough
    from server.formats.reader import read_art

    rough(path, art, _SMALL_PX, limits).save(small, "JPEG", quality=80)
    return read_art(small, small.name, key)[0], small


def _contents(deck: Deck, arts: Mapping[str, Art], sheets: Sequence[Sheets], left_out: Iterable[str]) -> Contents:
    cards = tuple((card.name, card.copies, arts[card.front.key]) for card in deck.cards if card.copies)
    return Contents(deck.name, deck.count, cards, tuple(sheets), tuple(left_out))
