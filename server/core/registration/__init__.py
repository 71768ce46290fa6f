"""True-up's mathematics: readings to drift and wander, drift to a corrected plan. Pure, standard library only."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from server.core.registration.drift import Drift
    from server.core.registration.fit import Fit, Residual, fit_drift
    from server.core.registration.outliers import Suspect
    from server.core.registration.readings import Reading, parse_plain, parse_readings, readings_csv
    from server.core.registration.wander import Wander

__all__ = ["Drift", "Fit", "Reading", "Residual", "Suspect", "Wander", "fit_drift", "parse_plain", "parse_readings",
           "readings_csv"]
_HOMES = {"Drift": "drift", "Fit": "fit", "Residual": "fit", "fit_drift": "fit", "Suspect": "outliers",
          "Wander": "wander"}


def __getattr__(name: str) -> Any:
    """Loaded when it is asked for: a sheet for no printer needs none of it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__} has no {name}")
    return getattr(import_module(f"{__name__}.{_HOMES.get(name, 'readings')}"), name)
