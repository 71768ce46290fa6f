"""The whole way in a real browser: folder in, form, sheet, build, download; and the PDF is right."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import Colour, back_colour, choose_folder, front_colour
from tests.web.live import LiveServer, small_deck

_PPI = 150
_MM = 25.4 / _PPI
_CARDS = 6


def rendered(pdf: Path) -> list[NDArray[np.uint8]]:
    """Every page as pdfium sees it, RGB."""
    document = pypdfium2.PdfDocument(pdf)
    pages = [page.render(scale=_PPI / 72).to_pil().convert("RGB") for page in document]
    document.close()
    return [np.asarray(page) for page in pages]


def middle_mm(page: NDArray[np.uint8], colour: Colour) -> tuple[float, float]:
    """The centre of everything in ``colour``, in mm from the page's top-left corner."""
    near = np.abs(page.astype(int) - np.array(colour)).max(axis=2) <= 4
    ys, xs = np.nonzero(near)
    assert len(xs) > 1000, f"{colour} isn't on the page"
    return (xs.min() + xs.max() + 1) / 2 * _MM, (ys.min() + ys.max() + 1) / 2 * _MM


def build(page: Page, to: Path) -> Path:
    """Build on the Output page and download the PDF."""
    page.get_by_role("button", name="Build the PDF").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the PDF").click()
    path = to / download.value.suggested_filename
    download.value.save_as(path)
    return path


def test_from_a_folder_to_a_pdf_that_is_right(page: Page, new_deck: Callable[[str], str],
                                              folder_of: Callable[..., Path], tmp_path: Path) -> None:
    new_deck("Whole way")
    choose_folder(page, folder_of(_CARDS))
    expect(page.locator(".pair")).to_have_count(_CARDS)
    page.get_by_role("link", name="Lay out the sheet").click()
    page.get_by_label("Paper size").select_option("letter")
    page.locator("#f-gutter_mm").fill("6")
    page.get_by_label("Marks for a cutting machine").check()
    expect(page.locator("[data-sheet] > svg")).to_have_attribute("viewBox", "0 0 215.9 279.4")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.get_by_role("link", name="To the output").click()
    expect(page.get_by_text("Nothing to fix: every card has its front and its back.")).to_be_visible()

    pdf = build(page, tmp_path)
    assert pdf.suffix == ".pdf"
    document = pypdfium2.PdfDocument(pdf)
    assert [document.get_page_size(n) for n in range(len(document))] == [pytest.approx((612, 792))] * 2  # ASME Y14.1
    document.close()
    front, back = rendered(pdf)
    for number in range(_CARDS):
        x, y = middle_mm(front, front_colour(number))
        x_back, y_back = middle_mm(back, back_colour(number))
        # A long-edge flip turns the page about its upright middle: each back lies mirrored, at the same height. Both
        # are measured by their own bleed, which is the same on opposite edges here, so half a pixel is what is left.
        assert x_back == pytest.approx(215.9 - x, abs=0.2)
        assert y_back == pytest.approx(y, abs=0.2)
    contours_are_round(front, contours(page, tmp_path))


def contours(page: Page, to: Path) -> ElementTree.Element:
    """The first sheet's contours as they are downloaded, parsed by the standard library; a unit is a millimetre."""
    with page.expect_download() as download:
        page.get_by_role("link", name="Contours as SVG").click()
    download.value.save_as(to / "contours.zip")
    with zipfile.ZipFile(to / "contours.zip") as pack:
        assert pack.namelist() == ["sheet-01.svg"]
        root = ElementTree.fromstring(pack.read("sheet-01.svg"))
    assert (root.attrib["width"], root.attrib["height"]) == ("215.9mm", "279.4mm")
    assert root.attrib["viewBox"] == "0 0 215.9 279.4"
    return root


def contours_are_round(front: NDArray[np.uint8], root: ElementTree.Element) -> None:
    """Each card that pdfium draws has a contour of 63 x 88 mm about its middle, and the marks are there."""
    groups = {group.attrib["id"]: group for group in root if "id" in group.attrib}
    found = [tuple(float(rect.attrib[name]) for name in ("x", "y", "width", "height")) for rect in groups["cut"]]
    assert {(width, height) for _, _, width, height in found} == {(63, 88)}
    for number in range(_CARDS):
        x, y = middle_mm(front, front_colour(number))  # of its bleed, which the paper's margin may cut on one side
        nearest = min(found, key=lambda one: abs(one[0] + 31.5 - x) + abs(one[1] + 44 - y))
        assert (nearest[0] + 31.5, nearest[1] + 44) == pytest.approx((x, y), abs=0.5)
        found.remove(nearest)
    assert not found
    assert len(list(groups["registration"])) >= 3


