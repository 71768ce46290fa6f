"""The door on the LAN: codes, and how many wrong ones are taken from where."""

from __future__ import annotations

import re

import pytest

from server.errors import Busy, Refused
from server.web.access import Door, network_of, new_code, plain_code


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_look_alike_letters_are_one() -> None:
    assert plain_code("OIL0-1iLo") == plain_code("0110-1110")


def test_codes_have_forty_bits_and_no_letter_that_is_misread() -> None:
    codes = {new_code() for _ in range(2000)}
    assert len(codes) == 2000
    assert all(re.fullmatch(r"[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}", code) for code in codes)
    assert len(set("".join(codes)) - {"-"}) == 32


def test_wrong_codes_are_counted_for_each_address_and_forgotten_after_a_minute() -> None:
    clock = Clock()
    door = Door(clock)
    for _ in range(6):
        with pytest.raises(Refused):
            door.role_for("0000-0000", "a")
    with pytest.raises(Busy) as told:
        door.role_for(door.code("maker"), "a")
    assert 0 < told.value.wait_seconds <= 60
    assert door.role_for(door.code("maker"), "b") == "maker"
    clock.now = 61
    assert door.role_for(door.code("playtester"), "a") == "playtester"


def test_nobodys_wrong_codes_shut_the_door_on_a_right_one() -> None:
    """Many addresses guess; a new one still comes in, and each guesses less from then on."""
    door = Door(Clock())
    for number in range(40):
        with pytest.raises(Refused):
            door.role_for("0000-0000", f"10.0.0.{number}")
    assert door.role_for(door.code("maker"), "10.0.1.1") == "maker"
    with pytest.raises(Refused):
        door.role_for("0000-0000", "10.0.0.1")
    with pytest.raises(Busy):
        door.role_for("0000-0000", "10.0.0.1")


@pytest.mark.parametrize(("first", "second", "one"), [
    ("fe80::1:2%eth0", "fe80::9:9%eth0", True), ("2001:db8:0:1::1", "2001:db8:0:2::1", False),
    ("::ffff:10.0.0.1", "10.0.0.1", True), ("10.0.0.1", "10.0.0.2", False), ("testclient", "testclient", True),
])
def test_what_one_machine_may_call_its_own_is_one_address(first: str, second: str, one: bool) -> None:
    assert (network_of(first) == network_of(second)) is one


def test_right_codes_cost_nothing() -> None:
    door = Door(Clock())
    assert {door.role_for(door.code("maker"), "a") for _ in range(100)} == {"maker"}


def test_a_new_code_voids_the_old() -> None:
    door = Door(Clock())
    old = door.code("maker")
    door.renew("maker")
    with pytest.raises(Refused):
        door.role_for(old, "a")
