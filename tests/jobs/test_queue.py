"""The queue: in turn by person, bounded in all and for each."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import Busy, Stopped
from server.jobs.queue import Bounds, FairQueue, Work, WorkKind


def queue(in_all: int = 1000, each: int = 1000) -> FairQueue:
    return FairQueue({"read": Bounds(in_all, each), "build": Bounds(in_all, each)})


def work(person: str, label: str = "", kind: WorkKind = "build") -> Work:
    return Work(kind, person, label or person, print, (), 1)


def taken(waiting: FairQueue, count: int) -> list[str]:
    found = [waiting.take(("build",)) for _ in range(count)]
    return [one.label for one in found if one]


def test_persons_take_turns() -> None:
    waiting = queue()
    for label in ("a1", "a2", "a3", "b1", "c1", "b2"):
        waiting.put(work(label[0], label))
    assert taken(waiting, 6) == ["a1", "b1", "c1", "a2", "b2", "a3"]


@given(st.lists(st.sampled_from("abcd"), min_size=1, max_size=60))
def test_nobody_waits_for_more_than_one_turn_of_each_other(persons: list[str]) -> None:
    waiting = queue()
    for number, person in enumerate(persons):
        waiting.put(work(person, f"{person}{number}"))
    order = taken(waiting, len(persons))
    assert sorted(order) == sorted(f"{person}{number}" for number, person in enumerate(persons))
    for place in range(len(order)):
        left = {label[0] for label in order[place:]}
        assert {label[0] for label in order[place:place + len(left)]} == left


def test_each_person_keeps_the_own_order() -> None:
    waiting = queue()
    for number in range(5):
        waiting.put(work("a", f"a{number}"))
    assert taken(waiting, 5) == [f"a{number}" for number in range(5)]


def test_kinds_are_taken_in_the_order_asked_for() -> None:
    waiting = queue()
    waiting.put(work("a", "read", "read"))
    waiting.put(work("a", "build"))
    first = waiting.take(("build", "read"))
    second = waiting.take(("build", "read"))
    assert first and second and (first.label, second.label) == ("build", "read")


def test_a_full_queue_says_when_to_come_back() -> None:
    waiting = queue(in_all=2)
    waiting.put(work("a"))
    waiting.put(work("b"))
    with pytest.raises(Busy) as told:
        waiting.put(work("c"))
    assert told.value.wait_seconds > 0


def test_one_person_cannot_fill_it() -> None:
    waiting = queue(each=1)
    waiting.put(work("a"))
    with pytest.raises(Busy):
        waiting.put(work("a"))
    waiting.put(work("b"))


def test_cancelled_work_leaves_its_place() -> None:
    waiting = queue()
    first, second = work("a", "first"), work("a", "second")
    waiting.put(first)
    waiting.put(second)
    waiting.cancel(first)
    assert taken(waiting, 1) == ["second"]
    with pytest.raises(Stopped):
        first.future.result(0)
