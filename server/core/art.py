"""What is known of one piece of art, before anything is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from server.core.edge_bleed import ArtEdges, EdgeMode
from server.core.geometry import Affine, Edges

ArtKind = Literal["png", "jpeg", "webp", "tiff", "avif", "pdf", "svg"]
Severity = Literal["error", "warning", "note"]

KIND_LABELS: dict[ArtKind, str] = {"png": "PNG", "jpeg": "JPEG", "webp": "WebP", "tiff": "TIFF", "avif": "AVIF",
                                   "pdf": "PDF", "svg": "SVG"}
# What each kind's files are called; the content decides, and a name that says otherwise is only mentioned.
KIND_ENDINGS: dict[ArtKind, frozenset[str]] = {
    "png": frozenset({"png", "apng"}), "jpeg": frozenset({"jpg", "jpeg", "jpe", "jfif"}),
    "webp": frozenset({"webp"}), "tiff": frozenset({"tif", "tiff"}), "avif": frozenset({"avif", "avifs"}),
    "pdf": frozenset({"pdf", "ai"}), "svg": frozenset({"svg"}),  # current .ai files hold a PDF
}

# EXIF orientation (CIPA DC-008): how to carry the unit square of the stored picture (x right, y down) to the
# unit square as it is viewed. 1 as stored; 2 mirrored; 3 half turn; 4 flipped; 5 transposed; 6 a quarter turn
# clockwise to view; 7 transversed; 8 a quarter turn anticlockwise to view.
ORIENTATIONS: dict[int, Affine] = {
    1: Affine(),
    2: Affine(-1, 0, 0, 1, 1, 0),
    3: Affine(-1, 0, 0, -1, 1, 1),
    4: Affine(1, 0, 0, -1, 0, 1),
    5: Affine(0, 1, 1, 0, 0, 0),
    6: Affine(0, 1, -1, 0, 1, 0),
    7: Affine(0, -1, -1, 0, 1, 1),
    8: Affine(0, -1, 1, 0, 0, 1),
}


@dataclass(frozen=True, slots=True)
class Art:
    """One picture, one PDF page, or one SVG, which is drawn as a page.

    ``file`` is its path in the deck's folder, with "/" between parts; a label, never opened by the core.
    ``key`` names the bytes: equal keys are the same picture. Pixel sizes are as stored; ``view_px`` is as seen.
    For pages the pixel sizes are 0 and ``size_mm`` is the page; for pictures ``size_mm`` is what the file
    itself claims by its resolution, or None. ``frames`` counts the pictures of an animation or of a TIFF with several
    pages; the first is used. ``picture_ppi`` is the resolution of the coarsest of a PDF page's larger pictures, at the
    page's own size, None where it has none. ``trim_mm`` is how far a PDF page's own trim lies inside it, as seen, None
    where it states none. ``edges`` is what was seen along them, None where nobody has looked; ``bleed`` is how a person
    wants its bleed made, None as the deck's; ``look`` names what a page draws: pages of one file with equal looks are
    drawn alike.
    """

    file: str
    key: str
    kind: ArtKind
    width_px: int = 0
    height_px: int = 0
    orientation: int = 1
    page: int = 0
    size_mm: tuple[float, float] | None = None
    has_alpha: bool = False
    edge_rgb: tuple[int, int, int] | None = None
    is_cmyk: bool = False
    frames: int = 1
    look: str = ""
    trim_mm: Edges | None = None
    picture_ppi: float | None = None
    edges: ArtEdges | None = None
    bleed: EdgeMode | None = None

    @property
    def is_vector(self) -> bool:
        return self.kind in ("pdf", "svg")

    @property
    def shape(self) -> Art:
        """The same without its name, its place and its colours: art of one shape lies on a card alike."""
        # Not by ``replace``, which takes ten times as long: it is asked for each art of a deck, for every answer.
        return Art("", "", self.kind, self.width_px, self.height_px, self.orientation, size_mm=self.size_mm,
                   has_alpha=self.has_alpha, is_cmyk=self.is_cmyk, frames=self.frames, trim_mm=self.trim_mm,
                   picture_ppi=self.picture_ppi)

    @property
    def view_px(self) -> tuple[int, int]:
        """Width and height in pixels, as seen."""
        turned = self.orientation >= 5
        return (self.height_px, self.width_px) if turned else (self.width_px, self.height_px)

    @property
    def aspect(self) -> float:
        """Width over height, as seen."""
        width, height = (self.size_mm or (1.0, 1.0)) if self.is_vector else self.view_px
        return width / height


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that a person should know about a file or a setting, and the way out.

    ``severity``: "error" (the file isn't used), "warning" (it prints, but look at it), "note" (said, nothing to do).
    ``code`` is a stable word such as "low-resolution".
    """

    file: str
    severity: Severity
    code: str
    message: str
    fix: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """A front, a back (None prints blank), and how many to make."""

    name: str
    front: Art
    back: Art | None = None
    copies: int = 1
    id: str = ""

    @property
    def label(self) -> str:
        """What a card goes by while its sides, its name and its place change: the label of the front it came from."""
        return self.id or self.front.file


@dataclass(frozen=True, slots=True)
class Override:
    """What a person changed for one card, over what its folder says. None leaves as it is.

    ``back`` is the file label of another art of the deck, "" for none; ``out`` takes the card out, ``swapped`` makes
    its back the front; ``bleed`` is how the bleed of both its faces is made, over the deck's choice, "deck" by it.
    """

    copies: int | None = None
    name: str | None = None
    back: str | None = None
    out: bool | None = None
    swapped: bool | None = None
    bleed: EdgeMode | Literal["deck"] | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Why a front has its back, as file labels. ``why`` reads on after "by"; ``sure`` is False where a person took
    what could have been meant otherwise."""

    front: str
    back: str
    why: str
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Proposal:
    """Pairs that may be meant, to be taken or declined together. Of one ``group`` at most one can be taken."""

    id: str
    group: str
    says: str
    pairs: tuple[Pair, ...]


@dataclass(frozen=True, slots=True)
class Deck:
    """The cards of one game or set, in printing order, and what intake had to say: why each pair is one, what else may
    be meant, and what is wrong."""

    name: str
    cards: tuple[Card, ...]
    problems: tuple[Problem, ...] = field(default=())
    pairs: tuple[Pair, ...] = ()
    proposals: tuple[Proposal, ...] = ()

    @property
    def count(self) -> int:
        """Cards to print, copies counted."""
        return sum(card.copies for card in self.cards)

    def printing_order(self) -> tuple[int, ...]:
        """The index of each card to print, copies repeated, in order."""
        return tuple(index for index, card in enumerate(self.cards) for _ in range(card.copies))
