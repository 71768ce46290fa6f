"""Page lists as people write them and as we say them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.wording import page_list_text, parse_pages
from server.errors import BadValue


@pytest.mark.parametrize(("text", "count", "pages"), [
    ("even", 5, (2, 4)), ("odd", 5, (1, 3, 5)), (" EVEN ", 2, (2,)), ("2,4,6-8", 9, (2, 4, 6, 7, 8)),
    ("8 - 9, 1, 1", 9, (1, 8, 9)), ("3", 3, (3,)),
])
def test_lists(text, count, pages):
    assert parse_pages(text, count) == pages


@pytest.mark.parametrize(("text", "count"), [
    ("even", 1), ("0", 3), ("4", 3), ("3-2", 3), ("1-9", 3), ("", 3), ("all", 3), ("1;2", 3), ("-1", 3), ("1-", 3),
    ("²", 3), ("9" * 30, 3),
])
def test_what_isnt_there(text, count):
    with pytest.raises(BadValue) as caught:
        parse_pages(text, count)
    assert caught.value.message.startswith("backs: ") and caught.value.fix


@pytest.mark.parametrize(("numbers", "text"), [
    ((), ""), ((2,), "page 2"), ((1, 2, 3), "pages 1-3"), ((2, 4), "pages 2 and 4"),
    ((2, 4, 6, 7, 8), "pages 2, 4 and 6-8"), (range(2, 20, 2), "pages 2, 4, 6, 8 and 5 more"),
])
def test_said(numbers, text):
    assert page_list_text(numbers) == text


@given(st.sets(st.integers(1, 60), min_size=1, max_size=5))
def test_what_is_said_reads_back(numbers):
    said = page_list_text(numbers).removeprefix("pages ").removeprefix("page ").replace(" and ", ",")
    assert set(parse_pages(said, 60)) == numbers
