"""The Glow page's part of the API: a sheet to hold to the light, leeway, and backs that forgive. Nothing is saved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse, Response
from starlette.concurrency import run_in_threadpool

from server.core.art import Art
from server.core.back_designs import FINISHES, PATTERNS, BackDesign, colour_from
from server.core.bleed import decide
from server.core.geometry import Affine, Rect, ThroughFront
from server.core.leeway import RULES, Leeway, Sides, verdict
from server.core.leeway_plan import PlacedBack, placed_backs, plan_leeways
from server.core.methods import BuildMethod, method_named
from server.core.methods.steps import fold_words, panel_of
from server.core.plan import Face, Layout, Line
from server.core.planning import Planned
from server.core.registration.printer import Printer
from server.core.settings import DeckSettings
from server.core.units import mm_text
from server.drawing.sheet import draw_face
from server.drawing.svg_surface import SvgSurface
from server.errors import BadValue
from server.jobs.queue import Work
from server.jobs.tasks import draw_design, profile_design
from server.prepress import Prepared
from server.prepress.backs import MADE_KEY, design_art, distinct_backs, draw_back
from server.store.guests import Session
from server.web import glow_models as out
from server.web import models
from server.web.measures import profiles_of, with_colours
from server.web.services import OwnDep, PersonDep, Services, ServicesDep, TurnDep, in_worker

router = APIRouter(prefix="/api/decks/{deck_id}/glow", tags=["glow"])

_ERRORS = models.errors(404, 422, 503)
_NEAR_PX = 2048  # art is wanted pixel by pixel here
page = APIRouter(include_in_schema=False)


@page.get("/decks/{deck_id}/glow")
def glow_page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return services.deck_page(person, deck_id, "glow")


@router.get("", responses=_ERRORS)
async def glow(deck_id: str, services: ServicesDep, person: PersonDep, turn: TurnDep, own: OwnDep,
               sheet: Annotated[int, Query(ge=0, le=100_000)] = 0) -> out.GlowOut:
    """One sheet with both its faces drawn as the PDF draws them, where each card lies and how each back looks there.

    ``printer`` looks at another printer than the deck's own, "" at none; ``paper`` and ``flip`` go with it.
    """
    prepared = await turn(services.prepared, person, deck_id, own)
    sheet = min(sheet, prepared.planned.plan.sheet_count - 1)
    prepared = await with_colours(services, person.id, prepared, sheet)
    planned = prepared.planned
    deck_cards = planned.deck.cards
    keys = frozenset(back.key for card in planned.plan.cards_on(sheet)
                     if (back := deck_cards[card].back) and planned.plan.layout.has_backs)
    profiles = await profiles_of(services, person.id, planned, keys)
    placed = {one.placement.slot: one for face in planned.plan.faces if face.sheet == sheet and face.name != "front"
              for one in placed_backs(planned, face, profiles)}
    return await turn(_glow, services, person, deck_id, prepared, sheet, placed)


@router.get("/leeway", responses=_ERRORS)
async def leeways(deck_id: str, services: ServicesDep, person: PersonDep, turn: TurnDep,
                  own: OwnDep) -> out.LeewaysOut:
    """How far each distinct back may move on this deck's own sheets, and whether the printer's wander stays inside."""
    prepared = await turn(services.prepared, person, deck_id, own)
    prepared = await with_colours(services, person.id, prepared)
    planned, chosen = prepared.planned, prepared.printer
    method = method_named(planned.plan.layout.method)
    distinct = distinct_backs(planned.deck) if method.has_backs else {}
    profiles = await profiles_of(services, person.id, planned, frozenset(distinct))
    found = await turn(plan_leeways, planned, profiles)
    wander = _wander(method, chosen)
    names: dict[str, list[str]] = {}
    for card in planned.deck.cards:
        if card.copies:
            names.setdefault(card.back.key if card.back else "", []).append(card.name)
    backs = [out.BackOut(key=key, file=art.file, cards=names.get(key, []),
                         leeway=_leeway(found[key], wander, _rounded(profiles[key].looks)) if key in found else None)
             for key, art in distinct.items()]
    rules = [out.RuleOut(name=rule.name, title=rule.title, says=rule.says) for rule in RULES]
    return out.LeewaysOut(rules=rules, backs=backs, missing=names.get("", []) if method.has_backs else [],
                          wander_mm=wander, printer=chosen.name if chosen and method.drift != "one pass" else None,
                          has_backs=method.has_backs, one_pass=method.drift == "one pass")


def _wander(method: BuildMethod, printer: Printer | None) -> float | None:
    """What each leeway is held against: the printer's wander, where backs are another pass than the fronts."""
    return printer.wander.radius_mm if printer and method.drift != "one pass" else None


