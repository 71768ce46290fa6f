"""True-up in a real browser: print, read, see the drift drawn, save, choose the printer, build; and the backs moved."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import back_colour, choose_folder, front_colour
from tests.browser.test_output_page import build, middle_mm, rendered
from tests.browser.true_up_help import STATIONS, enter, kept, no_printers
from tests.web.live import LiveServer

__all__ = ["no_printers"]

pytestmark = pytest.mark.usefixtures("no_printers")


def test_from_the_test_sheet_to_backs_that_moved(page: Page, live_server: LiveServer, new_deck: Callable[[str], str],
                                                 folder_of: Callable[..., Path], tmp_path: Path) -> None:
    deck = new_deck("Trued")
    choose_folder(page, folder_of(4))
    expect(page.locator(".pair")).to_have_count(4)
    page.goto(f"/decks/{deck}/sheet")
    page.locator("#f-gutter_mm").fill("6")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.goto(f"/decks/{deck}/output")
    expect(page.locator("[data-printer-line]")).to_contain_text("not trued up")
    before = rendered(build(page, tmp_path / "before"))

    page.goto(f"/decks/{deck}/true-up")
    page.get_by_label("Printer's name").fill("Harbour office")
    with page.expect_download() as download:
        page.get_by_role("link", name="Test sheet, PDF").click()
    assert download.value.suggested_filename == "test-sheet-a4-long-edge.pdf"
    download.value.save_as(tmp_path / "sheet.pdf")
    assert len(pypdfium2.PdfDocument(tmp_path / "sheet.pdf")) == 2
    enter(page, dict.fromkeys(STATIONS, ("1.4", "-0.9")))
    answer = page.locator("[data-answer]")
    expect(answer).to_contain_text("The back lands 1.4 mm right and 0.9 mm high")
    expect(answer.locator(".drift .dr-arrow")).to_have_count(5)
    page.get_by_role("button", name="Save the printer", exact=True).click()
    expect(page.locator(".tu-printer")).to_contain_text("Trued up")
    assert kept(live_server)["drift"]["dx_mm"] == pytest.approx(1.4)

    page.goto(f"/decks/{deck}/sheet")
    page.get_by_label("Printer", exact=True).select_option("Harbour office")
    expect(page.locator("[data-notes]")).to_contain_text("Made for Harbour office, trued up")
    expect(page.locator("[data-save-state]")).to_have_text("Saved")
    page.goto(f"/decks/{deck}/output")
    expect(page.locator("[data-printer-line]")).to_contain_text("Made for Harbour office, trued up")
    after = rendered(build(page, tmp_path / "after"))
    shift = None
    for number in range(4):
        at, moved = (middle_mm(pages[0], front_colour(number)) for pages in (before, after))
        # The search may lay the cards out a little further in; fronts tell by how much, and backs go along, mirrored.
        shift = moved[0] - at[0], moved[1] - at[1]
        at, moved = (middle_mm(pages[1], back_colour(number)) for pages in (before, after))
        # A back that lands 1.4 mm right and 0.9 mm high is drawn 1.4 mm left and 0.9 mm low as seen through the
        # front, and on its own page, turned about the upright middle, left is right.
        assert moved[0] - at[0] == pytest.approx(-shift[0] + 1.4, abs=0.2)
        assert moved[1] - at[1] == pytest.approx(shift[1] + 0.9, abs=0.2)


def landed(station: int) -> tuple[str, str]:
    """A turn of 0.3 degrees clockwise about the middle: dx = -t (y - y0), dy = t (x - x0), t = 0.00524."""
    x, y = STATIONS[station]
    return f"{-0.00524 * (y - 148.5):.1f}", f"{0.00524 * (x - 105):.1f}"


def test_a_turn_is_told_and_a_slip_is_named(page: Page) -> None:
    page.goto("/true-up")
    numbers = {station: landed(station) for station in STATIONS}
    enter(page, {**numbers, 4: (numbers[4][0].lstrip("-"), numbers[4][1])})
    slip = page.locator("[data-answer] .notice").filter(has_text="does not fit the others")
    expect(slip).to_contain_text("station 4")
    expect(page.locator(".dr-cross")).to_have_count(1)
    slip.get_by_role("button", name=re.compile("^Put in")).click()
    expect(slip).to_have_count(0)
    expect(page.locator("#read-dx")).to_have_value(numbers[4][0].replace("-", "−"))
    expect(page.locator(".dr-numbers")).to_contain_text(re.compile(r"0\.(29|30|31)° clockwise"))
    expect(page.locator("[data-answer]")).to_contain_text("One sheet can't show how far sheets differ")


@pytest.mark.parametrize("axis", ["dx", "dy"])
def test_the_picture_is_what_the_number_looks_like(page: Page, axis: str) -> None:
    """The pair of lines that coincides is found from the picture's own lines, and is the marked one."""
    page.goto("/true-up")
    page.locator(f"#read-{'dy' if axis == 'dx' else 'dx'}").fill("0")
    for tenths in range(-39, 40, 3):
        page.locator(f"#read-{axis}").fill(f"{tenths / 10}")
        lines, marked = page.evaluate("""axis => {
            const svg = document.querySelector('[data-reader=read] [data-picture] svg');
            const numbers = (text) => (text ?? '').match(/-?[0-9.]+/g)?.map(Number) ?? [0, 0];
            const at = (name) => {
                const group = svg.querySelector(name);
                const [x, y] = numbers(group.getAttribute('transform'));
                return group.querySelector('path').getAttribute('d').split('M').slice(1).map(numbers)
                    .filter(([a, b, c, d]) => axis === 'dx' ? a === c : b === d)
                    .map(([a, b, c, d]) => axis === 'dx' ? [a + x, (b + d) / 2 + y] : [b + y, (a + c) / 2 + x]);
            };
            const marks = [...svg.querySelectorAll('.st-mark')].map((one) => [one.getAttribute('transform'),
                one.querySelector('path').getAttribute('d')]);
            return [[at('.st-front'), at('.st-back')], marks];
        }""", axis)
        sign = -1 if tenths < 0 else 1
        # This arm's two scales: outwards of 7 mm, and not as far aside as the small ruler.
        front, back = ([abs(u) for u, v in one if u * sign > 7 and abs(v) < 5] for one in lines)
        assert len(front) == 14 and len(back) == 10
        u = min(front, key=lambda main: min(abs(main - other) for other in back))
        assert min(abs(u - other) for other in back) < 1e-6  # vernier principle: one line runs straight on
        turn = {("dx", 1): 0, ("dx", -1): 180, ("dy", 1): 90, ("dy", -1): 270}[axis, sign]
        drawn = next(path for transform, path in marked if transform == f"rotate({turn})")
        assert float(drawn[1:].split(" ")[0]) == pytest.approx(u)


