"""Where a file that may be a trap is read and drawn: where its caller runs, unless somebody has a place that may die.

A page of a few kB can keep a decoder for years, or have it take all memory there is, and the decoder holds the
interpreter meanwhile: only another process can end it. A server reads in its workers from the start; the command line
gives a place like theirs (``jobs.own_worker``) for as long as a command runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar, TypeVarTuple

Given = TypeVarTuple("Given")
Result = TypeVar("Result")
# Given what errors call the file, how many files' time it may take, a function at module level and its arguments.
Place = Callable[[str, int, Callable[..., Any], tuple[Any, ...]], Any]

_places: list[Place] = []


@contextmanager
def elsewhere(place: Place) -> Iterator[None]:
    """Within the block, what is to be done apart is done by ``place``."""
    _places.append(place)
    try:
        yield
    finally:
        _places.pop()


def apart(label: str, function: Callable[[*Given], Result], *arguments: *Given, times: int = 1) -> Result:
    """``function`` of those arguments, where it can do no harm, in the time that so many files may take.

    Raises what it raises; Unreadable, naming ``label``, where it had to be ended.
    """
    if not _places:
        return function(*arguments)
    # The place may have been opened while another folder was the current one.
    given = tuple(one.absolute() if isinstance(one, Path) else one for one in arguments)
    result: Result = _places[-1](label, times, function, given)
    return result
