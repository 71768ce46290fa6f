"""What is wrong with a deck's art at the size and with the edges that are asked for, and the way out.

Codes are stable; text output, pages and tests go by them.

| code | severity | what it says |
| --- | --- | --- |
| no-cards | error | there is no card to print |
| low-resolution | warning | under 150 ppi at print size: visibly soft |
| fair-resolution | note | under 300 ppi at print size |
| odd-aspect | warning | neither trim nor trim with bleed; so many mm are cut away |
| turned-art | note | turned a quarter to fit the card |
| trim-size | note | read as the trim size; how its bleed is made |
| carries-bleed | note | read as trim and bleed; how much it brings |
| missing-back | warning | no back was found, so it prints blank |
| cmyk | note | CMYK colours, passed on as they are |
| transparency | note | may be clear in places, which print as bare paper |
| first-frame | note | several pictures in one file; the first is used |
| wrong-ending | note | the name says another format than the content |
| same-picture | note | two fronts of different names hold the same picture |

Every art gets exactly one of odd-aspect, trim-size and carries-bleed: what the reading of its proportions decided.
Codes of intake (unreadable files, pairing, deck.csv) are listed in ``server.formats.limits`` and ``.pairing``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import lru_cache

from server.core.art import KIND_ENDINGS, KIND_LABELS, Art, Deck, Problem, Severity
from server.core.bleed import ArtFit, decide
from server.core.methods import method_named
from server.core.settings import DeckSettings
from server.core.units import mm_text

# Resolution at print size: 300 ppi is comfortable, under 150 visibly soft (common practice). A hundredth of slack, so
# that 744 pixels on 63 mm count as the 300 ppi that they were drawn for.
SOFT_PPI, COMFORTABLE_PPI = 150.0, 300.0
_SLACK = 0.99
# Codes by which intake has already said why a front has no back.
_BACK_IS_SAID = frozenset({"blank-back", "ambiguous-back", "broken-back", "chosen-back"})

_OF_BACKS = _BACK_IS_SAID | {"unmatched-back", "copies-on-back"}


def check_deck(deck: Deck, settings: DeckSettings) -> tuple[Problem, ...]:
    """What to know about the art of ``deck`` at these settings, in the deck's order, each file once.

    What intake had to say stands in ``deck.problems`` and isn't repeated; ``all_problems`` gives both.
    """
    if not any(card.copies for card in deck.cards):
        return (Problem("", "error", "no-cards", "There is no card to print.",
                        "Put art into fronts/, or raise the copies."),)
    has_backs = method_named(settings.method).has_backs
    problems = [problem for art in _arts(deck, has_backs) for problem in _check_art(art, settings)]
    if has_backs:
        problems += _missing_backs(deck)
    problems += _same_pictures(deck)
    return tuple(problems)


def all_problems(deck: Deck, settings: DeckSettings) -> tuple[Problem, ...]:
    """Everything to know about a deck: what intake had to say, then what the art's check finds.

    Where no backs are printed, what intake has to say of them is left out.
    """
    has_backs = method_named(settings.method).has_backs
    said = [problem for problem in deck.problems if has_backs or problem.code not in _OF_BACKS]
    return tuple(dict.fromkeys((*said, *check_deck(deck, settings))))


def _arts(deck: Deck, has_backs: bool) -> Iterable[Art]:
    """Fronts, and backs where they are printed, each file label once, in printing order."""
    arts = [art for card in deck.cards for art in (card.front, card.back if has_backs else None) if art]
    return {art.file: art for art in arts}.values()


def _check_art(art: Art, settings: DeckSettings) -> Iterator[Problem]:
    if art.bleed:
        settings = replace(settings, edges=art.bleed)
    for problem in _check_shape(art.shape, settings):
        yield Problem(art.file, problem.severity, problem.code, problem.message, problem.fix)
    wrong = _wrong_ending(art)
    if wrong:
        yield wrong


@lru_cache(maxsize=512)
def _check_shape(art: Art, settings: DeckSettings) -> tuple[Problem, ...]:
    """What is to say of all art of one shape; of 1,500 cards that is a handful."""
    return tuple(_say_of_shape(art, settings))


def _say_of_shape(art: Art, settings: DeckSettings) -> Iterator[Problem]:
    fit = decide(art, settings.card_size, settings.made_bleed_mm, settings.edges)
    yield _reading(art, fit, settings)
    resolution = _resolution(art, fit)
    if resolution:
        yield resolution
    if fit.turned:
        yield _problem(art, "note", "turned-art", "Lies across the card, so it is turned a quarter clockwise to fit.",
                       "Turn the art, or the card size, if that isn't meant.")
    if art.is_cmyk:
        yield _problem(art, "note", "cmyk", "Has CMYK colours; they go into the PDF as they are.",
                       "Colours may differ from the screen; RGB suits most home printers better.")
    if art.has_alpha:
        yield _problem(art, "note", "transparency", "Can be clear in places; what is clear prints as bare paper.")
    if art.frames > 1:
        what = "pages" if art.kind == "tiff" else "frames"
        yield _problem(art, "note", "first-frame", f"Holds {art.frames} {what}; the first is used.",
                       "Save the others as files of their own if they are cards.")


def _problem(art: Art, severity: Severity, code: str, message: str, fix: str = "") -> Problem:
    return Problem(art.file, severity, code, message, fix)


def _reading(art: Art, fit: ArtFit, settings: DeckSettings) -> Problem:
    decision = fit.decision[:1].upper() + fit.decision[1:] + "."
    if fit.cropped_mm > 0:
        card = settings.card_size
        width, height = card.width_mm, card.height_mm
        bleed = settings.made_bleed_mm
        sizes = f"{mm_text(width)} × {mm_text(height)} mm"
        if bleed and settings.edges in ("auto", "art"):
            sizes += f", or {mm_text(width + 2 * bleed)} × {mm_text(height + 2 * bleed)} mm with bleed"
        return _problem(art, "warning", "odd-aspect", decision, f"Crop or redraw it in the proportions of {sizes}.")
    return _problem(art, "note", "carries-bleed" if fit.carries_mm else "trim-size", decision)


def _resolution(art: Art, fit: ArtFit) -> Problem | None:
    ppi = fit.ppi(art)
    if ppi >= COMFORTABLE_PPI * _SLACK:
        return None
    width, height = (fit.rect.height, fit.rect.width) if fit.turned else (fit.rect.width, fit.rect.height)
    wanted = f"{round(width / 25.4 * COMFORTABLE_PPI)} × {round(height / 25.4 * COMFORTABLE_PPI)} pixels"
    what = "A picture on it prints" if art.is_vector else "Prints"
    if ppi < SOFT_PPI * _SLACK:
        return _problem(art, "warning", "low-resolution", f"{what} at {ppi:.0f} ppi, which is visibly soft.",
                        f"Export it at {wanted} for {COMFORTABLE_PPI:.0f} ppi.")
    return _problem(art, "note", "fair-resolution", f"{what} at {ppi:.0f} ppi; fine lines and small text gain from "
                    f"{COMFORTABLE_PPI:.0f}.", f"Export it at {wanted} if you can.")


def _wrong_ending(art: Art) -> Problem | None:
    path = art.file.rpartition("#")[0] if art.kind == "pdf" and "#" in art.file else art.file
    stem, dot, ending = path.rpartition("/")[2].rpartition(".")
    if not (dot and stem) or ending.lower() in KIND_ENDINGS[art.kind]:
        return None
    claimed = next((KIND_LABELS[kind] for kind, endings in KIND_ENDINGS.items() if ending.lower() in endings), "")
    claim = f"Its name says {claimed}, but" if claimed else "Its name doesn't say so, but"
    return _problem(art, "note", "wrong-ending", f"{claim} its content is {KIND_LABELS[art.kind]}, and that counts.")


def _missing_backs(deck: Deck) -> Iterator[Problem]:
    said = {problem.file for problem in deck.problems if problem.code in _BACK_IS_SAID}
    for file in dict.fromkeys(card.front.file for card in deck.cards if card.back is None and card.copies):
        if file not in said:
            yield Problem(file, "warning", "missing-back", "Has no back, so a blank back is printed.",
                          "Add a back of the same name, or a single back for all, to backs/.")


def _same_pictures(deck: Deck) -> Iterator[Problem]:
    first: dict[str, str] = {}
    for front in {card.front.file: card.front for card in deck.cards}.values():
        file = first.setdefault(front.key, front.file)
        if file != front.file:
            yield _problem(front, "note", "same-picture", f"Is the same picture as {file}.",
                           "End one file's name in _x2 to print it twice, and take the other out.")