def test_a_blank_station_is_left_out_and_too_few_say_so(page: Page) -> None:
    page.goto("/true-up")
    answer = page.locator("[data-answer]")
    expect(answer).to_contain_text("Nothing is read yet.")
    enter(page, {1: ("1", "1"), 3: ("1", "1")})
    expect(answer).to_contain_text("2 of 9 stations are read.")
    enter(page, {5: ("1", "1")})  # corner, middle and the corner across: one line
    expect(answer.locator('[data-tone="error"]')).to_contain_text("from one line")
    expect(page.get_by_role("button", name="Save the printer", exact=True)).to_be_disabled()
    enter(page, {2: ("1", "1")})
    expect(answer.locator(".dr-arrow")).to_have_count(4)
    page.locator("#read-dy").fill("")
    expect(answer).to_contain_text("One number of two isn't read: sheet 1, station 2.")
    expect(answer.locator(".dr-arrow")).to_have_count(4)  # it counts for the number that was read
    page.locator("#read-dx").fill("")
    page.get_by_role("button", name="Enter one plain shift").click()
    expect(page.get_by_label("How far to the side")).to_be_focused()


def test_numbers_by_slider_button_key_and_in_inches(page: Page) -> None:
    page.goto("/true-up")
    box = page.locator('[data-reader="read"] [data-axis="dx"]')
    number = page.locator("#read-dx")
    box.get_by_role("slider").press("ArrowRight")
    expect(number).to_have_value("0.1")
    box.get_by_role("button", name="dx: 0.1 mm less").click()
    box.get_by_role("button", name="dx: 0.1 mm less").click()
    expect(number).to_have_value("−0.1")
    number.press("ArrowUp")
    number.press("ArrowUp")
    number.press("ArrowUp")
    expect(number).to_have_value("0.2")
    page.get_by_role("radiogroup", name="Unit of lengths").get_by_label("inch").check(force=True)
    expect(number).to_have_value("0.0079")  # 0.2 / 25.4
    number.fill("0.05")
    expect(box.locator("[data-says]")).to_contain_text("1.3 mm right")  # 1.27, to the nearest tenth
    number.fill("much")
    expect(box.locator("[data-says]")).to_contain_text("much is no length")
    expect(number).to_have_attribute("aria-invalid", "true")
    page.get_by_role("button", name="Leave it out").click()
    expect(number).to_have_value("")