def test_the_plan_comes_along(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    deck = live_server.deck(small_deck(3), "With plan")
    page.goto(f"/decks/{deck}/output")
    build(page, tmp_path)
    with page.expect_download() as download:
        page.get_by_role("link", name="Plan as JSON").click()
    download.value.save_as(tmp_path / "plan.json")
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert plan["paper"] == {"name": "a4", "width": 210, "height": 297}  # ISO 216
    # A page that is loaded again still has its PDF.
    page.reload()
    expect(page.get_by_role("link", name="Download the PDF")).to_be_visible()


@pytest.mark.parametrize(("method", "setting", "step"), [
    ("duplex", "Both sides, flip on the short edge", "Hold a sheet against a light"),
    ("side-fold", "One-sided", "Crease before any glue"),
    ("two-sheet", "One-sided", "Open, glue, close from the hinge"),
])
def test_settings_and_steps_are_those_of_the_method(page: Page, live_server: LiveServer, method: str, setting: str,
                                                    step: str) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(3), "Method", client)
    revision = client.get(f"/api/decks/{deck}").json()["revision"]
    settings = {"method": method, "flip": "short-edge"}
    assert client.patch(f"/api/decks/{deck}", json={"revision": revision, "settings": settings}).status_code == 200
    page.goto(f"/decks/{deck}/output")
    settings_told = page.locator('[data-steps="print_settings"]')
    expect(settings_told.get_by_role("heading", name=setting)).to_be_visible()
    expect(settings_told.get_by_role("heading", name="Actual size, 100 %")).to_be_visible()
    expect(page.locator('[data-steps="build_steps"]').get_by_role("heading", name=step)).to_be_visible()
    cautions = page.locator(".caution")
    expect(cautions.filter(has_text="Knife and rule").first).to_be_visible()
    expect(cautions.filter(has_text="Spray glue. ")).to_have_count(0 if method == "duplex" else 1)


def test_what_to_fix_comes_first(page: Page, live_server: LiveServer) -> None:
    fronts = {path: content for path, content in small_deck(2).items() if path.startswith("fronts/")}
    deck = live_server.deck(fronts, "No backs")
    page.goto(f"/decks/{deck}/output")
    expect(page.get_by_text("Has no back, so a blank back is printed.")).to_be_visible()
    way_out = page.get_by_role("link", name="Look at them on the Art page")
    expect(way_out).to_have_attribute("href", f"/decks/{deck}/art")


def test_an_empty_deck_says_what_to_do(page: Page, live_server: LiveServer) -> None:
    deck = live_server.deck({}, "Nothing yet")
    page.goto(f"/decks/{deck}/output")
    expect(page.locator("[data-problems]")).to_contain_text("Add fronts on the Art page.")
    expect(page.get_by_role("button", name="Build the PDF")).to_be_disabled()


def test_progress_is_asked_for_where_events_do_not_come(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    deck = live_server.deck(small_deck(3), "By asking")
    page.route("**/api/jobs/*/events", lambda route: route.abort())
    page.goto(f"/decks/{deck}/output")
    assert build(page, tmp_path).stat().st_size > 0


def test_many_problems_are_a_few_lines_above_the_build(page: Page, live_server: LiveServer) -> None:
    fronts = {path: content for path, content in small_deck(2).items() if path.startswith("fronts/")}
    deck = live_server.deck(fronts, "Fleet")

    def crowded(route: Route) -> None:
        plan = route.fetch().json()
        missing = next(one for one in plan["problems"] if one["code"] == "missing-back")
        plan["problems"] = [{**missing, "file": f"fronts/ship-{n}.png"} for n in range(1500)] + [
            {**missing, "code": "low-resolution", "file": f"fronts/ship-{n}.png", "message": f"Prints at {n} ppi."}
            for n in range(1500)]
        route.fulfill(json=plan)

    page.route("**/plan", crowded)
    for width, most in ((1280, 800), (390, 1100)):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"/decks/{deck}/output")
        expect(page.get_by_text("3,000 things to check (they will print)")).to_be_visible()
        top = page.get_by_role("button", name="Build the PDF").bounding_box()
        assert top and top["y"] < most and page.locator(".problem-file").count() <= 4
    many = page.locator(".problem-many", has_text="1,500 files").last
    many.locator("summary").click()
    expect(many.get_by_text("fronts/ship-1499.png")).to_be_attached()
    expect(many.get_by_text("Prints at 1499 ppi.")).to_be_attached()
    expect(page.get_by_role("link", name="Make a back")).to_have_attribute("href", f"/decks/{deck}/glow#g-forgive")
