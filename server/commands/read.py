"""``lampfold read``: the test sheet's numbers, or a printed deck sheet's, from a photograph against the light."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.options import add_parser, check_place, write_whole
from server.commands.report import as_json, counted, here, table, wrapped
from server.errors import BadValue
from server.formats.apart import apart
from server.formats.limits import DEFAULT_LIMITS, BadArt

if TYPE_CHECKING:
    from server.core.camera_marks import DeckSheet
    from server.core.sighting import SheetSight
    from server.photo.reading import ReadSheet

SOMETHING_UNREAD = 1
_AS_MANY_FILES = 20  # whose time one picture may take; a scanner's PDF holds many


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``read``."""
    parser = add_parser(subparsers, "read", "read test sheets and decks' sheets from photographs against the light",
                        "Hold or tape the sheet to a bright window, front towards you, the room dark, and have all of "
                        "it in the picture. Several pictures of one sheet are joined by a plus sign: a.jpg+b.jpg. Two "
                        "scans need the paper's edges in both, and can't show a wrong flip.")
    parser.add_argument("photos", nargs="*", metavar="PHOTO",
                        help="a photograph of a sheet (JPEG, PNG, WebP), or a scanner's PDF of front and back")
    parser.add_argument("--front", type=Path, metavar="F", help="a flatbed's scan of the front, with --back")
    parser.add_argument("--back", type=Path, metavar="B", help="a flatbed's scan of the same sheet's back")
    parser.add_argument("--paper", default="a4", metavar="NAME|WxH", help="what the sheet was printed on (default: a4)")
    parser.add_argument("--flip", choices=("long-edge", "short-edge"), default="long-edge",
                        help="how the sheet was turned (default: long-edge)")
    parser.add_argument("--deck", type=Path, metavar="PLAN.json",
                        help="the pictures show sheets of this plan, which build --plan wrote; it tells where their "
                             "marks lie. Without it a deck's sheet is known by its marks all the same")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("--out", type=Path, metavar="READINGS.csv", help="write the readings, for lampfold fit")
    parser.add_argument("--picture", type=Path, metavar="OUT.png",
                        help="write the picture with what was found drawn on it; several are numbered")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, print and write; exit code 0, or 1 where of some sheet nothing could be read or something is wrong with it.
    A station that can't be read is named with what to do, and is no fault where others are: a fit does without.

    Raises LampfoldError for what is no picture, naming it.
    """
    from server.core.sighting import sheets_csv, sheets_json

    for option, place in (("--out", arguments.out), ("--picture", arguments.picture)):
        if place:
            check_place(option, place, *(path for one in arguments.photos for path in _parts(one)))
    sheets = _sheets(arguments)
    sights = [sheet.sight for sheet in sheets]
    if arguments.out:
        if not any(sight.read and sight.kind == "test sheet" for sight in sights):
            for line in _lines(sights, bool(arguments.deck)):
                print(line)
            raise BadValue("--out: no station of a test sheet was read.", "See above what to do about each picture.")
        write_whole("--out", arguments.out, sheets_csv(sights).encode("utf-8"))
    if arguments.picture:
        _write_pictures(arguments.picture, [png for sheet in sheets for png in sheet.drawn])
    if arguments.json:
        print(as_json(sheets_json(sights)))
    else:
        for line in _lines(sights, bool(arguments.deck)):
            print(line)
        if arguments.out:
            print(f"{arguments.out}: written. Then: lampfold fit {arguments.out} --paper {arguments.paper}")
    return 0 if all(sight.read and not sight.problems for sight in sights) else SOMETHING_UNREAD


def _parts(text: str) -> list[Path]:
    """The files of one argument: a plus sign joins them, unless it belongs to a file's name."""
    whole = Path(text)
    return [whole] if whole.exists() or "+" not in text else [Path(part) for part in text.split("+") if part]


