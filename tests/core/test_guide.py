"""The guide says what the layout needs, and takes its numbers from the layout."""

from __future__ import annotations

import re

import pytest

from server.core import guide
from server.core.cuts import cut_count
from server.core.methods import Step
from server.core.plan import Layout
from server.core.search import search
from server.core.settings import DeckSettings


def laid_out(**values: object) -> tuple[Layout, DeckSettings]:
    settings = DeckSettings().changed(values)
    return search(settings.request(), 54)[0].layout, settings


def words(steps: tuple[Step, ...]) -> str:
    return " ".join(f"{step.title} {step.says} {step.why}" for step in steps)


def titles(steps: tuple[Step, ...]) -> list[str]:
    return [step.title for step in steps]


def where(steps: tuple[Step, ...], start: str) -> int:
    return next(number for number, step in enumerate(steps) if step.title.startswith(start))


METHODS = ("duplex", "vertical-fold", "side-fold", "two-sheet")


@pytest.mark.parametrize("method", METHODS)
def test_scale_is_the_first_setting_and_the_first_step(method: str) -> None:
    layout, settings = laid_out(method=method)
    stock = settings.stock_record
    assert guide.print_settings(layout, stock)[0].title == "Actual size, 100 %"
    assert guide.build_steps(layout, stock, 0.0)[0].title == "Check the scale"


@pytest.mark.parametrize(("flip", "edge", "other"), [("long-edge", "long", "short"), ("short-edge", "short", "long")])
def test_duplex_names_the_edge_that_the_plan_was_made_for(flip: str, edge: str, other: str) -> None:
    layout, settings = laid_out(flip=flip)
    sides = guide.print_settings(layout, settings.stock_record)[2]
    assert sides.title == f"Both sides, flip on the {edge} edge"
    assert f"turn the stack over on its {edge} edge" in sides.says
    assert f"on the {other} edge they land upside down and behind the wrong cards" in sides.why


@pytest.mark.parametrize("method", METHODS[1:])
def test_other_methods_are_printed_one_sided(method: str) -> None:
    layout, settings = laid_out(method=method, flip="short-edge")
    steps = guide.print_settings(layout, settings.stock_record)
    assert titles(steps)[2] == "One-sided"
    assert "flip on the" not in words(steps)


def test_fit_to_page_is_told_in_this_cards_own_width() -> None:
    # A4 with 3 mm margins fits at (210 - 6) / 210 = 97.1 % (own geometry): 63 mm become 61.1 or 61.2 mm.
    layout, settings = laid_out(card="63x88")
    why = guide.print_settings(layout, settings.stock_record)[0].why
    printed = re.search(r"a 63 mm card comes out ([\d.]+) mm", why)
    assert printed and float(printed[1]) == pytest.approx(63 * (210 - 6) / 210, abs=0.15)
    check = guide.scale_check(layout)
    assert "50 mm" in check[0].title and "85.60 × 53.98 mm" in check[1].says  # ISO/IEC 7810, ID-1


def test_paper_is_named_with_its_size() -> None:
    layout, settings = laid_out(paper="letter")
    assert titles(guide.print_settings(layout, settings.stock_record))[1] == "Letter, 215.9 × 279.4 mm"  # ASME Y14.1


def test_heavy_stock_goes_by_the_straight_feed() -> None:
    light, settings = laid_out(stock="office-80")
    assert guide.print_settings(light, settings.stock_record)[4].title == "Plain paper, one tray throughout"
    heavy, settings = laid_out(stock="card-300")
    feed = guide.print_settings(heavy, settings.stock_record)[4]
    assert "300 g/m²" in feed.title and "straight feed" in feed.says and "duplexers" in feed.says
    fold, settings = laid_out(stock="card-300", method="side-fold")
    assert "duplexers" not in guide.print_settings(fold, settings.stock_record)[4].says


@pytest.mark.parametrize("method", ["vertical-fold", "side-fold"])
@pytest.mark.parametrize("core_mm", [0.0, 1.0])
def test_folds_crease_before_glue_and_cut_last(method: str, core_mm: float) -> None:
    # Common practice: crease before gluing; the core needs two creases and a board the size of one panel.
    layout, settings = laid_out(method=method, core_mm=core_mm)
    steps = guide.build_steps(layout, settings.stock_record, core_mm)
    crease, glue, press, cut = (where(steps, start) for start in ("Crease", "Glue", "Press", "Cut, fronts"))
    assert crease < glue < press < cut
    assert ("both dashed lines" in steps[crease].says) == (core_mm > 0)
    cores = [step for step in steps if step.title.startswith("Cut the core")]
    assert len(cores) == (1 if core_mm else 0)
    if cores:
        # T + pi c / 2 between the panels; the rest of the page is two panels.
        spine = core_mm + 3.14159265 * settings.stock_record.caliper_mm / 2
        wide, high = (float(side) for side in re.findall(r"([\d.]+) × ([\d.]+) mm", cores[0].says)[0])
        page = layout.page
        folded, kept = ((wide, high) if layout.creases[0].axis == "vertical" else (high, wide))
        along = page.width if layout.creases[0].axis == "vertical" else page.height
        across = page.height if layout.creases[0].axis == "vertical" else page.width
        assert folded == pytest.approx((along - spine) / 2, abs=0.06)
        assert kept == pytest.approx(across, abs=0.06)
        assert f"{spine:.2f}" in cores[0].why


