"""The Sheet page: the plan as it would be, drawn, and what its form offers. Nothing is saved here."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, get_args

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from server import __version__
from server.core.box import Box
from server.core.cost import Prices
from server.core.cut_order import Cut
from server.core.cuts import cut_order, piece_to_cut, stop_count
from server.core.methods import METHODS, BuildMethod
from server.core.plan import Face, FaceName, Flip
from server.core.plan_json import alternative_to_json, cut_order_to_json
from server.core.planning import Planned
from server.core.setting import Setting
from server.core.settings import SETTINGS, DeckSettings
from server.core.sizes import CARD_SIZES, PAPERS, CardSize, Paper
from server.core.stock import STOCKS
from server.core.units import mm_text
from server.drawing.box import draw_box, draw_folded
from server.drawing.sheet import draw_face
from server.drawing.svg_surface import SvgSurface
from server.intake.name_words import SIDE_WORDS
from server.jobs.comparing import compare_costs
from server.jobs.queue import Work
from server.prepress import Prepared, summarise
from server.web import models, sheet_models
from server.web.decks import art_address, problem_of
from server.web.measures import covers_of, with_colours
from server.web.services import PersonDep, ServicesDep, TurnDep, in_worker

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["plan"])

_ERRORS = models.errors(404, 422)
_COST_SECONDS = 30
Choice = Annotated[str | None, Query(max_length=40)]
tables_router = APIRouter(tags=["tables"])
page = APIRouter(include_in_schema=False)


@page.get("/decks/{deck_id}/sheet")
def sheet_page(deck_id: str, services: ServicesDep, person: PersonDep) -> HTMLResponse:
    return services.deck_page(person, deck_id, "sheet")


@router.post("/plan", responses=_ERRORS, response_model=sheet_models.PlanOut)
async def plan(deck_id: str, ask: sheet_models.PlanAsk, services: ServicesDep,
               person: PersonDep, turn: TurnDep) -> Response:
    """Lay the deck out with ``settings`` put over its own, and draw one face. 422 names the setting that won't do."""
    prepared = await turn(services.prepared, person, deck_id, ask.settings)
    face = _face(prepared.planned, ask.sheet, ask.face)
    prepared = await with_colours(services, person.id, prepared, face.sheet)
    # Written here, once: a preview of 1,500 cards names as many problems.
    return Response(await turn(lambda: _plan_out(prepared, face).model_dump_json()), media_type="application/json")


def _plan_out(prepared: Prepared, face: Face) -> sheet_models.PlanOut:
    planned = prepared.planned
    surface = SvgSurface(art_address)
    draw_face(surface, planned, face, safe_zone=True)
    return sheet_models.PlanOut(
        settings=prepared.settings, summary=models.PlanSummary(**summarise(prepared)),
        alternatives=[sheet_models.AlternativeOut(**alternative_to_json(one)) for one in prepared.alternatives],
        faces=[sheet_models.FaceOut(sheet=one.sheet, name=one.name) for one in planned.plan.faces],
        shown=sheet_models.FaceOut(sheet=face.sheet, name=face.name), svg=surface.svg(),
        problems=[problem_of(one) for one in prepared.problems], notes=list(planned.plan.notes),
        printer=_made_for(prepared) if prepared.printer else None,
        cuts=_cuts(planned, face), stops=stop_count(_order(planned, face)),
        box=_box_shown(planned, planned.box) if planned.box else None)


def _box_shown(planned: Planned, box: Box) -> sheet_models.BoxShown:
    drawn = []
    for name, draw in (("Box, lying flat", draw_box), ("Box, closed", draw_folded)):
        surface = SvgSurface(art_address, f"{draw.__name__}-")
        draw(surface, planned, box)
        drawn.append(surface.svg(name))
    inside, deck = (" × ".join(mm_text(side, 1) for side in sides) for sides in (box.inside_mm, box.deck_mm))
    return sheet_models.BoxShown(net=drawn[0], folded=drawn[1],
                                 says=f"Inside {inside} mm, for a deck of {deck} mm; on {box.paper.label}.")


