"""The SVG files of ``svg_files.json``: what is drawn, by what it is about, and what is refused, with its cause."""

from __future__ import annotations

import base64
import io
import json
import re
from pathlib import Path
from typing import Any

from PIL import Image

NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
_OPENS = re.compile(r"<(?:\w+:)?svg\b")


def _fields(size: tuple[int, int], mode: str = "RGB") -> Image.Image:
    """A picture of four fields in four colours, the upper right one half clear where it can be."""
    image = Image.new(mode, size, (200, 60, 40))
    right, bottom = size[0] // 2, size[1] // 2
    image.paste((40, 90, 200, 110)[:len(mode)], (right, 0, size[0], bottom))
    image.paste((60, 160, 60), (0, bottom, right, size[1]))
    image.paste((240, 220, 90), (right, bottom, *size))
    return image


def link(image: Image.Image, kind: str, **more: Any) -> str:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return f"data:image/{kind.lower()};base64,{base64.b64encode(out.getvalue()).decode()}"


def _pictures() -> dict[str, str]:
    return {"{png}": link(_fields((60, 40)), "PNG"), "{png, clear}": link(_fields((60, 40), "RGBA"), "PNG"),
            "{jpeg}": link(_fields((240, 160)), "JPEG"), "{webp}": link(_fields((60, 40)), "WEBP", lossless=True),
            "{grey jpeg}": link(_fields((120, 80)).convert("L"), "JPEG")}


def svg(text: str, more: str = 'width="60mm" height="60mm" viewBox="0 0 100 100"') -> str:
    """A whole file: of a body, in a square of 100 units, as wide as a card; of a file, with SVG's namespaces where it
    names none."""
    opening = _OPENS.search(text)
    if not opening or "<" in text[:opening.start()].replace("<?", "").replace("<!", ""):
        return f"<svg {NAMESPACES} {more}>{text}</svg>"
    at = opening.end()
    return text if "xmlns=" in text[at:text.index(">", at)] else f"{text[:at]} {NAMESPACES}{text[at:]}"


def _read() -> tuple[dict[str, str], dict[str, tuple[str, str, str]]]:
    kept = json.loads((Path(__file__).parent / "svg_files.json").read_text(encoding="utf-8"))
    pictures = _pictures()

    def whole(text: str) -> str:
        for name, data in pictures.items():
            text = text.replace(name, data)
        return svg(text)

    return ({name: whole(text) for name, text in kept["drawn"].items()},
            {name: (whole(one["svg"]), one["code"], one["says"]) for name, one in kept["refused"].items()})


DRAWN, REFUSED = _read()
