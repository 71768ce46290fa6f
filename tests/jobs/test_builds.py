"""Builds: kept by content, cancelled, failed, and pushed out by newer ones."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from server.core.art import Art, Card, Deck
from server.core.settings import DeckSettings
from server.errors import Busy, NotThere
from server.formats.limits import DEFAULT_LIMITS
from server.formats.reader import read_art
from server.jobs.builds import Builds, Job, JobBoard, build_key
from server.jobs.pool import WorkerPool
from server.jobs.tasks import BuildOrder, SinceOrder, build
from server.jobs.worker import Report
from server.prepress import prepare
from server.store import Store
from server.store.limits import Limits
from tests.jobs import tasks
from tests.web.live import picture

DECK = Deck("Harbour", (Card("Keeper", Art("fronts/a.png", "a" * 64, "png", 630, 880), copies=2),))
SETTINGS = DeckSettings()


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Callable[..., Builds]]:
    made: list[tuple[Store, WorkerPool]] = []

    def start(task: Callable[..., Any], **limits: int) -> Builds:
        store = Store.open(tmp_path / str(len(made)), Limits(workers=1, **limits))
        pool = WorkerPool(store.limits)
        made.append((store, pool))
        return Builds(store, pool, JobBoard(), task)

    yield start
    for store, pool in made:
        pool.close()
        store.close()


def ended(job: Job) -> Job:
    """Wait for a job by its future, then for the view that follows it."""
    if job.work is not None:
        shown = threading.Event()
        job.work.future.add_done_callback(lambda future: shown.set())
        assert shown.wait(60)
    return job


def ran(builds: Builds) -> int:
    return len(list((builds._store.folder.builds / "ran").glob("*")))


def test_the_same_build_is_answered_at_once(make: Callable[..., Builds]) -> None:
    builds = make(tasks.counted_build)
    first = ended(builds.start("me", "d", prepare(DECK, SETTINGS)))
    second = builds.start("you", "d", prepare(DECK, SETTINGS))
    assert (first.view.state, second.view.state, second.work) == ("done", "done", None)
    assert first.view.result and second.view.result
    assert {**first.view.result, "pdf": "", "plan": ""} == {**second.view.result, "pdf": "", "plan": ""}
    assert ran(builds) == 1
    assert builds.files(second).pdf.read_bytes() == b"%PDF-1.7"


@pytest.mark.parametrize(("deck", "settings"), [
    (replace(DECK, name="Quay"), SETTINGS),
    (replace(DECK, cards=(replace(DECK.cards[0], copies=3),)), SETTINGS),
    (DECK, SETTINGS.changed({"paper": "letter"})),
])
def test_whatever_shapes_the_pdf_makes_another_key(deck: Deck, settings: DeckSettings) -> None:
    assert build_key(deck, settings, None) != build_key(DECK, SETTINGS, None)
    assert build_key(DECK, SETTINGS, None) == build_key(DECK, DeckSettings(), None)


def test_a_build_under_way_is_not_started_twice_by_one_person(make: Callable[..., Builds]) -> None:
    builds = make(tasks.hanging_build)
    first = builds.start("me", "d", prepare(DECK, SETTINGS))
    assert builds.start("me", "d", prepare(DECK, SETTINGS)) is first
    assert builds.start("you", "d", prepare(DECK, SETTINGS)) is not first


def test_a_cancelled_build_is_cancelled_and_leaves_the_worker_to_others(make: Callable[..., Builds]) -> None:
    builds = make(tasks.hanging_build)
    job = builds.start("me", "d", prepare(DECK, SETTINGS))
    builds.cancel(job)
    assert ended(job).view.state == "cancelled"
    with pytest.raises(NotThere):
        builds.files(job)
    builds.cancel(job)
    assert job.view.state == "cancelled"


def test_a_build_whose_worker_dies_fails_with_words(make: Callable[..., Builds]) -> None:
    view = ended(make(tasks.dying_build).start("me", "d", prepare(DECK, SETTINGS))).view
    assert (view.state, view.result) == ("failed", None)
    assert "Harbour" in view.message
    assert view.fix


def test_a_full_queue_takes_no_more(make: Callable[..., Builds]) -> None:
    builds = make(tasks.hanging_build, waiting_builds=1)
    begun = threading.Event()
    first = builds.start("a", "d", prepare(DECK, SETTINGS))
    assert first.work is not None
    first.work.future.add_done_callback(lambda future: begun.set())
    papers = iter(("letter", "a3", "a5", "legal", "tabloid"))
    with pytest.raises(Busy):
        while True:
            builds.start("b", "d", prepare(DECK, SETTINGS.changed({"paper": next(papers)})))


def test_the_oldest_builds_make_room(make: Callable[..., Builds]) -> None:
    builds = make(tasks.counted_build, cache_bytes=20)  # each has eight bytes
    jobs = [ended(builds.start("me", "d", prepare(DECK, SETTINGS.changed({"paper": paper}))))
            for paper in ("a4", "letter", "a3")]
    with pytest.raises(NotThere, match="aren't here"):
        builds.files(jobs[0])
    assert builds.files(jobs[2]).pdf.is_file()


def test_what_a_killed_build_left_is_cleared_at_the_start(make: Callable[..., Builds], tmp_path: Path) -> None:
    (tmp_path / "0" / "builds").mkdir(parents=True)
    left = tmp_path / "0" / "builds" / ".x.pdf.1234.part"
    left.write_bytes(b"half")
    make(tasks.counted_build)
    assert not left.exists()


def test_a_change_sheet_counts_while_it_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def deck(cards: int) -> Deck:
        arts = [read_art(tmp_path / f"{number}.png", f"{number}.png", str(number) * 64)[0] for number in range(cards)]
        return Deck("Harbour", tuple(Card(art.file, art, copies=3) for art in arts))

    for number in range(3):
        (tmp_path / f"{number}.png").write_bytes(picture((80 * number, 9, 9), (63, 88)))
    sources = {str(number) * 64: tmp_path / f"{number}.png" for number in range(3)}
    said: list[tuple[int, int, str]] = []
    order = BuildOrder(deck(3), SETTINGS, None, DEFAULT_LIMITS, sources, tmp_path / "sheets.pdf",
                       tmp_path / "plan.json", tmp_path / "info.json", SinceOrder(deck(2), SETTINGS, "1"))
    monkeypatch.setattr(Report, "__call__", lambda report, *told: said.append(told))
    info = build(Report.__new__(Report), order)
    assert [one for one in said if "Compared" in one[2]] == [(n, 3, f"Compared {n} of 3 pictures") for n in range(3)]
    assert said[-1] == (2, 2, "Drawing 3 of 9 cards, 1 sheet")
    assert (info["changes"]["cards"], info["sheets"]) == (9, 1)