def _sheets(arguments: argparse.Namespace) -> list[ReadSheet]:
    from server.core.sizes import paper_named
    from server.photo.reading import check_can_read, read_photos, read_two_scans

    paper, draw = paper_named(arguments.paper), ".png" if arguments.picture else ""
    deck = _deck(arguments.deck) if arguments.deck else None
    if (arguments.front is None) != (arguments.back is None):
        raise BadValue("--front: two scans belong together.", "Give both --front F and --back B.")
    if arguments.front and arguments.photos:
        raise BadValue("PHOTO: give photographs or two scans, not both.", "Run the command once for each.")
    if arguments.front and deck:
        raise BadValue("--deck: two scans are read of test sheets only.", "Take a photograph against the light.")
    if not (arguments.front or arguments.photos):
        raise BadValue("PHOTO: no picture is given.", "lampfold read PHOTO.jpg, or --front F --back B for two scans.")
    check_can_read()
    if arguments.front:
        front, back = ((path.absolute(), str(path)) for path in (arguments.front, arguments.back))
        return [_apart(f"{front[1]} + {back[1]}", 2, read_two_scans, front, back, paper, arguments.flip, DEFAULT_LIMITS,
                       draw)]
    found: list[ReadSheet] = []
    for one in arguments.photos:
        parts = [(path.absolute(), str(path)) for path in _parts(one)]
        found += _apart(one, len(parts), read_photos, parts, paper, arguments.flip, DEFAULT_LIMITS, draw, deck)
    return found


def _apart(label: str, pictures: int, function: Callable[..., Any], *given: Any) -> Any:
    """Read where a picture that is a trap does no harm, in the time of so many."""
    try:
        return apart(label, function, *given, times=_AS_MANY_FILES * pictures)
    except BadArt as error:
        if error.code != "too-much-inside":
            raise
        raise BadArt(error.message, "Take the picture again, or save it anew as JPEG.", error.code) from None


def _deck(place: Path) -> DeckSheet:
    from server.core.camera_marks import deck_sheet_from_json

    try:
        return deck_sheet_from_json(json.loads(place.read_bytes()), f"--deck {place}")
    except OSError as error:
        raise BadValue(f"--deck {place} can't be read: {error.strerror or error}.", "Check the place.") from None
    except ValueError as error:
        if isinstance(error, BadValue):
            raise
        raise BadValue(f"--deck {place}: is no JSON.", "Give what build --plan FILE.json wrote.") from None


def _write_pictures(place: Path, pictures: Sequence[bytes]) -> None:
    for number, png in enumerate(pictures, 1):
        at = place if len(pictures) == 1 else place.with_name(f"{place.stem}-{number}{place.suffix}")
        write_whole("--picture", at, png)


def _lines(sights: Sequence[SheetSight], planned: bool) -> Iterator[str]:
    for number, sight in enumerate(sights, 1):
        if number > 1:
            yield ""
        name = "mark" if sight.kind == "deck sheet" else "station"
        stations = counted(len(sight.stations), name)
        what = f"{sight.kind}, {len(sight.read)} of {stations} read" if sight.stations else "not read"
        yield f"{sight.photo}: {what}."
        for problem in sight.problems:
            yield from wrapped(f"{problem.message} {here(problem.fix)}", "  ")
        if sight.stations:
            yield from table([(f"  {name}", "dx mm", "dy mm", "± mm", ""), *(_row(one) for one in sight.stations)])
        if sight.off:
            yield from wrapped(f"On this sheet the back {sight.off.says()}, told at {_where(sight, planned)}: what is "
                               "left over of a drift, if the sheet was corrected for one.", "  ")


def _where(sight: SheetSight, planned: bool) -> str:
    """Where a sheet's shift is told; only the plan says where on the paper the marks lie."""
    if sight.off and sight.off.rotation_deg is None:
        return f"mark {sight.read[0].station} alone, so that its turn isn't known"
    return "the middle of the sheet" if planned else "the middle between its marks"


def _row(one: Any) -> tuple[str, ...]:
    if not one.read:
        return f"  {one.station}", "–", "–", "–", one.why
    return f"  {one.station}", f"{one.dx_mm + 0.0:+.3f}", f"{one.dy_mm + 0.0:+.3f}", f"{one.sigma_mm:.3f}", ""
