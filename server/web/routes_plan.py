"""The sheet plan as it would be, drawn; and the guide to printing and building it. Nothing is saved here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import date
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query

from server.core.art import Art
from server.core.guide import Step, build_steps, cautions, handover, print_settings, scale_check
from server.core.plan import Face, FaceName
from server.core.plan_json import alternative_to_json
from server.core.planning import Planned, plan_deck
from server.core.registration.printer import Printer
from server.core.search import Candidate, search
from server.drawing.sheet import draw_face
from server.drawing.svg_surface import SvgSurface
from server.errors import BadValue
from server.web import models, plan_models
from server.web.deck_view import all_problems, problem_of
from server.web.printer_choice import age_problems, chosen_printer
from server.web.services import Services, ServicesDep

router = APIRouter(prefix="/api/decks/{deck_id}", tags=["plan"])

_ERRORS: dict[int | str, dict[str, Any]] = {status: {"model": models.ErrorAnswer} for status in (404, 422)}
_SCREEN_PX = 512
Choice = Annotated[str | None, Query(max_length=40)]


@router.post("/plan", responses=_ERRORS)
def plan(deck_id: str, ask: plan_models.PlanAsk, services: ServicesDep) -> plan_models.PlanOut:
    """Lay the deck out with ``settings`` put over its own, and draw one face. 422 names the setting that won't do."""
    planned = planned_deck(services, deck_id, ask.settings)
    face = _face(planned, ask.sheet, ask.face)
    surface = SvgSurface(art_address)
    draw_face(surface, planned, face, safe_zone=True)
    printer = chosen_printer(services.store, planned.settings)
    problems = (*planned.problems, *age_problems(printer, date.today()),
                *all_problems(planned.deck, planned.settings))
    return plan_models.PlanOut(
        summary=summary_of_plan(planned),
        alternatives=[plan_models.AlternativeOut(**alternative_to_json(one)) for one in _alternatives(planned)],
        faces=[plan_models.FaceOut(sheet=one.sheet, name=one.name) for one in planned.plan.faces],
        shown=plan_models.FaceOut(sheet=face.sheet, name=face.name), svg=surface.svg(),
        problems=[problem_of(one) for one in dict.fromkeys(problems)], notes=list(planned.plan.notes),
        printer=_made_for(planned.settings.printer, printer) if printer else None)


@router.get("/guide", responses=_ERRORS)
def guide(deck_id: str, services: ServicesDep, paper: Choice = None, flip: Choice = None,
          printer: Annotated[str | None, Query(max_length=64)] = None) -> plan_models.GuideOut:
    """What to choose in the print dialog, and how to build the cards; on another paper, flip or printer ("" for none)
    where one is named."""
    changes = {name: value for name, value in (("paper", paper), ("flip", flip)) if value}
    if printer is not None:
        changes["printer"] = printer
    planned = planned_deck(services, deck_id, changes)
    layout, settings = planned.plan.layout, planned.settings
    stock, core_mm = settings.stock_record, settings.core_mm
    return plan_models.GuideOut(
        print_settings=_steps(print_settings(layout, stock)), scale_check=_steps(scale_check(layout)),
        build_steps=_steps(build_steps(layout, stock, core_mm)), cautions=_steps(cautions(layout)),
        handover=_steps(handover(layout, stock, core_mm)))


def planned_deck(services: Services, deck_id: str, changes: Mapping[str, Any]) -> Planned:
    """A kept deck laid out, ``changes`` put over its settings. Raises NotThere, BadValue, DoesNotFit."""
    view = services.views.view(services.store.decks.get(deck_id))
    settings = view.row.state.settings.changed(changes)
    if view.deck.count == 0:
        raise BadValue("deck: there is no card to lay out yet.", "Add fronts on the Art page.")
    return plan_deck(view.deck, settings, chosen_printer(services.store, settings))


def art_address(art: Art) -> str:
    """Where a page gets the upright picture of an art."""
    return f"/api/art/{quote(art.key, safe='')}?longest={_SCREEN_PX}"


def summary_of_plan(planned: Planned) -> plan_models.PlanSummary:
    plan, layout, best = planned.plan, planned.plan.layout, planned.best
    return plan_models.PlanSummary(
        method=layout.method, paper=layout.paper.name, sheets=plan.sheet_count, papers=plan.paper_count,
        cards_per_sheet=plan.cards_per_sheet, cards=len(plan.order), cuts=best.cuts,
        waste_percent=round(best.waste_percent, 2), arrangement=layout.arrangement, card_turned=layout.card_turned,
        columns=layout.columns, rows=layout.rows, spine_mm=layout.spine_mm,
        outer_bleed=plan_models.EdgesOut(**asdict(layout.outer_bleed)))


def _made_for(printer_id: str, printer: Printer) -> plan_models.MadeFor:
    return plan_models.MadeFor(
        id=printer_id, name=printer.name, state=printer.state(date.today()), note=printer.note,
        trued_up=printer.trued_up.isoformat() if printer.trued_up else None,
        says=printer.drift.says() if printer.drift else "", wander_says=printer.wander.says())


def _alternatives(planned: Planned) -> tuple[Candidate, ...]:
    """Every plan worth showing, also those that a pinned choice leaves out, so that another can be chosen."""
    settings = planned.settings
    if not (settings.arrangement or settings.card_turned):
        return planned.candidates
    return search(replace(settings, arrangement="", card_turned="").request(), planned.deck.count)


def _face(planned: Planned, sheet: int, name: FaceName) -> Face:
    """The face that was asked for, or the nearest that this plan has: a fold method has one for both sides."""
    faces = planned.plan.faces
    sheet = min(sheet, planned.plan.sheet_count - 1)
    of_sheet = [face for face in faces if face.sheet == sheet]
    return next((face for face in of_sheet if face.name == name), of_sheet[0])


def _steps(steps: tuple[Step, ...]) -> list[plan_models.StepOut]:
    return [plan_models.StepOut(title=step.title, says=step.says, why=step.why) for step in steps]
