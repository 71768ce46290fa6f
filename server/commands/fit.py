"""``lampfold fit``: from what was read against the light to the printer's drift and wander."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.options import add_parser, check_place, read_text, write_whole
from server.commands.report import as_json, counted, table, wrapped
from server.errors import BadValue

if TYPE_CHECKING:
    from server.core.registration import Drift, Fit, Reading, Suspect, Wander
    from server.core.registration.printer import Printer

_MOST_BYTES = 1_000_000
_EDGES = ("left", "top", "right", "bottom")


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``fit``."""
    parser = add_parser(subparsers, "fit", "find a printer's drift from what was read on its test sheets",
                        "READINGS.csv has the columns sheet,station,dx_mm,dy_mm or sheet,x_mm,y_mm,dx_mm,dy_mm; right "
                        "and low are above zero. End a column's name in _in for inches.")
    parser.add_argument("readings", type=Path, nargs="?", metavar="READINGS.csv", help="the readings")
    parser.add_argument("--shift", metavar="TEXT",
                        help="the plain way, instead of readings: '1.2 right 0.8 low', or 1.2,0.8")
    parser.add_argument("--paper", default="a4", metavar="NAME|WxH", help="what the sheet was printed on (default: a4)")
    parser.add_argument("--unit", choices=("mm", "in"), default="mm",
                        help="the unit of numbers that don't say theirs (default: mm)")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("--out", type=Path, metavar="PRINTER.json",
                        help="write the printer's file, which build, nudge and test-sheet take as --printer")
    parser.add_argument("--name", metavar="TEXT", help="the printer's name (default: that of PRINTER.json)")
    parser.add_argument("--flip", choices=("long-edge", "short-edge"), default="long-edge",
                        help="how the sheet was turned (default: long-edge)")
    parser.add_argument("--feed", default="", metavar="TEXT", help="tray or feed, in your words")
    parser.add_argument("--margin", default="5", metavar="MM|L,T,R,B",
                        help="edges that the printer can't reach (default: 5 mm)")
    parser.add_argument("--ruler", metavar="WxH",
                        help="what the front's long rulers really measure across and down, such as 189.6x269.4")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Fit, print, and write the printer's file where ``--out`` asks for one; exit code 0.

    Raises LampfoldError, naming the file and line or the option.
    """
    from server.core.registration import fit_drift, parse_plain
    from server.core.registration.printer import check_drift
    from server.core.registration.wander import NEVER_MEASURED
    from server.core.sizes import paper_named

    if (arguments.readings is None) == (arguments.shift is None):
        raise BadValue("READINGS.csv: give either readings or --shift.",
                       "lampfold fit READINGS.csv, or lampfold fit --shift '1.2 right 0.8 low'.")
    paper = paper_named(arguments.paper)
    printer = _blank(arguments, paper) if arguments.out else None
    fit = None
    if arguments.readings is not None:
        readings = _readings(arguments)
        fit = fit_drift(readings, (paper.width_mm / 2, paper.height_mm / 2))
        drift, wander = fit.drift, fit.wander
        if printer:
            printer = printer.trued(drift, date.today(), wander, readings)
    else:
        drift, wander = _plain_drift(paper.width_mm / 2, paper.height_mm / 2,
                                     *parse_plain(arguments.shift, arguments.unit)), NEVER_MEASURED
        check_drift(drift)
        if printer:
            printer = printer.trued(drift, date.today())
    if printer:
        from server.core.registration.printer_file import printer_text

        write_whole("--out", arguments.out, printer_text(printer).encode("utf-8"))
    if arguments.json:
        print(as_json(fit_values(drift, wander, fit)))
    else:
        for line in _lines(arguments, drift, wander, fit):
            print(line)
    return 0


def fit_values(drift: Drift, wander: Wander, fit: Fit | None) -> dict[str, Any]:
    """The fit as plain values: lengths in mm, dx and dy at the paper's centre. None where nobody can know: the rms
    without readings, wander and confidence without a second sheet."""
    known = wander.radius_mm is not None
    return {
        "dx_mm": _round(drift.dx_mm), "dy_mm": _round(drift.dy_mm), "rotation_deg": _round(drift.rotation_deg),
        "scale_x": _round(drift.scale_x), "scale_y": _round(drift.scale_y),
        "rms_mm": _round(fit.rms_mm) if fit else None, "sheets": wander.sheets,
        "wander_mm": _round(wander.radius_mm) if wander.radius_mm is not None else None,
        "confidence": wander.confidence if known else None,
        "suspect": [_suspect_values(suspect) for suspect in fit.suspects] if fit else [],
    }


def _round(value: float) -> float:
    return round(value, 8) + 0.0  # never -0


def _suspect_values(suspect: Suspect) -> dict[str, Any]:
    read = suspect.reading
    dx, dy = read.numbers
    return {"sheet": read.sheet, "station": read.station, "x_mm": read.x_mm, "y_mm": read.y_mm, "dx_mm": dx,
            "dy_mm": dy, "fits_dx_mm": suspect.fits_dx_mm, "fits_dy_mm": suspect.fits_dy_mm,
            "why": suspect.why}


def _plain_drift(x_mm: float, y_mm: float, dx_mm: float, dy_mm: float) -> Drift:
    from server.core.registration import Drift

    return Drift.of((x_mm, y_mm), dx_mm, dy_mm)


def _readings(arguments: argparse.Namespace) -> tuple[Reading, ...]:
    from server.core.gauge_sheet import station_points
    from server.core.registration import parse_readings
    from server.core.sizes import paper_named

    text = read_text("READINGS.csv", arguments.readings, _MOST_BYTES, "Write the readings as a CSV table.")
    try:
        stations = station_points(paper_named(arguments.paper))
    except BadValue:
        stations = {}  # paper too small for our sheet may still be read by points
    try:
        return parse_readings(text, stations, arguments.unit)
    except BadValue as error:
        raise BadValue(f"{arguments.readings}: {error.message}", error.fix) from None


def _blank(arguments: argparse.Namespace, paper: Any) -> Printer:
    """The printer's file before it has a drift. Raises BadValue, naming the option."""
    from server.core.registration.printer import Printer, named

    check_place("--out", arguments.out, *([arguments.readings] if arguments.readings else []))
    return Printer(named(arguments.name or arguments.out.stem), paper, arguments.flip, arguments.feed,
                   _margins(arguments.margin), front_scale=_front_scale(arguments.ruler, paper))


