"""What every form offers, and whether the server is well."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter

from server import __version__
from server.core.card_sizes import CARD_SIZES, CardSize
from server.core.methods import METHODS
from server.core.paper import PAPERS, Paper
from server.core.setting import Setting
from server.core.settings import SETTINGS, DeckSettings
from server.core.stock import STOCKS
from server.web import plan_models
from server.web.services import ServicesDep

router = APIRouter(tags=["tables"])


@router.get("/health")
async def health() -> plan_models.Health:
    return plan_models.Health(status="ok", version=__version__)


@router.get("/api/tables")
def tables(services: ServicesDep) -> plan_models.TablesOut:
    """Papers, card sizes, stocks, build methods, the default settings, and the host's limits."""
    return plan_models.TablesOut(
        papers=[_size(paper) for paper in PAPERS.values()],
        card_sizes=[_size(size) for size in CARD_SIZES.values()],
        stocks=[plan_models.StockOut(name=stock.name, label=stock.label, grammage_gsm=stock.grammage_gsm,
                                caliper_mm=stock.caliper_mm, show_through=stock.show_through)
                for stock in STOCKS.values()],
        methods=[plan_models.MethodOut(name=method.name, label=method.label, summary=method.summary,
                                  uses_flip=method.uses_flip, has_crease=method.has_crease,
                                  honours=sorted(method.honours))
                 for method in METHODS.values()],
        settings=[_setting(setting) for setting in SETTINGS.values()], defaults=DeckSettings(),
        limits=asdict(services.store.limits))


def _setting(setting: Setting) -> plan_models.SettingOut:
    is_length = setting.kind == "length"
    return plan_models.SettingOut(
        name=setting.name, label=setting.label, kind=setting.kind, hint=setting.hint, unit="mm" if is_length else None,
        minimum=setting.low_mm if is_length else None, maximum=setting.high_mm if is_length else None,
        step=setting.step_mm if is_length else None,
        choices=[plan_models.SettingChoice(name=one.name, label=one.label, hint=one.hint) for one in setting.choices],
        default=setting.default, option=setting.option, help=setting.says(), by_method=setting.by_method,
        changes_print=not setting.screen_only, playtester=setting.own_printing)


def _size(size: Paper | CardSize) -> plan_models.SizeOut:
    return plan_models.SizeOut(name=size.name, label=size.label, width_mm=size.width_mm, height_mm=size.height_mm,
                          source=size.source)
