"""What property tests draw from: sizes and settings as wide as a person could mean them."""

from __future__ import annotations

from hypothesis import strategies as st

from server.core.art import Art, Card, Deck
from server.core.geometry import Edges
from server.core.methods import METHODS
from server.core.plan import PlanRequest
from server.core.sizes import PAPERS, CardSize, Paper


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    """Millimetres to a hundredth: what can be typed and meant."""
    return st.integers(round(low * 100), round(high * 100)).map(lambda hundredths: hundredths / 100)


PAPER = st.one_of(
    st.sampled_from(sorted(PAPERS.values(), key=lambda paper: paper.name)),
    st.builds(lambda short, more: Paper("own", "own", short, short + more, "test"), lengths(100, 300), lengths(0, 200)),
)
CARD = st.builds(lambda width, height: CardSize("own", "own", width, height), lengths(15, 130), lengths(15, 130))
MARGINS = st.builds(Edges, lengths(0, 15), lengths(0, 15), lengths(0, 15), lengths(0, 15))


@st.composite
def requests(draw: st.DrawFn, method: str = "") -> PlanRequest:
    """A plan request of any method, or of one, some of which no sheet can meet."""
    return PlanRequest(
        method=method or draw(st.sampled_from(sorted(METHODS))),
        flip=draw(st.sampled_from(["long-edge", "short-edge"])),
        paper=draw(PAPER), card=draw(CARD), bleed_mm=draw(lengths(0, 5)), gutter_mm=draw(lengths(0, 8)),
        margins=draw(MARGINS), core_mm=draw(st.sampled_from([0.0, 0.5, 1.0, 2.0])),
        hinge_mm=draw(lengths(10, 20)), fold_on_cut=draw(st.booleans()), headroom_mm=draw(lengths(0, 3)),
    )


def plain_deck(*copies: int, with_backs: bool = True) -> Deck:
    """A deck of trim-size art of 630 x 880 px that exists only as records."""
    back = Art("backs/back.png", "back", "png", 630, 880) if with_backs else None
    return Deck("Plain", tuple(
        Card(f"card {number}", Art(f"fronts/{number}.png", f"front-{number}", "png", 630, 880), back, amount)
        for number, amount in enumerate(copies)
    ))
