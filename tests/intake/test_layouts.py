"""Folders as people name them, each with the deck that a person would expect: right, or proposed and right.

Files are parted by "|"; `{1..4}` and `{hero,orc}` stand for several, `cards.pdf*6` is a PDF of six pages, and art is
PNG where no ending stands. A card is written `front > back`, `-` for none, with its copies where there are
several.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import pytest

from server.core.art import Deck
from server.intake.pairing import pair
from tests.intake.records import art, paired

SURE = {
    # Folders named for the side, in common words.
    "fronts and backs": ("fronts/{a,b} | backs/{a,b}", "fronts/{a,b} > backs/{a,b}"),
    "one back for all": ("fronts/{1..4} | backs/back", "fronts/{1..4} > backs/back"),
    "any name for one back": ("fronts/{1..4} | backs/tide", "fronts/{1..4} > backs/tide"),
    "singular": ("Front/{1..3} | Back/{1..3}", "Front/{1..3} > Back/{1..3}"),
    "faces": ("faces/{1..3} | backs/{1..3}", "faces/{1..3} > backs/{1..3}"),
    "front side": ("front side/{1..3} | back side/{1..3}", "front side/{1..3} > back side/{1..3}"),
    "card fronts": ("Card Fronts/{1..3} | Card Backs/blue", "Card Fronts/{1..3} > Card Backs/blue"),
    "numbered folders": ("01_fronts/{1..3} | 02_backs/{1..3}", "01_fronts/{1..3} > 02_backs/{1..3}"),
    "fronts and a note of resolution": ("Fronts 300dpi/{1..3} | Backs 300dpi/{1..3}",
                                        "Fronts 300dpi/{1..3} > Backs 300dpi/{1..3}"),
    "recto and verso": ("recto/{1..3} | verso/{1..3}", "recto/{1..3} > verso/{1..3}"),
    "German": ("Vorderseiten/{1..3} | Rückseiten/{1..3}", "Vorderseiten/{1..3} > Rückseiten/{1..3}"),
    "German without umlauts": ("Vorderseite/{1..3} | Rueckseite/{1..3}", "Vorderseite/{1..3} > Rueckseite/{1..3}"),
    "German, one back": ("Karten/{1..3} | Kartenrücken/blau", "Karten/{1..3} > Kartenrücken/blau"),
    "French": ("Recto/{1..3} | Dos/{1..3}", "Recto/{1..3} > Dos/{1..3}"),
    "French, both unclear words": ("faces/{1..3} | dos/{1..3}", "faces/{1..3} > dos/{1..3}"),
    "Spanish": ("Anversos/{1..3} | Reversos/{1..3}", "Anversos/{1..3} > Reversos/{1..3}"),
    "Spanish, frentes and dorso": ("frentes/{1..3} | dorso/d", "frentes/{1..3} > dorso/d"),
    "Italian": ("Fronte/{1..3} | Retro/{1..3}", "Fronte/{1..3} > Retro/{1..3}"),
    "Dutch": ("voorkant/{1..3} | achterkant/{1..3}", "voorkant/{1..3} > achterkant/{1..3}"),
    "Polish": ("przód/{1..3} | tył/{1..3}", "przód/{1..3} > tył/{1..3}"),
    "Polish, awers": ("awersy/{1..3} | rewersy/r", "awersy/{1..3} > rewersy/r"),
    "side A": ("Side A/{1..3} | Side B/{1..3}", "Side A/{1..3} > Side B/{1..3}"),
    "factions, not sides": ("Side A/{1..3} | Side B/{x,y,z}", "Side A/{1..3} > - | Side B/{x,y,z} > -"),
    "German, cut short": ("VS/{1..3} | RS/{1..3}", "VS/{1..3} > RS/{1..3}"),
    "French, a face each": ("Face avant/{1..3} | Face arrière/{1..3}", "Face avant/{1..3} > Face arrière/{1..3}"),
    "French, devant": ("devant/{1..3} | derrière/{1..3}", "devant/{1..3} > derrière/{1..3}"),
    "deep in the tree": ("export/png/fronts/{1..3} | export/png/backs/{1..3}",
                         "export/png/fronts/{1..3} > export/png/backs/{1..3}"),
    "sides within kinds": ("Spells/fronts/{1,2} | Spells/backs/s | Traps/fronts/{1,2} | Traps/backs/t",
                           "Spells/fronts/{1,2} > Spells/backs/s | Traps/fronts/{1,2} > Traps/backs/t"),
    "kinds within sides": ("fronts/spells/{1,2} | fronts/traps/{1,2} | backs/spells/s | backs/traps/t",
                           "fronts/spells/{1,2} > backs/spells/s | fronts/traps/{1,2} > backs/traps/t"),
    "kind and side in one folder's name": ("Hero Fronts/{1,2} | Hero Backs/h | Trap Fronts/{1,2} | Trap Backs/t",
                                           "Hero Fronts/{1,2} > Hero Backs/h | Trap Fronts/{1,2} > Trap Backs/t"),
    "only backs have a folder": ("{1..3} | backs/b", "{1..3} > backs/b"),
    "zeros and separators differ": ("fronts/hero-{01..03} | backs/hero_{1..3}",
                                    "fronts/hero-{01..03} > backs/hero_{1..3}"),
    "sides in folder and name": ("fronts/{a,b}_front | backs/{a,b}_back", "fronts/{a,b}_front > backs/{a,b}_back"),
    "sides in folder and name, first": ("fronts/front {1..3} | backs/back {1..3}",
                                        "fronts/front {1..3} > backs/back {1..3}"),
    "letters in the folders' files": ("fronts/{1..3}a | backs/{1..3}b", "fronts/{1..3}a > backs/{1..3}b"),
    "other names, same numbers": ("fronts/img_{001..004} | backs/scan-{001..004}",
                                  "fronts/img_{001..004} > backs/scan-{001..004}"),
    "backs named for the folders of fronts": ("fronts/Spells/{1,2} | fronts/Traps/{1,2} | backs/spell | backs/trap",
                                              "fronts/Spells/{1,2} > backs/spell | fronts/Traps/{1,2} > backs/trap"),
    "backs named for groups of fronts": ("fronts/spell_{1,2} | fronts/trap_{1,2} | backs/spell | backs/trap",
                                         "fronts/spell_{1,2} > backs/spell | fronts/trap_{1,2} > backs/trap"),
    "own backs and one for the rest": ("fronts/{boss,imp,orc} | backs/boss | backs/back",
                                       "fronts/boss > backs/boss | fronts/{imp,orc} > backs/back"),
    "an own back and the deck's": ("fronts/{boss,imp,orc} | backs/boss | back",
                                   "fronts/boss > backs/boss | fronts/{imp,orc} > back"),
    # The side as a word in the file's name.
    "suffix": ("{hero,orc}_front | {hero,orc}_back", "{hero,orc}_front > {hero,orc}_back"),
    "suffix with dashes": ("{hero,orc}-front | {hero,orc}-back", "{hero,orc}-front > {hero,orc}-back"),
    "brackets": ("{hero,orc} (front) | {hero,orc} (back)", "{hero,orc} (front) > {hero,orc} (back)"),
    "square brackets": ("{hero,orc} [front] | {hero,orc} [back]", "{hero,orc} [front] > {hero,orc} [back]"),
    "capitals": ("{hero,orc}Front | {hero,orc}Back", "{hero,orc}Front > {hero,orc}Back"),
    "prefix": ("front_{1..3} | back_{1..3}", "front_{1..3} > back_{1..3}"),
    "in the middle": ("orc_front_{01..03} | orc_back_{01..03}", "orc_front_{01..03} > orc_back_{01..03}"),
    "dots": ("{hero,orc}.front | {hero,orc}.back", "{hero,orc}.front > {hero,orc}.back"),
    "front side in words": ("{hero,orc} front side | {hero,orc} back side",
                            "{hero,orc} front side > {hero,orc} back side"),
    "only backs say so": ("{hero,orc} | {hero,orc}-back", "{hero,orc} > {hero,orc}-back"),
    "only backs say so, in brackets": ("{hero,orc} | {hero,orc} (back)", "{hero,orc} > {hero,orc} (back)"),
    "one pair of words": ("hero_front | hero_back", "hero_front > hero_back"),
    "German words": ("{held,ork}_vorderseite | {held,ork}_rückseite",
                     "{held,ork}_vorderseite > {held,ork}_rückseite"),
    "German letters": ("{held,ork}_VS | {held,ork}_RS", "{held,ork}_VS > {held,ork}_RS"),
    "French words": ("{roi,fou}-recto | {roi,fou}-verso", "{roi,fou}-recto > {roi,fou}-verso"),
    "Spanish words": ("{rey,sota}_anverso | {rey,sota}_reverso", "{rey,sota}_anverso > {rey,sota}_reverso"),
    "Italian words": ("{re,fante}_fronte | {re,fante}_retro", "{re,fante}_fronte > {re,fante}_retro"),
    "Dutch words": ("{heer,boer} voorkant | {heer,boer} achterkant", "{heer,boer} voorkant > {heer,boer} achterkant"),
    "Polish words": ("{as,walet}_awers | {as,walet}_rewers", "{as,walet}_awers > {as,walet}_rewers"),
    "fronts marked, one back": ("{hero,orc}_front | back", "{hero,orc}_front > back"),
    "one folder for each card": ("hero/front | hero/back | orc/front | orc/back",
                                 "hero/front > hero/back | orc/front > orc/back"),
    "in folders of kinds": ("Spells/{1,2}_front | Spells/{1,2}_back | Traps/{1,2}_front | Traps/{1,2}_back",
                            "Spells/{1,2}_front > Spells/{1,2}_back | Traps/{1,2}_front > Traps/{1,2}_back"),
    # A letter.
    "a and b": ("{01..06}a | {01..06}b", "{01..06}a > {01..06}b"),
    "dot f and dot b": ("{hero,orc,elf}.f | {hero,orc,elf}.b", "{hero,orc,elf}.f > {hero,orc,elf}.b"),
    "dot b alone": ("{hero,orc,elf} | {hero,orc,elf}.b", "{hero,orc,elf} > {hero,orc,elf}.b"),
    # A back for a folder, a group, the deck.
    "a back in each folder": ("Spells/{a,b} | Spells/back | Traps/{c,d} | Traps/back",
                              "Spells/{a,b} > Spells/back | Traps/{c,d} > Traps/back"),
    "a back named for its folder": ("Creatures/{a,b} | Creatures/creature back | Spells/{c,d} | Spells/spell back",
                                    "Creatures/{a,b} > Creatures/creature back | Spells/{c,d} > Spells/spell back"),
    "backs of folders beside them": ("Creatures/{a,b} | Stories/{c,d} | creature back | story_back",
                                     "Creatures/{a,b} > creature back | Stories/{c,d} > story_back"),
    "numbered decks": ("Deck 01/{a,b} | Deck 02/{c,d} | Deck 1 back | Deck 2 back",
                       "Deck 01/{a,b} > Deck 1 back | Deck 02/{c,d} > Deck 2 back"),
    "numbered kinds": ("1 - Quests/{a,b} | 2 - Loot/{c,d} | 1 - Quests back | Loot back",
                       "1 - Quests/{a,b} > 1 - Quests back | 2 - Loot/{c,d} > Loot back"),
    "zeros put backs first": ("Spells/{a,b} | Spells/000 back | Traps/{c,d} | Traps/000 back",
                              "Spells/{a,b} > Spells/000 back | Traps/{c,d} > Traps/000 back"),
    "kaartrug": ("{a,b,c} | kaartrug", "{a,b,c} > kaartrug"),
    "a back of the deck": ("{a,b,c} | back", "{a,b,c} > back"),
    "a card back": ("{a,b,c} | Card Back", "{a,b,c} > Card Back"),
    "Rückseite": ("{a,b,c} | Rückseite", "{a,b,c} > Rückseite"),
    "dorso": ("cartas/{a,b,c} | dorso", "cartas/{a,b,c} > dorso"),
    "one folder has its own back": ("Spells/{a,b} | Spells/back | Traps/{c,d} | back",
                                    "Spells/{a,b} > Spells/back | Traps/{c,d} > back"),
    "groups by name": ("spell_{1..3} | trap_{1..3} | spell_back | trap_back",
                       "spell_{1..3} > spell_back | trap_{1..3} > trap_back"),
    "a back of the deck beside fronts": ("fronts/{a,b} | back", "fronts/{a,b} > back"),
    # Copies.
    "copies behind": ("{a,b}_x3 | back", "{a,b}_x3 > back x3"),
    "copies with a space": ("goblin x2 | orc | back", "goblin x2 > back x2 | orc > back"),
    "copies in brackets": ("goblin (2x) | orc (x3) | back", "goblin (2x) > back x2 | orc (x3) > back x3"),
    "copies before": ("3x goblin | orc | back", "3x goblin > back x3 | orc > back"),
    "copies and side": ("hero_x2_front | hero_x2_back | orc_front | orc_back",
                        "hero_x2_front > hero_x2_back x2 | orc_front > orc_back"),
    "copies on the front alone": ("fronts/{a,b}-x2 | backs/{a,b}", "fronts/{a,b}-x2 > backs/{a,b} x2"),
    "two of three": ("goblin {1..3}of3 | orc | back", "goblin {1..3}of3 > back | orc > back"),
    "two of three, a back for them": ("goblin_{1..3}of3 | orc_{1..2}of2 | goblin_back | orc_back",
                                      "goblin_{1..3}of3 > goblin_back | orc_{1..2}of2 > orc_back"),
    # PDF.
    "PDFs for each side": ("fronts.pdf*4 | backs.pdf*4", "fronts.pdf#{1..4} > backs.pdf#{1..4}"),
    "PDFs for each side, named for the deck": ("tides-front.pdf*4 | tides-back.pdf*4",
                                               "tides-front.pdf#{1..4} > tides-back.pdf#{1..4}"),
    "a PDF and one back": ("cards.pdf*5 | back", "cards.pdf#{1..5} > back"),
    "a PDF and a PDF of one back": ("cards.pdf*5 | backs/b.pdf*1", "cards.pdf#{1..5} > backs/b.pdf"),
    "a PDF called duplex": ("tides duplex.pdf*6", "tides duplex.pdf#{1,3,5} > tides duplex.pdf#{2,4,6}"),
    # Without pairs.
    "no backs": ("{1..9}", "{1..9} > -"),
    "no backs in folders": ("Spells/{1..3} | Traps/{1..3}", "Spells/{1..3} > - | Traps/{1..3} > -"),
    "words that aren't sides": ("Backpack | Cold Front | Hunchback | Backstage | Two-Face | Fall Back | Frontier",
                                "{Backpack,Cold Front,Hunchback,Backstage,Two-Face,Fall Back,Frontier} > -"),
    "three variants": ("{1..4}a | {1..4}b | {1..4}c", "{1..4}a > - | {1..4}b > - | {1..4}c > -"),
    "numbers go on": ("card_{1..7}", "card_{1..7} > -"),
    "ranks and suits": ("{A,B,C,D}{1..3}", "{A,B,C,D}{1..3} > -"),
    "one letter among others": ("plan a | plan b | lamp | buoy | tern", "plan a > - | {plan b,lamp,buoy,tern} > -"),
    "a scale is no copies": ("hero@2x | orc@2x", "{hero@2x,orc@2x} > -"),
    "one PDF page": ("lamp.pdf*1 | buoy.pdf*1", "{lamp,buoy}.pdf > -"),
    "faces as a theme": ("Faces/{1..3} | Hands/{1..3}", "Faces/{1..3} > - | Hands/{1..3} > -"),
    "retro as a theme": ("retro/{1..3} | modern/{1..3}", "retro/{1..3} > - | modern/{1..3} > -"),
    "a card called reverse": ("red_skip | red_reverse | blue_skip | blue_reverse | {1..6}",
                              "{red,blue}_{skip,reverse} > - | {1..6} > -"),
}

PROPOSED = {
    "pages by turns": ("cards.pdf*8", "cards.pdf:by-turns", "cards.pdf#{1,3,5,7} > cards.pdf#{2,4,6,8}"),
    "fronts and then backs": ("cards.pdf*8", "cards.pdf:halves", "cards.pdf#{1..4} > cards.pdf#{5..8}"),
    "a last back": ("cards.pdf*7", "cards.pdf:last-page", "cards.pdf#{1..6} > cards.pdf#7"),
    "two pages each": ("{hero,orc}.pdf*2", "two-pages", "{hero,orc}.pdf#1 > {hero,orc}.pdf#2"),
    "some b are missing": ("{1..5}a | {1..4}b", "a-b", "{1..4}a > {1..4}b | 5a > -"),
    "a and b beside a back": ("{1..4}a | {1..4}b | back", "a-b", "{1..4}a > {1..4}b"),
    "one and two": ("{hero,orc,elf}_1 | {hero,orc,elf}_2", "1-2", "{hero,orc,elf}_1 > {hero,orc,elf}_2"),
    "r and v are recto and verso": ("{1..3}r | {1..3}v", "r-v", "{1..3}r > {1..3}v"),
    "v and r are the German words": ("{1..3}v | {1..3}r", "v-r", "{1..3}v > {1..3}r"),
    "f and b before numbers": ("f{01..03} | b{01..03}", "f-b-first", "f{01..03} > b{01..03}"),
    "two rooms": ("attic | cellar | kitchen | front door | back door", "words", "front door > back door"),
    "an odd back": ("{a,b,c} | universal back", "back:universal back.png", "{a,b,c} > universal back"),
    "backs in two colours": ("{a,b,c} | back red | back blue", "back:back red.png", "{a,b,c} > back red"),
    "a word of two meanings": ("{a,b,c} | reverse", "back:reverse.png", "{a,b,c} > reverse"),
    "as many, other names": ("fronts/{a,b,c} | backs/{x,y,z}", "in-order", "fronts/{a,b,c} > backs/{x,y,z}"),
    "one group's back": ("lamp red | lamp blue | tern | gull | lamp back", "back:lamp back.png",
                         "lamp red > lamp back | lamp blue > lamp back | {tern,gull} > -"),
    "one name of many that looks like a pair": ("fall | fall back | {1..8}", "with-back",
                                                 "fall > fall back | {1..8} > -"),
}


def expanded(text: str) -> list[str]:
    """`{1..3}` and `{a,b}` written out, "|" parted; several braces in every combination."""
    found: list[str] = []
    for part in (part.strip() for part in text.split("|")):
        pieces = [_several(piece) if piece.startswith("{") else [piece] for piece in re.split(r"(\{[^}]*\})", part)]
        found += ["".join(chosen) for chosen in itertools.product(*pieces)]
    return found


def _several(brace: str) -> list[str]:
    numbers = re.fullmatch(r"\{(\d+)\.\.(\d+)\}", brace)
    if not numbers:
        return brace[1:-1].split(",")
    return [str(number).zfill(len(numbers[1])) for number in range(int(numbers[1]), int(numbers[2]) + 1)]


def named(label: str) -> str:
    return label if ".pdf" in label or label == "-" else f"{label}.png"


def deck_of(files: str, *taken: str) -> Deck:
    paths = [(path.partition("*")[0], int(path.partition("*")[2])) if "*" in path else named(path)
             for path in expanded(files)]
    return paired(*paths, taken=taken)


def wanted(cards: str) -> dict[str, tuple[str, int]]:
    """Front to back and copies."""
    found: dict[str, tuple[str, int]] = {}
    for line in cards.split("|"):
        front, _, rest = line.partition(" > ")
        back, _, copies = re.sub(r" x(\d+)\s*$", "*\\1", rest.strip()).partition("*")
        fronts, backs = expanded(front), expanded(back)
        for number, one in enumerate(fronts):
            found[named(one)] = named(backs[number if len(backs) > 1 else 0]), int(copies or 1)
    return found


def made(deck: Deck) -> dict[str, tuple[str, int]]:
    return {card.front.file: (card.back.file if card.back else "-", card.copies) for card in deck.cards}


@pytest.mark.parametrize("name", SURE)
def test_a_clear_layout_is_the_deck_that_was_meant(name: str) -> None:
    files, cards = SURE[name]
    deck = deck_of(files)
    assert made(deck) == wanted(cards)
    assert not [problem for problem in deck.problems if problem.severity == "error"]
    assert {(pair.front, pair.back) for pair in deck.pairs} == {
        (front, back) for front, (back, _) in wanted(cards).items() if back != "-"}
    assert all(pair.why and pair.sure for pair in deck.pairs)


@pytest.mark.parametrize("name", PROPOSED)
def test_an_unclear_layout_is_proposed_and_right_once_taken(name: str) -> None:
    files, proposal, cards = PROPOSED[name]
    before, after = deck_of(files), deck_of(files, proposal)
    assert proposal in {one.id for one in before.proposals}
    # Until it is taken nothing is paired but what a file that is surely a back gives to all.
    assert {pair.back for pair in before.pairs} <= {"back.png"}
    assert made(after).items() >= wanted(cards).items()
    taken = {(pair.front, pair.back) for pair in after.pairs if not pair.sure}
    assert taken == {(front, back) for front, (back, _) in wanted(cards).items() if back != "-"}
    assert proposal not in {one.id for one in after.proposals}


@pytest.mark.parametrize(("files", "titles"), [
    ("{hero,orc}_front | {hero,orc}_back", ["hero", "orc"]), ("{01..02}a | {01..02}b", ["01", "02"]),
    ("front_{1..2} | back_{1..2}", ["1", "2"]), ("hero/front | hero/back", ["hero"]),
    ("Cold Front | lamp | back", ["Cold Front", "lamp"]), ("{hero,orc} (front) | back", ["hero", "orc"]),
    ("heroFront | heroBack | orcFront | orcBack", ["hero", "orc"]),
])
def test_titles_leave_the_side_out(files: str, titles: list[str]) -> None:
    assert [card.name for card in deck_of(files).cards] == titles


def test_pages_that_are_drawn_alike_settle_a_pdf() -> None:
    def looks(*looks: str) -> Deck:
        return pair({"c.pdf": tuple(replace(page, look=look) for page, look in
                                    zip(art("c.pdf", len(looks)), looks, strict=True))}, None, "Tides")

    by_turns, halves = looks("a", "x", "b", "x", "c", "x"), looks("a", "b", "c", "x", "x", "x")
    assert [pair.back for pair in by_turns.pairs] == ["c.pdf#2", "c.pdf#4", "c.pdf#6"]
    assert [pair.back for pair in halves.pairs] == ["c.pdf#4", "c.pdf#5", "c.pdf#6"]
    assert all(pair.sure for pair in (*by_turns.pairs, *halves.pairs))
    assert looks("a", "b", "c", "d", "e", "f").pairs == ()
    assert looks("a", "a", "a", "a").pairs == ()


def test_a_lost_back_is_named_where_the_word_is_used() -> None:
    deck = deck_of("{hero,orc}_front | {hero,orc,elf}_back")
    assert [(problem.code, problem.file) for problem in deck.problems] == [("unmatched-back", "elf_back.png")]


def test_a_missing_part_is_named() -> None:
    deck = deck_of("goblin 1of3 | goblin 3of3")
    assert [problem.code for problem in deck.problems if problem.severity == "warning"] == ["missing-part"]
