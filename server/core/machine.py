"""What a cutting machine is given for a sheet: contours, creases and registration marks as SVG in mm.

One file for each sheet, in the front page's frame, so that it lies on the printed page as it is. Plain SVG 1.1: sizes
in mm on the root, one user unit a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from server.core.box import Box
from server.core.geometry import Affine, Rect
from server.core.marks import Mark, marks_for
from server.core.plan import Line
from server.core.planning import Planned

_HAIR_MM = 0.1


def sheet_name(sheet: int) -> str:
    """The file of a sheet that is counted from 0."""
    return f"sheet-{sheet + 1:02d}.svg"


def machine_files(planned: Planned) -> dict[str, str]:
    """Every file by its name: a sheet each, and the box where the deck has one."""
    files = {sheet_name(sheet): sheet_svg(planned, sheet) for sheet in range(planned.plan.sheet_count)}
    return {**files, "box.svg": box_svg(planned.box)} if planned.box else files


def sheet_svg(planned: Planned, sheet: int) -> str:
    """One sheet's contours, of the cards that are on it."""
    plan, layout = planned.plan, planned.plan.layout
    face = next(face for face in plan.faces if face.sheet == sheet and face.name != "back")
    cards = len(plan.cards_on(sheet))
    radius = planned.settings.radius_mm
    cut = [_rect(unit, radius) for unit in layout.cut_units[:cards]]
    creases = [_line(line) for line in layout.creases_on(cards)]
    marks = [_mark(mark) for mark in marks_for(plan, face) if mark.kind == "registration"]
    return _document(layout.page, f"{plan.deck_name}, sheet {sheet + 1}", plan.correction(face),
                     {"cut": cut, "creases": creases, "registration": marks})


def box_svg(box: Box) -> str:
    """The box's contour and creases, in its page's frame. Its page carries no marks: it is found by its own corners."""
    page = Rect(0, 0, box.paper.width_mm, box.paper.height_mm)
    return _document(page, "Box", Affine(), {"cut": [_line(line) for line in box.contour],
                                             "creases": [_line(fold.line) for fold in box.folds], "registration": []})


def _document(page: Rect, title: str, drawn: Affine, groups: dict[str, list[str]]) -> str:
    size = f'width="{_n(page.width)}mm" height="{_n(page.height)}mm" viewBox="0 0 {_n(page.width)} {_n(page.height)}"'
    moved = "" if drawn.is_identity else (
        f' transform="matrix({" ".join(f"{value:.9g}" for value in (drawn.a, drawn.b, drawn.c, drawn.d))} '
        f'{_n(drawn.e)} {_n(drawn.f)})"')
    colours = {"cut": "#d00000", "creases": "#0050d0", "registration": "#000000"}
    body = "\n".join(
        f'<g id="{name}" fill="none" stroke="{colours[name]}" stroke-width="{_HAIR_MM}"{moved}>\n{_lines(shapes)}</g>'
        for name, shapes in groups.items())
    return (f'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" version="1.1" {size}>\n'
            f"<title>{escape(title, quote=False)}</title>\n{body}\n</svg>\n")


def _lines(shapes: Iterable[str]) -> str:
    return "".join(f"{shape}\n" for shape in shapes)


def _rect(rect: Rect, radius_mm: float = 0.0) -> str:
    rounded = f' rx="{_n(radius_mm)}" ry="{_n(radius_mm)}"' if radius_mm > 0 else ""
    return f'<rect x="{_n(rect.x)}" y="{_n(rect.y)}" width="{_n(rect.width)}" height="{_n(rect.height)}"{rounded}/>'


def _line(line: Line) -> str:
    (x1, y1), (x2, y2) = line.start, line.end
    return f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"/>'


def _mark(mark: Mark) -> str:
    """One group for each mark: its ring and its cross, as the PDF has them."""
    shapes = [f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"/>' for (x, y), radius in mark.rings]
    shapes += [_line(line) for line in mark.lines]
    for polygon in mark.polygons:
        points = " ".join(f"{_n(x)},{_n(y)}" for x, y in polygon)
        shapes.append(f'<polygon points="{points}" fill="#000000" stroke="none"/>')
    return f"<g>{''.join(shapes)}</g>"


def _n(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