@pytest.mark.parametrize(("stock", "scored"), [("card-160", False), ("card-250", True)])
def test_heavy_stock_is_scored_before_it_is_folded(stock: str, scored: bool) -> None:
    layout, settings = laid_out(method="vertical-fold", stock=stock)
    steps = guide.build_steps(layout, settings.stock_record, 0.0)
    assert ("Score first" in steps[where(steps, "Crease")].says) == scored


def test_a_fold_on_the_cut_is_said() -> None:
    apart, settings = laid_out(method="side-fold")
    assert "crease itself" not in words(guide.build_steps(apart, settings.stock_record, 0.0))
    shared, settings = laid_out(method="side-fold", fold_on_cut=True)
    assert "crease itself" in words(guide.build_steps(shared, settings.stock_record, 0.0))


@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_the_hinge_is_told_where_it_lies_on_the_page(arrangement: str) -> None:
    layout, settings = laid_out(method="two-sheet", arrangement=arrangement)
    assert layout.hinge is not None
    steps = guide.build_steps(layout, settings.stock_record, 0.0)
    title = steps[where(steps, "Hinge")].title
    x, y = layout.hinge.centre
    side = title.rsplit(" ", 1)[1]
    lies = {"left": x < 20, "right": x > layout.page.width - 20, "top": y < 20, "bottom": y > layout.page.height - 20}
    assert lies[side]
    assert where(steps, "Align") < where(steps, "Hinge") < where(steps, "Open, glue") < where(steps, "Cut, fronts")


@pytest.mark.parametrize("method", METHODS)
def test_the_cuts_are_counted_and_coating_comes_before_them(method: str) -> None:
    layout, settings = laid_out(method=method)
    steps = guide.build_steps(layout, settings.stock_record, 0.0)
    cut = where(steps, "Cut, fronts")
    assert f"{cut_count(layout)} straight cuts" in steps[cut].title
    assert where(steps, "Clear coat") < cut


def test_thickness_counts_both_layers_and_the_core() -> None:
    duplex, settings = laid_out(stock="card-300")
    stock = settings.stock_record
    assert guide.card_thickness_mm(duplex, stock, 1.0) == pytest.approx(0.300)  # a core has no place in a duplex card
    fold, _ = laid_out(method="side-fold", stock="card-300")
    assert guide.card_thickness_mm(fold, stock, 1.0) == pytest.approx(1.600 + 2 * 0.02)  # glue twice
    pair, _ = laid_out(method="two-sheet", stock="card-300")
    assert guide.card_thickness_mm(pair, stock, 0.0) == pytest.approx(0.600 + 0.02)


def test_only_thin_cards_are_sleeved() -> None:
    thin, settings = laid_out(stock="card-200")
    assert "Sleeve thin cards" in titles(guide.build_steps(thin, settings.stock_record, 0.0))
    thick, settings = laid_out(stock="card-200", method="side-fold")
    assert "Sleeve thin cards" not in titles(guide.build_steps(thick, settings.stock_record, 0.0))


@pytest.mark.parametrize("method", METHODS)
def test_cautions_defer_to_labels_and_rules(method: str) -> None:
    # CLP Annex I, table 2.3.1 (aerosols: heat, flames, piercing); P271 (well ventilated); 29 CFR 1910.212 (guards).
    layout, _ = laid_out(method=method)
    steps = guide.cautions(layout)
    assert ("Spray glue" in titles(steps)) == (method != "duplex")
    for step in steps:
        if step.title in ("Spray glue", "Clear coat"):
            assert "label" in step.says and "well" in step.says and "no flames" in step.says
    knife, guillotine = steps[where(steps, "Knife")], steps[where(steps, "Guillotine")]
    assert "away from the body" in knife.says and "fresh blade" in knife.says and "free hand clear" in knife.says
    assert "guard in place" in guillotine.says and "shown how" in guillotine.says
    last = steps[-1].says
    assert "label" in last and "local rules" in last and "licensed" in last


def test_no_step_is_empty_and_titles_are_distinct() -> None:
    for method in METHODS:
        layout, settings = laid_out(method=method)
        stock = settings.stock_record
        for steps in (guide.print_settings(layout, stock), guide.build_steps(layout, stock, 0.0),
                      guide.cautions(layout), guide.scale_check(layout), guide.handover(layout, stock, 0.0)):
            assert all(step.title and step.says for step in steps)
            assert len(set(titles(steps))) == len(steps)
