"""The size of card that a deck's art was drawn for: by a PDF's own trim, pixels, what files claim, proportions.

Every front has one vote, and only a size that most of them are drawn for counts. Nothing here changes a size that
somebody chose; it is named beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

from server.core.art import Art, Deck, Problem
from server.core.bleed import decide
from server.core.settings import DeckSettings
from server.core.sizes import CARD_SIZES, DEFAULT_CARD, CardSize, card_size_named
from server.core.units import MM_PER_INCH, mm_text

# Resolutions at which card art is drawn, and the bleeds that it is drawn with: none, 3 mm, 0.12 and 1/8 in (common
# practice; 822 x 1122 is poker at 300 ppi with 0.12 in).
_PPI = (150, 200, 300, 600)
_BLEEDS_MM = (0.0, 3.0, 3.048, 3.175)
_CLAIM_MM = 0.35  # rounding to whole pixels or points, twice
_LEAST_PPI = 140.0  # files that claim less say what the screen had, not what they were drawn for
_SHORTEST_MM, _LONGEST_MM = 30.0, 200.0


@dataclass(frozen=True, slots=True)
class LikelyCard:
    """A size, by its name or as WxH in mm, and how many of the ``fronts`` were drawn for it."""

    card: str
    count: int
    fronts: int

    @property
    def size(self) -> CardSize:
        return card_size_named(self.card)


def likely_card(deck: Deck) -> LikelyCard | None:
    """The size that more than half of the fronts were drawn for; None where they don't say.

    Art that fits the usual card by its proportions alone speaks for that.
    """
    fronts = {card.front.file: card.front for card in deck.cards}.values()
    votes = Counter(name for art in fronts if (name := _remembered(art)))
    if not votes:
        return None
    card, count = votes.most_common(1)[0]
    return LikelyCard(card, count, len(fronts)) if count * 2 > len(fronts) else None


def with_card_of_art(deck: Deck, settings: DeckSettings, chosen: bool) -> tuple[Deck, DeckSettings]:
    """Where nobody chose a card, the settings with the art's; where somebody did, a word if the art is of another."""
    likely = likely_card(deck)
    if likely is None or likely.card == settings.card:
        return deck, settings
    size = _said(likely.size)
    some = "all fronts are" if likely.count == likely.fronts else f"{likely.count} of {likely.fronts} fronts are"
    if not chosen:
        said = Problem("", "note", "card-from-art", f"The card is {size}, since {some} drawn for it.",
                       "Choose another size if that isn't meant.")
        return _with(deck, said), settings.changed({"card": likely.card})
    if not _misfits(deck, settings):
        return deck, settings
    said = Problem("", "warning", "other-size", f"{some[:1].upper()}{some[1:]} {size}, but the card is "
                   f"{_said(settings.card_size)}.", f"Use {likely.card}?")
    return _with(deck, said), settings


def with_chosen_card(deck: Deck, settings: DeckSettings) -> Deck:
    """The same deck once somebody has chosen the card of ``settings``: what was said before is taken back."""
    kept = tuple(one for one in deck.problems if one.code not in ("card-from-art", "other-size"))
    plain = replace(deck, problems=kept)
    return with_card_of_art(plain, settings, chosen=True)[0]


def _with(deck: Deck, said: Problem) -> Deck:
    return replace(deck, problems=(said, *deck.problems))


def _said(size: CardSize) -> str:
    sides = f"{mm_text(size.width_mm)} × {mm_text(size.height_mm)} mm"
    return f"{size.label} ({sides})" if size.name in CARD_SIZES else sides


def _misfits(deck: Deck, settings: DeckSettings) -> bool:
    """Whether most fronts would lose some of their picture, or be drawn at another scale than they say."""
    fronts = {card.front.file: card.front for card in deck.cards}.values()
    off = 0
    for art in fronts:
        fit = decide(art, settings.card_size, settings.made_bleed_mm, settings.edges)
        trim = _trim(art)
        scaled = trim is not None and max(abs(one - other) for one, other in zip(
            sorted(trim), sorted((settings.card_size.width_mm, settings.card_size.height_mm)), strict=True)) > 1.0
        off += fit.cropped_mm > 0 or scaled
    return off * 2 > len(fronts)


