"""The sheet plan as it would be, drawn; and the guide to printing and building it. Nothing is saved here."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query
from starlette.concurrency import run_in_threadpool

from server.core.art import Art
from server.core.guide import Step, build_steps, cautions, handover, print_settings, scale_check
from server.core.plan import Face, FaceName
from server.core.plan_json import alternative_to_json
from server.core.planning import Planned
from server.drawing.sheet import draw_face
from server.drawing.svg_surface import SvgSurface
from server.prepress import Prepared, summarise
from server.web import models, plan_models
from server.web.deck_view import problem_of
from server.web.preparing import prepared_deck
from server.web.profiles import with_colours
from server.web.services import PersonDep, ServicesDep

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["plan"])

_ERRORS: dict[int | str, dict[str, Any]] = {status: {"model": models.ErrorAnswer} for status in (404, 422)}
_SCREEN_PX = 512
Choice = Annotated[str | None, Query(max_length=40)]


@router.post("/plan", responses=_ERRORS)
async def plan(deck_id: str, ask: plan_models.PlanAsk, services: ServicesDep,
               person: PersonDep) -> plan_models.PlanOut:
    """Lay the deck out with ``settings`` put over its own, and draw one face. 422 names the setting that won't do."""
    prepared = await run_in_threadpool(prepared_deck, services, person, deck_id, ask.settings)
    face = _face(prepared.planned, ask.sheet, ask.face)
    prepared = await with_colours(services, person.id, prepared, face.sheet)
    return await run_in_threadpool(_plan_out, prepared, face)


@router.get("/guide", responses=_ERRORS)
def guide(deck_id: str, services: ServicesDep, person: PersonDep, paper: Choice = None, flip: Choice = None,
          printer: Annotated[str | None, Query(max_length=64)] = None) -> plan_models.GuideOut:
    """What to choose in the print dialog, and how to build the cards; on another paper, flip or printer ("" for none)
    where one is named."""
    changes = {name: value for name, value in (("paper", paper), ("flip", flip)) if value}
    if printer is not None:
        changes["printer"] = printer
    prepared = prepared_deck(services, person, deck_id, changes)
    layout, settings = prepared.planned.plan.layout, prepared.settings
    stock, core_mm = settings.stock_record, settings.core_mm
    return plan_models.GuideOut(
        print_settings=_steps(print_settings(layout, stock)), scale_check=_steps(scale_check(layout)),
        build_steps=_steps(build_steps(layout, stock, core_mm)), cautions=_steps(cautions(layout)),
        handover=_steps(handover(layout, stock, core_mm)))


def _plan_out(prepared: Prepared, face: Face) -> plan_models.PlanOut:
    planned = prepared.planned
    surface = SvgSurface(art_address)
    draw_face(surface, planned, face, safe_zone=True)
    return plan_models.PlanOut(
        settings=prepared.settings, summary=plan_models.PlanSummary(**summarise(prepared)),
        alternatives=[plan_models.AlternativeOut(**alternative_to_json(one)) for one in prepared.alternatives],
        faces=[plan_models.FaceOut(sheet=one.sheet, name=one.name) for one in planned.plan.faces],
        shown=plan_models.FaceOut(sheet=face.sheet, name=face.name), svg=surface.svg(),
        problems=[problem_of(one) for one in prepared.problems], notes=list(planned.plan.notes),
        printer=_made_for(prepared) if prepared.printer else None)


def art_address(art: Art) -> str:
    """Where a page gets the upright picture of an art."""
    return f"/api/art/{quote(art.key, safe='')}?longest={_SCREEN_PX}"


def _made_for(prepared: Prepared) -> plan_models.MadeFor:
    printer = prepared.printer
    assert printer is not None
    return plan_models.MadeFor(
        id=prepared.settings.printer, name=printer.name, state=printer.state(prepared.today), note=printer.note,
        trued_up=printer.trued_up.isoformat() if printer.trued_up else None,
        says=printer.drift.says() if printer.drift else "", wander_says=printer.wander.says())


def _face(planned: Planned, sheet: int, name: FaceName) -> Face:
    """The face that was asked for, or the nearest that this plan has: a fold method has one for both sides."""
    faces = planned.plan.faces
    sheet = min(sheet, planned.plan.sheet_count - 1)
    of_sheet = [face for face in faces if face.sheet == sheet]
    return next((face for face in of_sheet if face.name == name), of_sheet[0])


def _steps(steps: tuple[Step, ...]) -> list[plan_models.StepOut]:
    return [plan_models.StepOut(title=step.title, says=step.says, why=step.why) for step in steps]
