"""An SVG's text as outlines of the PDF library's own fonts, which have the widths of Helvetica, Times and Courier.

Text in any other font is refused: another machine would draw another width. Layout by SVG 2, chapter 11, as far as
Latin letters from left to right need it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from server.core.geometry import Affine
from server.formats.pdf_source import load_pymupdf
from server.formats.svg_css import TEXT_ONLY, Style
from server.formats.svg_shapes import Units, moved
from server.formats.svg_tree import CantDraw, Node
from server.formats.svg_values import Path, length

if TYPE_CHECKING:
    from server.formats.svg_draw import Drawing

ATTRIBUTES = frozenset(["x", "y", "dx", "dy", "xml:space"])
_TO_PATHS = "Turn its text into paths, or save it as PDF from your drawing program."
# Families of equal widths: URW's fonts, which the library holds, and those that they stand for.
_FAMILIES = {
    **dict.fromkeys(("helvetica", "arial", "nimbus sans"), ("helv", "hebo", "heit", "hebi")),
    **dict.fromkeys(("times", "times new roman", "nimbus roman"), ("tiro", "tibo", "tiit", "tibi")),
    **dict.fromkeys(("courier", "courier new", "nimbus mono"), ("cour", "cobo", "coit", "cobi")),
}
# Some programs name a font of a family by its own name.
_NAMED = {
    "arialmt": "helv", "arial-boldmt": "hebo", "arial-italicmt": "heit", "arial-bolditalicmt": "hebi",
    "helvetica-bold": "hebo", "helvetica-oblique": "heit", "helvetica-boldoblique": "hebi", "times-roman": "tiro",
    "times-bold": "tibo", "times-italic": "tiit", "times-bolditalic": "tibi", "timesnewromanpsmt": "tiro",
    "timesnewromanps-boldmt": "tibo", "timesnewromanps-italicmt": "tiit", "timesnewromanps-bolditalicmt": "tibi",
    "couriernewpsmt": "cour", "couriernewps-boldmt": "cobo", "courier-bold": "cobo", "courier-oblique": "coit",
}
# By how much letters stand closer to the one before, in thousandths of the size, as measured in a browser on fonts of
# these widths: an amount, then a letter with those that follow it so, and so on.
_CLOSER = {
    "helv": "-129 P., Y., -111 F., Taceos.,:; -92 V., Yeoq- -74 ATVY LTVWY PA TA VaA YapA v., y., -65 Y; -55 FA "
            "Twy- Veo- W., Yuv: r., w., -37 AW Ly Tiru Vruy:; WaA Yi -18 Avwy RTVWY TO Vi Weoru:;- ff -9 Wy",
    "hebo": "-129 P., -111 F., T.,:; Y., -92 AY LY V., YA -74 ATV LTV PA TaceosuwyA VoA Yoq:; v., y., -55 AW FA "
            "LW Tr- Vaer:;- WA., Yaepuv- r., -37 Avy Ly RY Vuy Wa Yi w., -20 W- -18 Aw RVW TiO Vi Weoruy:; -9 "
            "Wi",
    "heit": "-129 F., P., -92 LY Taceos.,- Y., -74 ATY FA LT PA TruwyA:; V., Ya- v., y., -55 AV LV VA YeopqA r, "
            "w., -37 LW RY Vaeo- W., Yuv:; r. -18 AvwW Ly RTVW TO Viruy:; WaeA- Yi r- -9 Ay Ti Wi",
    "hebi": "-129 P., -111 F., -92 V., Y., -74 ATVY LTY PA TA.,:; VA W., YA- -55 AW FA LVW T- WA Y:; r., v., "
            "-37 Taceoswy Vaeio:;- W:;- Yaeiopquv w., y., -18 RTWY TiruO Vruy Waeoruy ff -9 Wi",
    "tiro": "-129 AV VoA., Y., -111 AT P., Vaey WA YquA- -100 LY Yaeov -92 AwyY LTV PA T- V- W., Yp:; -80 AW "
            "F., RV TA Waeo -74 Av FA LW T., V:; -70 Taceoswy -65 v., w., y., -60 RT Viru Wy -55 Ly RWY T; W- "
            "Yi r. -50 T: -40 Ry Wiru r, -37 11 W:; -35 Tiru -20 r- -18 TO ff rg",
    "tibo": "-129 AV VA., -111 AW WA Yaeoqv -92 AY F., LTVWY P., Taceosu- Vaeouy:; W., YpuA.,:;- r., -74 AvwyT "
            "FA PA TrwyA.,:; Vr- -55 11 Ly Waeo:; v., w., y., -37 Vi Wy- Yi r- -35 RyTVWY -20 VO -18 TiO Wiru "
            "rceoq",
    "tiit": "-129 FA., PA., V., -111 Vaeo Yq r., -92 Taceos Vy Waeoy., Yaeopuv., -74 11 TwyA.,- ViruA; Yi- v., "
            "w., -70 WA YA -65 T; V: W:; Y:; -55 AvwyY Tiru: V- Wiru y., -50 AV -37 ATW LVW W- rcdegoq -30 Ly "
            "VO -20 LTY r- -18 RyVWY TO rh",
    "tibi": "-129 F., P., V., -111 Vaeo Yeoq -92 AW FA Taceos.,- Yauv,:;- -74 AvwyV PA T:; VyA:; WaeorA., YpA. "
            "-55 11 ATY TA Viru- Wuy:; Yi r., -37 LyVWY Tiruwy Wi- v., w., y., -18 LT RyVWY TO ff",
}
_WEIGHTS = {"normal": 400.0, "bold": 700.0}
_LAST_PLAIN = 0x24F  # of Latin: beyond it letters combine, turn or run the other way


@dataclass(slots=True)
class _Letter:
    char: str
    style: Style
    place: dict[str, float] = field(default_factory=dict)  # of x, y, dx and dy what is said for this letter


def outlines(drawing: Drawing, node: Node, style: Style, view: tuple[float, float]) -> Iterator[tuple[Style, Path]]:
    """What a <text> draws, in user units: one outline for each run of one style. Raises CantDraw."""
    letters = _collapsed(list(_letters(drawing, node, style, view, node.get("xml:space") == "preserve")))
    at = [0.0, 0.0]
    chunk: list[tuple[_Letter, float, float]] = []
    for letter in letters:
        if chunk and ("x" in letter.place or "y" in letter.place):
            yield from _placed(chunk, at[0])
            chunk = []
        elif chunk:
            at[0] -= _closer(chunk[-1][0], letter)
        at = [letter.place.get("x", at[0]), letter.place.get("y", at[1])]
        at = [at[0] + letter.place.get("dx", 0.0), at[1] + letter.place.get("dy", 0.0)]
        chunk.append((letter, at[0], at[1]))
        at[0] += _advance(letter)
    if chunk:
        yield from _placed(chunk, at[0])


def _letters(drawing: Drawing, node: Node, style: Style, view: tuple[float, float], keep: bool) -> Iterator[_Letter]:
    _check(style)
    keep = keep or style.text.get("white-space") in ("pre", "preserve", "break-spaces")
    units = Units(view, style.em)
    lists = {name: [measure(part) for part in re.split(r"[\s,]+", node.get(name)) if part] for name, measure in
             (("x", units.across), ("y", units.down), ("dx", units.across), ("dy", units.down))}
    if max(map(len, lists.values())) > 1 and any(child for child in node.children if child.tag == "tspan"):
        raise CantDraw("text whose parts are placed letter by letter", fix=_TO_PATHS)
    count = 0
    for child in node.inside:
        if isinstance(child, str):
            own = [_Letter(char, style) for char in re.sub(r"[\t\r\n]", " ", child)]
            if keep:
                for letter in own:
                    letter.char = letter.char.replace(" ", "\u00a0")
        elif child.tag in ("tspan", "a"):
            drawing.check(child, ATTRIBUTES if child.tag == "tspan" else frozenset(("href", "target")))
            inner = drawing.cascade.style(child, style)
            if inner["display"] == "none":
                continue
            if inner["opacity"] not in ("1", "100%") or inner["clip-path"] != "none" or inner["mask"] != "none":
                raise CantDraw(f"an opacity, clip or mask on a <{child.tag}>", fix=_TO_PATHS)
            own = list(_letters(drawing, child, inner, view, child.get("xml:space", "preserve" if keep else "")
                                == "preserve"))
        elif drawing.draws(child):
            raise CantDraw(f"<{child.tag}> in a text", fix=_TO_PATHS)
        else:
            continue
        for letter in own:
            if letter.char != " " or count:
                for name, values in lists.items():
                    if count < len(values):
                        letter.place.setdefault(name, values[count])
                count += 1
            yield letter


def _collapsed(letters: list[_Letter]) -> list[_Letter]:
    """Without spaces at the ends and beside another (CSS Text 3, 4.1); kept ones come as no-break spaces."""
    found: list[_Letter] = []
    for letter in letters:
        if letter.char == " " and (not found or found[-1].char == " "):
            continue
        found.append(letter)
    while found and found[-1].char == " ":
        found.pop()
    return found


def _placed(chunk: list[tuple[_Letter, float, float]], end: float) -> Iterator[tuple[Style, Path]]:
    """The outlines of letters that follow one another, moved by their text-anchor."""
    anchor = chunk[0][0].style["text-anchor"]
    if anchor not in ("start", "middle", "end"):
        raise CantDraw(f"text-anchor: {anchor[:20]}")
    back = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * (end - chunk[0][1])
    style, path = chunk[0][0].style, Path()
    for letter, x, y in chunk:
        if letter.style is not style:
            yield style, path
            style, path = letter.style, []
        em = letter.style.em
        path += moved(_glyph(_font(letter.style), letter.char)[0], Affine(em, 0, 0, -em, x - back, y))
    yield style, path


def _closer(before: _Letter, letter: _Letter) -> float:
    """How much closer a letter stands to the one before it (kerning), in user units."""
    if before.style is not letter.style or letter.style.text.get("font-kerning") == "none":
        return 0.0
    return _pairs(_font(letter.style)).get(before.char + letter.char, 0.0) * letter.style.em


@lru_cache
def _pairs(font: str) -> dict[str, float]:
    pairs, amount = dict[str, float](), 0.0
    for word in _CLOSER.get(font, "").split():
        if word.startswith("-"):
            amount = -float(word) / 1000
        else:
            pairs |= dict.fromkeys((word[0] + after for after in word[1:]), amount)
    return pairs


def _advance(letter: _Letter) -> float:
    style = letter.style
    width = _glyph(_font(style), letter.char)[1] * style.em
    if style["letter-spacing"] != "normal":
        width += length(style["letter-spacing"], style.em, style.em)
    if letter.char in " \u00a0" and style["word-spacing"] != "normal":
        width += length(style["word-spacing"], style.em, style.em)
    return width


def _check(style: Style) -> None:
    for name, value in style.text.items():
        if TEXT_ONLY[name] and value not in TEXT_ONLY[name].split():
            raise CantDraw(f"{name}: {value[:40]} in a text", fix=_TO_PATHS)


def _font(style: Style) -> str:
    """The library's name of the font. Raises CantDraw for one that isn't among them."""
    family = style["font-family"].split(",")[0].strip().strip("'\"")
    fonts = _FAMILIES.get(family.lower())
    if family.lower() in _NAMED:
        return _NAMED[family.lower()]
    if fonts is None:
        said = f"text in the font “{family[:40]}”" if family else "text without a font's name"
        raise CantDraw(said, "svg-font", _TO_PATHS)
    weight, slant = style["font-weight"], style["font-style"]
    if slant not in ("normal", "italic", "oblique") or not (weight in _WEIGHTS or weight.isdecimal()):
        raise CantDraw(f"text in the font “{family}”, {weight} {slant}"[:80], "svg-font", _TO_PATHS)
    heavy = _WEIGHTS.get(weight) or float(weight)
    return fonts[(heavy > 500) + 2 * (slant != "normal")]


@lru_cache(maxsize=4000)
def _glyph(font: str, char: str) -> tuple[Path, float]:
    """A letter's outline and its advance, for a font of size 1, y up. Raises CantDraw where the font hasn't got it."""
    pymupdf = load_pymupdf()
    face = _face(font)
    code = 0x20 if char == "\u00a0" else ord(char)
    number = face.has_glyph(code) if code <= _LAST_PLAIN or 0x2010 <= code <= 0x2122 else 0
    if not number:
        raise CantDraw(f"the letter “{char}” (U+{code:04X}), which its font here hasn't got", "svg-font", _TO_PATHS)
    outline = pymupdf.mupdf.fz_outline_glyph(face.this, number, pymupdf.mupdf.FzMatrix())
    walker = _walker()
    pymupdf.mupdf.fz_walk_path(outline, walker, walker.m_internal)
    return walker.steps, float(face.glyph_advance(code))


@lru_cache
def _face(font: str) -> Any:
    return load_pymupdf().Font(font)


def _walker() -> Any:
    """What collects the steps of an outline as the library walks it."""
    base: Any = load_pymupdf().mupdf.FzPathWalker2

    class Walker(base):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__()
            self.steps: Path = []
            for name in ("moveto", "lineto", "curveto", "closepath"):
                getattr(self, f"use_virtual_{name}")()

        def moveto(self, context: Any, x: float, y: float) -> None:
            self.steps.append(("M", (x, y)))

        def lineto(self, context: Any, x: float, y: float) -> None:
            self.steps.append(("L", (x, y)))

        def curveto(self, context: Any, *at: float) -> None:
            self.steps.append(("C", at[:2], at[2:4], at[4:]))  # type: ignore[arg-type]

        def closepath(self, context: Any) -> None:
            self.steps.append(("Z",))

    return Walker()
