"""What the pages need of the API beyond the plain records."""

from __future__ import annotations

from typing import Any

from tests.web.live import LiveServer, picture, small_deck


def test_a_deck_on_the_desk_shows_up_to_three_different_fronts(live_server: LiveServer) -> None:
    client = live_server.client()
    many = live_server.deck(small_deck(7), "Seven", client)
    same = live_server.deck({"fronts/a.png": picture(), "fronts/b.png": picture()}, "Twins", client)
    none = live_server.deck({}, "Empty", client)
    decks = {deck["id"]: deck for deck in client.get("/api/decks").json()["decks"]}
    assert len(set(decks[many]["thumbs"])) == 3
    assert decks[many]["thumbs"][0] == decks[many]["thumb"]
    assert decks[same]["thumbs"] == [decks[same]["thumb"]]
    assert decks[none]["thumbs"] == [] and decks[none]["thumb"] is None
    for key in decks[many]["thumbs"]:
        assert client.get(f"/api/art/{key}?longest=128").status_code == 200


def test_a_pinned_layout_still_lists_the_others(live_server: LiveServer) -> None:
    client = live_server.client()
    deck = live_server.deck(small_deck(4), "Pinned", client)

    def ways(settings: dict[str, str]) -> tuple[dict[str, Any], set[tuple[str, bool]]]:
        answer = client.post(f"/api/decks/{deck}/plan", json={"settings": settings}).json()
        return answer["summary"], {(one["arrangement"], one["card_turned"]) for one in answer["alternatives"]}

    free, all_ways = ways({})
    assert len(all_ways) > 1
    other = next(way for way in sorted(all_ways) if way != (free["arrangement"], free["card_turned"]))
    chosen, still = ways({"arrangement": other[0], "card_turned": "yes" if other[1] else "no"})
    assert (chosen["arrangement"], chosen["card_turned"]) == other
    assert still == all_ways
