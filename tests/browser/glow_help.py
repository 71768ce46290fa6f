"""What the Glow tests share: decks of known colours, the page opened on one, and the same sheet by other means."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw
from playwright.sync_api import Page, expect

from server.cli import main
from tests.web.live import LiveServer

PPI = 254  # 10 px to the mm
PX_MM = 10


def cornered(colour: tuple[int, int, int]) -> bytes:
    """A card of 63 x 88 mm with a patch of its own colour in each corner, so that no turn or mirror goes unseen."""
    image, out = Image.new("RGB", (630, 880), colour), io.BytesIO()
    pen = ImageDraw.Draw(image)
    patches = ((0, 0, (220, 40, 40)), (430, 0, (40, 180, 60)), (430, 680, (40, 70, 220)), (0, 680, (230, 200, 40)))
    for x, y, patch in patches:
        pen.rectangle((x, y, x + 199, y + 199), fill=patch)
    image.save(out, "PNG")
    return out.getvalue()


def cornered_deck(cards: int) -> dict[str, bytes]:
    """Files of a deck of such cards, each front with its own back."""
    files = {}
    for number in range(cards):
        files[f"fronts/keeper-{number}.png"] = cornered((240 - 15 * number, 200, 160))
        files[f"backs/keeper-{number}.png"] = cornered((160, 240 - 15 * number, 210))
    return files


def open_glow(page: Page, deck: str) -> None:
    page.goto(f"/decks/{deck}/glow")
    page.wait_for_selector("body[data-sheet-shown]")
    page.wait_for_function("() => !document.querySelector('[data-leeway-list]').hasAttribute('aria-busy')")


def set_settings(server: LiveServer, deck: str, **settings: Any) -> None:
    client = server.client()
    revision = client.get(f"/api/decks/{deck}").json()["revision"]
    answer = client.patch(f"/api/decks/{deck}", json={"revision": revision, "settings": settings})
    assert answer.status_code == 200, answer.text


def move(page: Page, **numbers: float) -> None:
    """Type numbers into the fields of the move: dx, dy, turn, scale."""
    for name, value in numbers.items():
        page.locator(f"#n-{name}").fill(str(value))
        page.locator(f"#n-{name}").press("Enter")
        page.locator(f"#n-{name}").blur()
    settle(page)


def settle(page: Page) -> None:
    """Two frames later everything that was asked for has been drawn."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def seen(page: Page, points: list[tuple[float, float]]) -> np.ndarray:
    """The lit panel's colour at points of the front, in mm: the mean of the pixels around each."""
    values = page.evaluate("""(points) => {
      const canvas = document.querySelector("[data-light]");
      const [a, b, c, d, e, f] = canvas.dataset.view.split(" ").map(Number);
      const context = canvas.getContext("2d");
      return points.map(([x, y]) => {
        const [left, top] = [Math.floor(a * x + c * y + e) - 1, Math.floor(b * x + d * y + f) - 1];
        const pixels = context.getImageData(left, top, 3, 3).data;
        const sum = [0, 0, 0];
        for (let at = 0; at < pixels.length; at++) if (at % 4 < 3) sum[at % 4] += pixels[at] / 9;
        return sum;
      });
    }""", points)
    return np.array(values)


@dataclass(frozen=True)
class Printed:
    """The same sheet by the command line and pdfium: its plan, and its pages as pictures of 10 px to the mm."""

    plan: dict[str, Any]
    pages: dict[str, Image.Image]

    def behind(self, image: Image.Image) -> Image.Image:
        """A page as it lies behind the front: mirrored on the plan's own axis, by Pillow."""
        axis, at = self.plan["through_front"]["axis"], self.plan["through_front"]["at"] * 2 * PX_MM
        matrix = (-1, 0, at, 0, 1, 0) if axis == "vertical" else (1, 0, 0, 0, -1, at)
        return image.transform(image.size, Image.Transform.AFFINE, matrix, Image.Resampling.BILINEAR,
                               fillcolor="white")


def print_sheet(folder: Path, files: dict[str, bytes], **settings: Any) -> Printed:
    """Write the files into ``folder``, build them by ``lampfold build`` and render sheet 1 by pdfium."""
    for name, content in files.items():
        path = folder / "deck" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    names = {"bleed_mm": "bleed", "gutter_mm": "gutter", "core_mm": "core", "card_turned": "turn-cards"}
    options = [part for name, value in settings.items()
               for part in (f"--{names.get(name, name.replace('_', '-'))}", str(value))]
    out, plan = folder / "out.pdf", folder / "plan.json"
    assert main(["build", str(folder / "deck"), "--out", str(out), "--plan", str(plan), *options]) == 0
    told = json.loads(plan.read_text(encoding="utf-8"))
    pages = {}
    with pypdfium2.PdfDocument(out) as document:
        for page in told["pages"]:
            if page["sheet"] == 1:
                image = document[page["page"] - 1].render(scale=PPI / 72).to_pil().convert("RGB")
                pages[page["face"]] = image
    return Printed(told, pages)


def wait_for_words(page: Page) -> None:
    """The words about the cards follow a moment after the pictures."""
    expect(page.locator("[data-cut-rows] tr").first).to_be_attached()
    page.wait_for_timeout(250)
