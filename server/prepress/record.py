"""What was printed of a deck, kept so that a later version can be compared with it when the old folder is gone.

A record holds every card's name and copies, the digest of each picture, and a small copy of it. A digest is SHA-256 of
the upright pixels with their size, so it is the same for the same pixels in another file, format or compression, and
another for a single pixel; a PDF page is taken as it is rendered.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from server.core.art import Art, Deck
from server.core.changes import RecordedCard
from server.core.methods import method_named
from server.core.settings import DeckSettings
from server.errors import BadValue, LampfoldError, Unreadable

if TYPE_CHECKING:
    from PIL import Image

FORMAT, VERSION, UNIT = "lampfold-record", 1, "mm"
SMALL_PX = 240
MOST_BYTES = 64_000_000
_PAGE_PX = 1200
Picture = tuple[str, bytes]  # the digest of its pixels, and a small copy as WebP
_FIX = "Use a file that lampfold build --record wrote, or the old version's folder."


@dataclass(frozen=True)
class Record:
    """A printed version. ``size_mm`` is the card's trim, ``small`` maps digests to small pictures as WebP."""

    deck: str
    version: str
    size_mm: tuple[float, float]
    cards: tuple[RecordedCard, ...]
    small: Mapping[str, bytes] = field(default_factory=dict)


def make_record(deck: Deck, settings: DeckSettings, source: Callable[[Art], Path],
                known: dict[str, Picture] | None = None) -> Record:
    """The record of ``deck`` as it would be printed now. Decodes every picture once; raises Unreadable, naming it.

    ``known`` holds by their art's key the pictures that need no decoding, and takes up the others.
    """
    known = {} if known is None else known
    size, small, digests = settings.card_size, dict[str, bytes](), dict[str, str]()
    for card in deck.cards:
        for art in (card.front, card.back):
            if art and art.key not in digests:
                if art.key not in known:
                    known[art.key] = picture_of(source(art), art)
                digests[art.key], picture = known[art.key]
                small[digests[art.key]] = picture
    cards = tuple(RecordedCard(card.name, digests[card.front.key], digests[card.back.key] if card.back else "",
                               card.copies) for card in deck.cards)
    return Record(deck.name, settings.version, (size.width_mm, size.height_mm), cards, small)


def readable_deck(deck: Deck, source: Callable[[Art], Path], known: dict[str, Picture]) -> Deck:
    """``deck`` without the art that no decoder takes, as a build leaves it out; what the rest shows is ``known`` then.
    """
    from server.intake.decode_check import without

    broken: dict[str, LampfoldError] = {}
    for art in (art for card in deck.cards for art in (card.front, card.back) if art):
        try:
            if art.key not in known:
                known[art.key] = picture_of(source(art), art)
        except Unreadable as error:
            broken[art.file] = error
    return without(deck, broken)


def as_printed(record: Record, settings: DeckSettings) -> Record:
    """``record`` as the cards come out of the printer: by a method without backs, theirs are blank."""
    if method_named(settings.method).has_backs:
        return record
    return replace(record, cards=tuple(replace(card, back="") for card in record.cards))


def picture_of(path: Path, art: Art) -> Picture:
    """The digest of ``art`` and its small picture. Raises Unreadable, naming the art."""
    from PIL import Image

    from server.formats.header import content_of
    from server.formats.limits import ArtLimits, damaged
    from server.formats.pixels import upright
    from server.formats.png import read_png
    from server.formats.straight import bands

    # Pillow lets damage pass that a build refuses.
    limits = ArtLimits(pixels=art.width_px * art.height_px)
    if art.kind == "png" and not read_png(content_of(path), art.file, limits).holds():
        raise damaged(art.file, "its picture isn't what its check sums say")
    picture = upright(path, art, _PAGE_PX if art.is_vector else None)
    digest = hashlib.sha256(f"{picture.width}x{picture.height}:".encode())
    for _, band in bands(picture):
        digest.update(band.tobytes())
    picture.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.BOX)
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=80, method=2)
    return digest.hexdigest(), out.getvalue()


@contextmanager
def small_pictures(record: Record, digests: Iterable[str]) -> Iterator[tuple[dict[str, Art], dict[str, Path]]]:
    """The small pictures of ``digests`` as art by digest, and where each art key's file lies while it is open."""
    from server.formats.reader import read_art

    with TemporaryDirectory(prefix="lampfold-") as folder:
        arts: dict[str, Art] = {}
        for digest in digests:
            if digest in record.small and digest not in arts:
                # Not by its digest, which comes from a file that anybody may have written.
                path = Path(folder) / f"{len(arts)}.webp"
                path.write_bytes(record.small[digest])
                key = hashlib.sha256(record.small[digest]).hexdigest()
                arts[digest] = read_art(path, path.name, f"small-{key}")[0]
        yield arts, {art.key: Path(folder) / art.file for art in arts.values()}


def difference_percent(old: bytes, new: bytes) -> float:
    """How far two small pictures are apart: the mean difference of their channels, in percent of all there is."""
    from PIL import Image, ImageChops, ImageStat

    first, second = (_opened(one) for one in (old, new))
    if first.size != second.size:
        second = second.resize(first.size, Image.Resampling.BOX)
    means = ImageStat.Stat(ImageChops.difference(first, second)).mean
    return round(100 * sum(means) / len(means) / 255, 2)


def _opened(small: bytes) -> Image.Image:
    from PIL import Image

    with Image.open(io.BytesIO(small), formats=("WEBP",)) as picture:
        return picture.convert("RGB")


def record_to_json(record: Record) -> dict[str, Any]:
    """Plain values; ``record_from_text`` reads them back. Pictures are WebP in base64, each once."""
    return {
        "format": FORMAT, "version": VERSION, "unit": UNIT, "deck": record.deck, "deck_version": record.version,
        "card": {"width": record.size_mm[0], "height": record.size_mm[1]},
        "cards": [{"name": card.name, "copies": card.copies, "front": card.front, "back": card.back or None}
                  for card in record.cards],
        "pictures": {digest: base64.b64encode(small).decode("ascii") for digest, small in record.small.items()},
    }


def record_from_text(text: str, label: str) -> Record:
    """A record's file. Raises BadValue, naming ``label`` and what is wrong with it."""
    try:
        data = json.loads(text)
        if not isinstance(data, dict) or data.get("format") != FORMAT:
            raise BadValue(f"{label}: is no record of a printed deck.", _FIX)
        if data.get("version") != VERSION:
            raise BadValue(f"{label}: is a record of version {str(data.get('version'))[:20]}; this Lampfold reads "
                           f"version {VERSION}.", "Update Lampfold, or use the old version's folder.")
        cards = tuple(RecordedCard(_text(card["name"]), _text(card["front"]), _text(card["back"] or ""),
                                   _copies(card["copies"])) for card in data["cards"])
        small = {_text(digest): base64.b64decode(picture, validate=True)
                 for digest, picture in data["pictures"].items()}
        size = float(data["card"]["width"]), float(data["card"]["height"])
        return Record(_text(data["deck"]), _text(data["deck_version"]), size, cards, small)
    except BadValue:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, binascii.Error):
        raise BadValue(f"{label}: its content is damaged.", _FIX) from None


def _text(value: object) -> str:
    if not isinstance(value, str) or len(value) > 1000:
        raise ValueError("no text")
    return value


def _copies(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 100_000:
        raise ValueError("no number of copies")
    return value