@router.get("/backs")
def choices(deck_id: str) -> out.BackChoices:
    """What a made back can be."""
    return out.BackChoices(finishes=[out.ChoiceOut(name=name, label=label) for name, label in FINISHES.items()],
                           patterns=[out.ChoiceOut(name=name, label=label) for name, label in PATTERNS.items()],
                           defaults=out.BackAsk())


@router.post("/back", responses=_ERRORS)
async def back(deck_id: str, ask: out.BackAsk, services: ServicesDep, person: PersonDep, turn: TurnDep,
               own: OwnDep) -> out.BackSeen:
    """A made back before it is taken: drawn, and measured on this deck's sheets as if every card had it."""
    prepared = await turn(services.prepared, person, deck_id, own)
    planned, settings, chosen = prepared.planned, prepared.settings, prepared.printer
    method = method_named(settings.method)
    if not method.has_backs:
        raise BadValue(f"method: {method.name} prints no backs.", "Choose a build method that does.")
    design = _design(ask, settings)
    bleed = _design_bleed(settings)
    work = Work("read", person.id, "back", profile_design, (design, settings.card_size, bleed),
                services.store.limits.read_seconds)
    profile = await in_worker(services, work)
    made = _design_settings(design, ask)
    art = design_art(settings.card_size, bleed)
    deck = replace(planned.deck, cards=tuple(replace(card, back=art) for card in planned.deck.cards))
    with_it = Planned(deck, settings.changed(made), planned.plan, planned.candidates, ())
    assert with_it.fit(art) == decide(art, settings.card_size, bleed, settings.edges)
    found = (await turn(plan_leeways, with_it, {MADE_KEY: profile}))[MADE_KEY]
    surface = SvgSurface(_near, "b")
    draw_back(surface, design, settings.card_size, bleed)
    return out.BackSeen(svg=surface.svg(), file=_file_name(design), settings=made,
                        leeway=_leeway(found, _wander(method, chosen), False))


@router.get("/back.pdf", responses={**_ERRORS, 200: {"content": {"application/pdf": {}}}}, response_class=Response)
async def back_pdf(deck_id: str, services: ServicesDep, person: PersonDep,
                   ask: Annotated[out.BackAsk, Depends()]) -> Response:
    """The made back as art: vector, trim and bleed."""
    settings = (await run_in_threadpool(lambda: services.views.view(services.store.decks.get(deck_id)))).settings
    arguments = (_design(ask, settings), settings.card_size, _design_bleed(settings))
    content = await in_worker(services, Work("read", person.id, "back", draw_design, arguments,
                                             services.store.limits.read_seconds))
    return Response(content, media_type="application/pdf")


def _near(art: Art) -> str:
    return f"/api/art/{quote(art.key, safe='')}?longest={_NEAR_PX}"


def _glow(services: Services, person: Session, deck_id: str, prepared: Prepared, sheet: int,
          placed: dict[int, PlacedBack]) -> out.GlowOut:
    planned = prepared.planned
    plan, layout, settings = planned.plan, planned.plan.layout, planned.settings
    plain = replace(planned, plan=replace(plan, front_correction=Affine(), back_correction=Affine()))
    faces = {}
    for face in (face for face in plan.faces if face.sheet == sheet):
        surface = SvgSurface(_near, face.name)
        draw_face(surface, plain, face)
        faces[face.name] = surface.svg()
    stock, method = settings.stock_record, method_named(layout.method)
    rows = services.store.printers.all(session=person.id)
    folds = list(_folds(layout, len(plan.cards_on(sheet))))
    return out.GlowOut(
        revision=services.store.decks.get(deck_id).version, sheet=sheet, sheets=plan.sheet_count,
        method=method.name, method_label=method.label, has_backs=method.has_backs, one_pass=method.drift == "one pass",
        in_pairs=layout.in_pairs, flip=layout.flip, page=_rect(layout.page),
        card=_rect(Rect(0, 0, layout.card.width_mm, layout.card.height_mm)),
        corner_radius_mm=layout.card.corner_radius_mm,
        through=_through(layout.through), panel=folds[0].panel if folds and not layout.in_pairs else None,
        creases=[_line(line) for line in layout.creases_on(len(plan.cards_on(sheet)))], folds=folds,
        spine_mm=layout.spine_mm,
        core_mm=settings.core_mm if "core_mm" in method.honours else 0.0,
        stock=out.GlowStock(label=stock.label, grammage_gsm=stock.grammage_gsm, caliper_mm=stock.caliper_mm,
                            show_through=stock.show_through),
        faces=faces, front_correction=_matrix(plan.front_correction), back_correction=_matrix(plan.back_correction),
        cards=_cards(planned, sheet, placed), printer=_printer(prepared),
        printers=[out.PrinterChoice(id=row.id, name=row.name) for row in rows])