@router.post("/cost", responses={**_ERRORS, **models.errors(503)})
async def cost(deck_id: str, ask: sheet_models.CostAsk, services: ServicesDep, person: PersonDep,
               turn: TurnDep) -> sheet_models.CostOut:
    """Sheets, cuts, time, ink and money by every build method and paper, worked out by a worker."""
    prepared = await turn(services.prepared, person, deck_id, ask.settings)
    inks, looked, arts = await covers_of(services, person.id, prepared.deck)
    if looked < arts:
        return sheet_models.CostOut(care=ask.care, rows=[], left_out=[], looked=looked, arts=arts)
    prices = Prices(ask.sheet_price, ask.ink_price)
    work = Work("read", person.id, "cost", compare_costs, (prepared.deck, prepared.settings, inks, prices, ask.care,
                                                           prepared.limits), _COST_SECONDS)
    return sheet_models.CostOut(**await in_worker(services, work), looked=looked, arts=arts)


def _order(planned: Planned, face: Face) -> tuple[Cut, ...]:
    """The shown sheet's cuts; none on the page of the backs, which lie under while it is cut."""
    return () if face.name == "back" else cut_order(planned.plan.layout, len(planned.plan.cards_on(face.sheet)))


def _cuts(planned: Planned, face: Face) -> list[sheet_models.CutOut]:
    first = piece_to_cut(planned.plan.layout)
    order = _order(planned, face)
    values = cut_order_to_json(planned.plan, face.sheet) if order else []
    return [sheet_models.CutOut(**one, parts_off=cut.parts_off, first=(first.x, first.y, first.width, first.height))
            for one, cut in zip(values, order, strict=True)]


def _made_for(prepared: Prepared) -> sheet_models.MadeFor:
    printer = prepared.printer
    assert printer is not None
    return sheet_models.MadeFor(
        id=prepared.settings.printer, name=printer.name, state=printer.state(prepared.today), note=printer.note,
        trued_up=printer.trued_up.isoformat() if printer.trued_up else None,
        says=printer.drift.says() if printer.drift else "", wander_says=printer.wander.says())


def _face(planned: Planned, sheet: int, name: FaceName) -> Face:
    """The face that was asked for, or the nearest that this plan has: a fold method has one for both sides."""
    faces = planned.plan.faces
    sheet = min(sheet, planned.plan.sheet_count - 1)
    of_sheet = [face for face in faces if face.sheet == sheet]
    return next((face for face in of_sheet if face.name == name), of_sheet[0])


@tables_router.get("/health")
async def health() -> sheet_models.Health:
    return sheet_models.Health(status="ok", version=__version__)


@tables_router.get("/api/tables")
def tables(services: ServicesDep) -> sheet_models.TablesOut:
    """Papers, card sizes, stocks, build methods, the default settings, and the host's limits."""
    return sheet_models.TablesOut(
        papers=[_size(paper) for paper in PAPERS.values()],
        card_sizes=[_size(size) for size in CARD_SIZES.values()],
        stocks=[sheet_models.StockOut(name=stock.name, label=stock.label, grammage_gsm=stock.grammage_gsm,
                                caliper_mm=stock.caliper_mm, show_through=stock.show_through)
                for stock in STOCKS.values()],
        methods=[_method(method) for method in METHODS.values()],
        settings=[_setting(setting) for setting in SETTINGS.values()], defaults=DeckSettings(),
        limits=asdict(services.store.limits), side_words=list(SIDE_WORDS))


def _method(method: BuildMethod) -> sheet_models.MethodOut:
    return sheet_models.MethodOut(
        name=method.name, label=method.label, summary=method.summary, prints=method.prints, turns=method.turns,
        faces=list(method.faces), papers_per_sheet=method.papers_per_sheet, papers_per_card=method.papers_per_card,
        honours=sorted(method.honours), drift=method.drift, has_backs=method.has_backs,
        printer_flips={flip: method.printer_flip(flip) for flip in get_args(Flip)},
        uses_flip="flip" in method.honours, has_crease="spread" in method.faces)


def _setting(setting: Setting) -> sheet_models.SettingOut:
    is_length = setting.kind == "length"
    return sheet_models.SettingOut(
        name=setting.name, label=setting.label, kind=setting.kind, hint=setting.hint, unit="mm" if is_length else None,
        minimum=setting.low_mm if is_length else None, maximum=setting.high_mm if is_length else None,
        step=setting.step_mm if is_length else None,
        choices=[sheet_models.SettingChoice(name=one.name, label=one.label, hint=one.hint) for one in setting.choices],
        default=setting.default, option=setting.option, help=setting.says(), by_method=setting.by_method,
        under=setting.under, changes_print=not setting.screen_only, playtester=setting.own_printing)


def _size(size: Paper | CardSize) -> sheet_models.SizeOut:
    return sheet_models.SizeOut(name=size.name, label=size.label, width_mm=size.width_mm, height_mm=size.height_mm,
                          source=size.source)
