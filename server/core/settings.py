"""A deck's settings: one table, a row each. The command line's options, the API's checks and schema, the form, what
playtesters may change and README's table follow from it.

To add one: write a field below with ``length(...)`` or ``row(...)``. Nothing else needs to know its name but the code
that honours it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Literal

from server.core.box import DEFAULT_CLEARANCE_MM
from server.core.card_stack import REFERENCE_MM, dress_named
from server.core.edge_bleed import EdgeMode as EdgeMode
from server.core.geometry import Edges
from server.core.methods import METHODS
from server.core.plan import (
    DEFAULT_BLEED_MM,
    DEFAULT_HINGE_MM,
    DEFAULT_MARGIN_MM,
    DEFAULT_SAFE_MM,
    Arrangement,
    Flip,
    PlanRequest,
)
from server.core.setting import Choice, Setting, length, named, row
from server.core.sizes import (
    CARD_SIZES,
    DEFAULT_CARD,
    DEFAULT_RADIUS_MM,
    PAPERS,
    CardSize,
    Paper,
    card_size_named,
    paper_named,
)
from server.core.stock import DEFAULT_STOCK, STOCKS, Stock, stock_named
from server.core.wording import shown
from server.errors import BadValue

CutLineFaces = Literal["fronts", "both", "none"]
LineStyle = Literal["full", "ticks"]

_EDGES = (
    Choice("auto", "Made to suit each edge",
           "Bleed that a file brings is kept. Else one colour runs out, a gradient's edge is drawn out, a picture is "
           "mirrored; Art shows it for each card."),
    Choice("art", "Take it from the art", "The files are drawn larger than the card, by the bleed on each side."),
    Choice("mirror", "Mirror the edge outwards", "Good for pictures: the edge runs on as in a mirror."),
    Choice("stretch", "Stretch the edge outwards",
           "Good for soft grounds: the whole picture is drawn a little larger behind itself."),
    Choice("colour", "Fill with the edge's colour", "Good for borders of one colour."),
    Choice("none", "No bleed at all", "Cards end at the cut; a cut that is off by a little shows white."),
)


@dataclass(frozen=True, slots=True)
class DeckSettings:
    """Everything that shapes a deck's sheets. Lengths in mm; names are those of the tables they point to.

    ``arrangement`` and ``card_turned`` pin an alternative plan; "" lets the search choose. ``back_flood`` is a colour
    such as "#1f5f6b", laid under the backs as far as the page can be printed; "" for none. ``printer`` is the id of
    a saved printer, "" for none; it is resolved by the store, never by the core. The order is that of the form and of
    ``-h``.
    """

    card: str = row(
        "name", "Card size, trimmed", "the card at trim", DEFAULT_CARD, table=CARD_SIZES, look_up=card_size_named,
        size_example="2.5x3.5in", placeholder="NAME|WxH", group="card", art=True,
        unset=f"what the art was drawn for, else {DEFAULT_CARD}")
    bleed_mm: float = length(
        "Bleed", "bleed round each card", DEFAULT_BLEED_MM, 0, 20, group="card", art=True,
        hint="Art beyond the cut, so that none shows white.")
    safe_mm: float = length(
        "Safe zone", "safe zone inside the trim, shown on screen only", DEFAULT_SAFE_MM, 0, 20, group="card",
        hint="Keep text this far inside. Screen only.", screen_only=True)
    edges: EdgeMode = row(
        "choice", "Where art has no bleed", "where bleed comes from", "auto", listed=_EDGES, placeholder="HOW",
        group="card", art=True)
    back_flood: str = row(
        "colour", "Colour under the backs", "colour such as #1f5f6b laid under the backs, to the edge of what prints",
        "", unset="none", placeholder="COLOUR", group="card", by_method=True,
        hint="Such as #1f5f6b, out to the edge of what prints, so that no back shows white. Empty for none.")
    method: str = row(
        "name", "How the cards are built", "build method", "duplex", table=METHODS, placeholder="NAME", art=True)
    flip: Flip = row(
        "choice", "The printer turns the sheet on its", "how a duplex sheet is turned", "long-edge",
        listed=(Choice("long-edge", "long edge"), Choice("short-edge", "short edge")), placeholder="EDGE",
        group="method", hint="Choose the same edge when you print. Either way each card ends up upright.",
        by_method=True, own_printing=True)
    core_mm: float = length(
        "Core thickness", "thickness of the board between the panels of a fold; 0 for none", 0.0, 0, 20,
        group="method", by_method=True,
        hint="Board between front and back; 0 for none. It opens the crease into a spine.")
    fold_on_cut: bool = row(
        "yes-no", "Fold on the cutting edge", "lay the crease on the cut line, without bleed there", False,
        group="method", hint="The crease is one edge of the cards: one cut less, no bleed there.", by_method=True)
    hinge_mm: float = length(
        "Hinge strip", "width of the strip for the tape, 10 or more", DEFAULT_HINGE_MM, 10, 60, step_mm=1,
        group="method", hint="Waste for the tape, 10 mm or more. No cut enters it.", by_method=True)
    hinge_edge: bool = row(
        "yes-no", "Draw the hinge's edge on the backs", "draw the cutting edge beside the hinge on the backs", False,
        group="method", hint="For hinging edge to edge, where no waste is left for the tape.", by_method=True)
    paper: str = row(
        "name", "Paper size", "the paper", "a4", table=PAPERS, look_up=paper_named, size_example="210x297",
        placeholder="NAME|WxH", group="paper", own_printing=True)
    stock: str = row(
        "name", "Stock", "what it is printed on", DEFAULT_STOCK, table=STOCKS, look_up=stock_named, placeholder="NAME",
        size_example="10 sheets 1.02mm", own="your own,", group="paper", own_printing=True)
    reference_mm: float = length(
        "A deck of 52 measures", "what a deck of 52 cards measures that yours is held against", REFERENCE_MM, 5, 60,
        group="paper", step_mm=0.1, hint="Measure one that you like to hold; yours is told against it.",
        screen_only=True)
    printer: str = row("printer", "Printer", "the printer", "", group="paper", own_printing=True)
    margin_mm: float = length(
        "Margin", "edge of the paper that the printer can't reach", DEFAULT_MARGIN_MM, 0, 60, group="paper",
        hint="The edge that your printer leaves white.", own_printing=True)
    gutter_mm: float = length(
        "Gutter", "room between two cards; 0 shares one cut", 0.0, 0, 100, group="paper",
        hint="Between cards; 0 shares one cut.")
    ink: Literal["full", "pale"] = row(
        "choice", "Ink", "how much ink the art takes", "full", placeholder="HOW", group="paper", own_printing=True,
        listed=(Choice("full", "Full"), Choice("pale", "Pale, for a first try",
                                               "White lies over the art in the PDF: half the ink. The art stays as it "
                                               "is.")),
        hint="Pale saves half the ink of the art; cut lines and marks stay dark.")
    cut_lines: CutLineFaces = row(
        "choice", "Cut lines on", "which faces show cut lines", "fronts", placeholder="FACES", group="cuts",
        listed=(Choice("fronts", "Fronts only"), Choice("both", "Fronts and backs"), Choice("none", "Nowhere")),
        hint="On a back, a line shows where drift makes it lie, beside the cut.", own_printing=True)
    line_style: LineStyle = row(
        "choice", "Drawn as", "how cut lines are drawn, right across or as ticks in the waste", "full",
        placeholder="STYLE", group="cuts", own_printing=True,
        listed=(Choice("full", "Lines right across"), Choice("ticks", "Ticks in the waste")))
    corner_radius_mm: float = length(
        "Corner radius", "radius to which the cut cards' corners are rounded; 0 keeps them sharp", DEFAULT_RADIUS_MM,
        0, 30, group="cuts", hint="Drawn on screen, and cut by a cutting machine.", screen_only=True)
    registration: bool = row(
        "yes-no", "Marks for a cutting machine", "marks in the corners of the fronts, for a cutting machine", False,
        group="cuts", hint="In at least three corners, clear of all other ink; the contours come as SVG.",
        own_printing=True)
    camera_marks: bool = row(
        "yes-no", "Marks for a photograph", "small marks in the waste, by which a photograph against the light tells "
        "how far a printed sheet's backs are off", True, group="cuts", by_method=True, own_printing=True,
        hint="In the waste, where there is room. A photograph against the light then tells how far this very sheet is "
             "off.")
    box: Literal["", "tuck", "lid"] = row(
        "choice", "Box", "the box that a page is added for", "", unset="none", placeholder="KIND", group="box",
        listed=(Choice("", "No box"), Choice("tuck", "Tuck box", "One piece, with a flap that is tucked in."),
                Choice("lid", "Box with a lid", "A base, and a lid that lifts off.")))
    box_clearance_mm: float = length(
        "Room in the box", "what the box is larger than the deck, each way", DEFAULT_CLEARANCE_MM, 0, 30, group="box",
        under="box",
        hint="Added once to width, height and depth: for fingers, and for the board's own thickness.")
    box_sleeved: bool = row(
        "yes-no", "For sleeved cards", "make the box for sleeved cards", False, group="box",
        under="box")
    box_panels: str = row(
        "text", "On its panels", "a colour or an art file for panels, such as front=#1f5f6b,back=backs/back.png", "",
        group="box",
        hint="A colour or the name of an art file for each: front, back, left, right, lid, bottom, or all. Such as "
             "front=backs/back.png, all=#1f5f6b.",
        look_up=dress_named, unset="blank", placeholder="LIST", longest=2000)
    version: str = row(
        "text", "Version", "what this version of the deck is called; sheet labels and records say it", "",
        unset="none", placeholder="NAME", longest=24, group="card",
        hint="Sheets say it. Left empty, they say the version that is kept on Output while the deck is just that.")
    version_mark: Literal["", "top", "bottom", "left", "right"] = row(
        "choice", "Version on the fronts", "edge of the fronts at which small letters say the version", "",
        unset="none", placeholder="EDGE", group="card",
        listed=(Choice("", "Not on the cards"), Choice("top", "At the top"), Choice("bottom", "At the bottom"),
                Choice("left", "On the left"), Choice("right", "On the right")),
        hint="Small letters inside the safe zone, black or white as the art lets them read.")
    arrangement: Arrangement | Literal[""] = row(
        "choice", "Sheet", "how the sheet is read, where the best plan isn't wanted", "", placeholder="NAME",
        listed=(Choice("", "Lampfold chooses"), Choice("portrait", "Portrait"), Choice("landscape", "Landscape")),
        unset="the best")
    card_turned: Literal["", "no", "yes"] = row(
        "choice", "Cards lie on their side", "whether cards lie on their side, where the best plan isn't wanted", "",
        option="--turn-cards", placeholder="yes|no", unset="the best",
        listed=(Choice("", "Lampfold chooses"), Choice("no", "No"), Choice("yes", "Yes")))

    @property
    def card_size(self) -> CardSize:
        return card_size_named(self.card)

    @property
    def paper_size(self) -> Paper:
        return paper_named(self.paper)

    @property
    def stock_record(self) -> Stock:
        return stock_named(self.stock)

    @property
    def made_bleed_mm(self) -> float:
        """The bleed that the plan makes room for: none where the edges are to have none."""
        return 0.0 if self.edges == "none" else self.bleed_mm

    @property
    def radius_mm(self) -> float:
        """To which the cut cards' corners are rounded: as the card's own, where nothing else is asked for."""
        card = self.card_size
        wanted = card.corner_radius_mm if self.corner_radius_mm == DEFAULT_RADIUS_MM else self.corner_radius_mm
        return min(wanted, card.width_mm / 2, card.height_mm / 2)

    def request(self, margins: Edges | None = None, headroom_mm: float = 0.0) -> PlanRequest:
        """What to ask of the search. ``margins`` overrule the single margin, as a printer's own do."""
        return PlanRequest(
            method=self.method, paper=self.paper_size, card=self.card_size, flip=self.flip,
            bleed_mm=self.made_bleed_mm, gutter_mm=self.gutter_mm, margins=margins or Edges.all(self.margin_mm),
            core_mm=self.core_mm, caliper_mm=self.stock_record.caliper_mm, hinge_mm=self.hinge_mm,
            headroom_mm=headroom_mm, registration=self.registration, back_flooded=bool(self.back_flood),
            fold_on_cut=self.fold_on_cut, arrangement=self.arrangement or None,
            card_turned={"": None, "no": False, "yes": True}[self.card_turned],
        )

    def changed(self, values: Mapping[str, Any]) -> DeckSettings:
        """A copy with ``values`` (text, numbers or switches, as a form sends them) put in.

        Raises BadValue, naming the setting, the value and what would do; what is no setting is refused.
        """
        for name in values:
            if name not in SETTINGS:
                raise BadValue(f"settings: {shown(name)} is not known.", f"Settings are {', '.join(sorted(SETTINGS))}.")
        return replace(self, **{name: SETTINGS[name].parse(value) for name, value in values.items()})

    def as_mapping(self) -> dict[str, Any]:
        """Plain values for JSON; ``DeckSettings().changed(...)`` reads them back."""
        return asdict(self)

    def printed(self) -> dict[str, Any]:
        """What shapes the printed sheets: all but what is for the screen only, and but for the printer, which is
        an id of one store; what a printer does to the sheets is its own record."""
        return {name: value for name, value in self.as_mapping().items()
                if not SETTINGS[name].screen_only and name != "printer"}


SETTINGS: dict[str, Setting] = {one.name: named(one.metadata["setting"], one.name) for one in fields(DeckSettings)}
OWN_PRINTING = tuple(name for name, setting in SETTINGS.items() if setting.own_printing)
