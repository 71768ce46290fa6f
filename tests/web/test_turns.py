"""Turns: nobody's planning keeps others from theirs, and nobody waits without end."""

from __future__ import annotations

import asyncio

import pytest

from server.errors import Busy
from server.web.services import Turns


def test_one_persons_turns_are_one_after_another_and_others_go_between() -> None:
    async def run() -> list[str]:
        turns, order, open_door = Turns(), [], asyncio.Event()

        async def ask(person: str, name: str) -> None:
            async with turns.of(person):
                order.append(name)
                if name == "a1":
                    await open_door.wait()

        first = asyncio.create_task(ask("a", "a1"))
        rest = [asyncio.create_task(ask("a", f"a{number}")) for number in range(2, 6)]
        await asyncio.sleep(0)
        await ask("b", "b1")
        open_door.set()
        await asyncio.gather(first, *rest)
        assert not turns._own and not turns._waiting
        return order

    assert asyncio.run(run()) == ["a1", "b1", "a2", "a3", "a4", "a5"]


def test_too_many_at_once_are_told_so() -> None:
    async def run() -> None:
        turns, open_door = Turns(), asyncio.Event()

        async def ask() -> None:
            async with turns.of("a"):
                await open_door.wait()

        waiting = [asyncio.create_task(ask()) for _ in range(24)]
        await asyncio.sleep(0)
        with pytest.raises(Busy):
            async with turns.of("a"):
                pass
        open_door.set()
        await asyncio.gather(*waiting)

    asyncio.run(run())