def _margins(text: str) -> Any:
    from server.core.geometry import Edges
    from server.core.units import parse_length

    parts = [parse_length(part, "--margin") for part in text.split(",")]
    if len(parts) not in (1, 4) or not all(0 <= part <= 60 for part in parts):
        raise BadValue(f"--margin: {text!r} is neither one length nor four from 0 to 60 mm.",
                       "Write 5, or left,top,right,bottom such as 4,4,4,14.")
    return Edges.all(parts[0]) if len(parts) == 1 else Edges(*parts)


def _front_scale(text: str | None, paper: Any) -> tuple[float, float]:
    """How large the front is printed, from what its rulers really measure."""
    from server.core.gauge_sheet import ruler_length_mm
    from server.core.units import mm_text, parse_size

    if text is None:
        return 1.0, 1.0
    meant = ruler_length_mm(paper.width_mm), ruler_length_mm(paper.height_mm)
    measured = parse_size(text, "--ruler")
    scale = measured[0] / meant[0], measured[1] / meant[1]
    if not all(0.9 <= one <= 1.1 for one in scale):
        raise BadValue(f"--ruler: {mm_text(measured[0])} × {mm_text(measured[1])} mm is more than a tenth off the "
                       f"printed {meant[0]} × {meant[1]} mm.", "Measure both long rulers from 0 to their last number.")
    return scale


def _lines(arguments: argparse.Namespace, drift: Drift, wander: Wander, fit: Fit | None) -> Iterator[str]:
    from server.core.units import mm_text

    yield f"The back {drift.says()}."
    yield f"  dx, dy at the centre  {mm_text(drift.dx_mm, 3)}, {mm_text(drift.dy_mm, 3)} mm (right and low are +)"
    yield f"  Rotation              {mm_text(drift.rotation_deg, 4)}° (clockwise is +)"
    yield f"  Scale x, y            {drift.scale_x:.5f}, {drift.scale_y:.5f}"
    if fit and fit.model == "affine":
        yield f"  Out of square         {mm_text(drift.squareness_deg, 4)}°"
    if fit:
        count = len(fit.residuals) - len(fit.suspects)
        yield (f"  Typical misfit        {mm_text(fit.rms_mm, 3)} mm, {counted(count, 'reading')} of "
               f"{counted(fit.sheets, 'sheet')}")
        yield ""
        yield "Misfit at each reading, in mm"
        yield from table([("dx", "dy", "where"), *_residual_rows(fit)])
    yield ""
    notes: Sequence[str] = fit.notes() if fit else (wander.says(),)
    for note in notes:
        yield from wrapped(note, "")
    if arguments.out:
        yield ""
        yield f"{arguments.out}: written. Use it as --printer with build, nudge and test-sheet."


def _residual_rows(fit: Fit) -> Iterator[tuple[str, ...]]:
    doubted = {suspect.reading for suspect in fit.suspects}
    for one in fit.residuals:
        yield (*("" if number is None else f"{left + 0.0:+.3f}"
                 for number, left in zip(one.reading.numbers, (one.dx_mm, one.dy_mm), strict=True)),
               one.reading.name + (" (left out)" if one.reading in doubted else ""))