_Key = tuple[tuple[int, int], tuple[float, float] | None, tuple[float, float] | None]
_SEEN: dict[_Key, str] = {}


def _remembered(art: Art) -> str:
    """``_card_of``, worked out once for each shape: a deck of 1,500 cards has a handful."""
    key = art.view_px, art.size_mm, _trim(art)
    if key not in _SEEN:
        if len(_SEEN) > 2000:
            _SEEN.clear()
        _SEEN[key] = _card_of(art)
    return _SEEN[key]


def _card_of(art: Art) -> str:
    trim = _trim(art)
    if trim:
        return _nearest(lambda size: _claims(trim, size, (0.0,))) or _own_size(trim)
    exact = "" if art.is_vector else _nearest(lambda size: _exact(art, size))
    return exact or _nearest(lambda size: _claims(_claimed(art), size, _BLEEDS_MM)) or _by_shape(art)


def _trim(art: Art) -> tuple[float, float] | None:
    """(width, height) in mm of the trim that a PDF page states, as seen."""
    if art.trim_mm is None or art.size_mm is None:
        return None
    return (art.size_mm[0] - art.trim_mm.left - art.trim_mm.right,
            art.size_mm[1] - art.trim_mm.top - art.trim_mm.bottom)


def _claimed(art: Art) -> tuple[float, float] | None:
    if art.size_mm is None or art.is_vector:
        return art.size_mm
    return art.size_mm if art.view_px[0] / art.size_mm[0] * MM_PER_INCH >= _LEAST_PPI else None


def _nearest(off: Callable[[CardSize], float | None]) -> str:
    """The size that is off by least, the usual one and the earlier ones first; "" where none will do."""
    found = [(wrong, name != DEFAULT_CARD, place, name) for place, (name, size) in enumerate(CARD_SIZES.items())
             if (wrong := off(size)) is not None]
    return min(found)[3] if found else ""


def _exact(art: Art, size: CardSize) -> float | None:
    """How many pixels art is off a size at a usual resolution and bleed, upright or lying; None for more than one."""
    wrong = [max(abs(pixels - side * ppi / MM_PER_INCH) for pixels, side in zip(art.view_px, sides, strict=True))
             for ppi in _PPI for bleed in _BLEEDS_MM for sides in _both_ways(size, bleed)]
    return round(min(wrong), 1) if min(wrong) <= 1.01 else None


def _claims(claimed: tuple[float, float] | None, size: CardSize, bleeds: tuple[float, ...]) -> float | None:
    if claimed is None:
        return None
    wrong = min(max(abs(given - side) for given, side in zip(claimed, sides, strict=True))
                for bleed in bleeds for sides in _both_ways(size, bleed))
    return round(wrong, 1) if wrong <= _CLAIM_MM else None


def _both_ways(size: CardSize, bleed: float) -> tuple[tuple[float, float], tuple[float, float]]:
    sides = size.width_mm + 2 * bleed, size.height_mm + 2 * bleed
    return sides, sides[::-1]


def _by_shape(art: Art) -> str:
    """By proportions alone: the usual card where it fits, else the nearest that does."""
    def off(size: CardSize) -> float | None:
        fit = decide(art, size, 3.0, "auto")
        if fit.cropped_mm or (fit.turned and size.width_mm > size.height_mm):
            return None
        width, height = (fit.rect.height, fit.rect.width) if fit.turned else (fit.rect.width, fit.rect.height)
        return 0.0 if size.name == DEFAULT_CARD else 1 + round(abs(art.aspect * height / width - 1), 4)

    return _nearest(off)


def _own_size(trim: tuple[float, float]) -> str:
    """A size of the art's own, as a PDF states it, to a tenth of a millimetre."""
    width, height = (round(side * 10) / 10 for side in trim)
    if not (min(width, height) >= _SHORTEST_MM and max(width, height) <= _LONGEST_MM):
        return ""
    return f"{width:g}x{height:g}"