def _cards(planned: Planned, sheet: int, placed: dict[int, PlacedBack]) -> list[out.GlowCard]:
    faces = [face for face in planned.plan.faces if face.sheet == sheet]
    sides = {(one.side, one.slot): one for face in faces for one in planned.plan.placements(Face(sheet, face.name))}
    cards = []
    for slot, number in enumerate(planned.plan.cards_on(sheet)):
        card, front, behind = planned.deck.cards[number], sides["front", slot], sides.get(("back", slot))
        look = placed[slot].look if slot in placed else None
        cards.append(out.GlowCard(
            slot=slot, card=number, name=card.name, front=_rect(front.trim), front_rotation=front.rotation_deg,
            back=_rect(behind.trim) if behind else None, back_rotation=behind.rotation_deg if behind else None,
            through=_through(planned.plan.layout.slots[slot].through),
            back_key=card.back.key if card.back and behind else None,
            look=out.LookOut(reach_mm=_sides(look.reach_mm), next_mm=_sides(look.next_mm),
                             art_mm=_sides(look.art_mm), border_mm=_sides(look.border_mm),
                             fold_side=look.fold_side) if look else None))
    return cards


def _through(through: ThroughFront | None) -> out.ThroughOut | None:
    return out.ThroughOut(axis=through.axis, at=through.at_mm) if through else None


def _folds(layout: Layout, cards: int) -> Iterator[out.FoldOut]:
    """What is folded: nothing, the whole sheet, or each pair by itself."""
    for number, slot in enumerate(layout.slots[:cards if layout.in_pairs else 1]):
        if slot.folds and slot.through:
            way = fold_words(slot)
            yield out.FoldOut(
                slots=[number] if layout.in_pairs else list(range(cards)),
                paper=_rect(layout.cut_units[number] if layout.in_pairs else layout.page),
                panel=_rect(slot.front if layout.in_pairs else panel_of(layout)),
                through=out.ThroughOut(axis=slot.through.axis, at=slot.through.at_mm),
                creases=[_line(line) for line in slot.folds],
                says=way[0], says_wrong=way[1])


def _printer(prepared: Prepared) -> out.PrinterOut | None:
    printer = prepared.printer
    if printer is None:
        return None
    return out.PrinterOut(
        id=prepared.settings.printer, name=printer.name, state=printer.state(prepared.today),
        drift=_matrix(printer.drift.matrix) if printer.drift else None,
        says=printer.drift.says() if printer.drift else "", wander_mm=printer.wander.radius_mm,
        wander_says=printer.wander.says())


def _leeway(leeway: Leeway, wander_mm: float | None, corners_differ: bool) -> out.LeewayOut:
    first = leeway.first
    return out.LeewayOut(
        paper_shows_mm=_sides(leeway.paper_shows_mm), neighbour_shows_mm=_sides(leeway.neighbour_shows_mm),
        art_cut_mm=_sides(leeway.art_cut_mm), uneven_mm=_sides(leeway.uneven_mm), leeway_mm=leeway.leeway_mm,
        clean_mm=leeway.clean_mm, first_rule=first[1] if first else None, first_side=first[2] if first else None,
        says=leeway.says(), verdict=None if wander_mm is None else verdict(leeway.leeway_mm, wander_mm),
        corners_differ=corners_differ)


def _rounded(looks: Sides[Any]) -> bool:
    return any(look.corners_differ for _, look in looks.items())


def _design(ask: out.BackAsk, settings: DeckSettings) -> BackDesign:
    """Raises BadValue for a choice that can't be drawn on this deck's card."""
    return BackDesign(ask.finish, ask.pattern, colour_from(ask.ground, "ground"), colour_from(ask.ink, "ink"),
                      ask.title, ask.buffer_mm).checked(settings.card_size)


def _design_bleed(settings: DeckSettings) -> float:
    """Bleed in the art where art may carry some; otherwise it is drawn at trim size, and bleed made as for all."""
    return settings.bleed_mm if settings.edges in ("auto", "art") else 0.0


def _design_settings(design: BackDesign, ask: out.BackAsk) -> dict[str, str]:
    """The deck settings that belong to a design: the flood, or none."""
    return {"back_flood": "#{:02x}{:02x}{:02x}".format(*design.ground) if design.finish == "flooded" else ""}


def _file_name(design: BackDesign) -> str:
    buffer = f"_{mm_text(design.buffer_mm).replace('.', '-')}mm" if design.finish == "inset" else ""
    return f"backs/made_{design.finish}_{design.pattern}{buffer}.pdf"


def _rect(rect: Rect) -> out.RectOut:
    return out.RectOut(x=rect.x, y=rect.y, width=rect.width, height=rect.height)


def _line(line: Line) -> out.LineOut:
    return out.LineOut(start=line.start, end=line.end)


def _matrix(matrix: Affine) -> tuple[float, float, float, float, float, float]:
    return matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f


def _sides(sides: Sides[float | None]) -> out.SidesOut:
    return out.SidesOut(left=sides.left, right=sides.right, top=sides.top, bottom=sides.bottom)