def test_what_is_typed_outlasts_the_walk_to_the_printer(page: Page) -> None:
    page.goto("/true-up")
    page.get_by_label("Printer's name").fill("Kitchen")
    enter(page, {1: ("0.4", "0.2")})
    page.get_by_role("button", name="Add a sheet").click()
    expect(page.get_by_label("Sheet 2, 0 of 9 read")).to_be_checked()
    enter(page, {2: ("0.5", "0.1")})
    page.reload()
    expect(page.get_by_label("Printer's name")).to_have_value("Kitchen")
    expect(page.get_by_label("Sheet 1, 1 of 9 read")).to_be_checked()
    expect(page.locator("#read-dx")).to_have_value("0.4")
    page.get_by_label("Sheet 2, 1 of 9 read").check(force=True)
    page.get_by_role("button", name="Remove this sheet").click()
    expect(page.get_by_label(re.compile("^Sheet 2"))).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_label("Sheet 2, 1 of 9 read")).to_be_checked()


def test_the_confirming_sheet_shows_before_and_after(page: Page, live_server: LiveServer, tmp_path: Path) -> None:
    page.goto("/true-up")
    page.get_by_label("Printer's name").fill("Study")
    enter(page, dict.fromkeys(STATIONS, ("1.6", "0.7")))
    page.get_by_role("button", name="Save the printer", exact=True).click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Confirming sheet, PDF").click()
    download.value.save_as(tmp_path / "confirm.pdf")
    with pypdfium2.PdfDocument(tmp_path / "confirm.pdf") as document:
        assert "corrected, made for Study" in " ".join(document[0].get_textpage().get_text_range().split())
    page.get_by_text("Enter what the confirming sheet shows").click()
    enter(page, dict.fromkeys(STATIONS, ("0.2", "0.1")), "confirm")
    both = page.locator("[data-confirm-answer]")
    expect(both.locator(".drift")).to_have_count(2)
    expect(both).to_contain_text(re.compile(r"1\.75 mm off at the worst corner"))  # hypot(1.6, 0.7)
    expect(both).to_contain_text("True to 0.22 mm anywhere")  # hypot(0.2, 0.1)
    page.get_by_role("button", name="Save the confirmation").click()
    expect(page.locator(".tu-printer")).to_contain_text("0.22 mm left at the worst corner")
    page.get_by_role("button", name="Correct what is left as well").click()
    expect(page.locator(".tu-printer")).to_contain_text("1.8 mm right and 0.8 mm low")
    assert kept(live_server)["drift"]["dx_mm"] == pytest.approx(1.8)


@pytest.mark.parametrize("width", [320, 700, 1024])
def test_narrow_screens_scroll_one_way_only(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.goto("/true-up")
    enter(page, dict.fromkeys(STATIONS, ("1.4", "-0.9")))
    expect(page.locator("[data-answer] .dr-arrow")).to_have_count(5)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("main [style]").evaluate_all("all => all.filter(one => one.closest('svg')).length") == 0
