"""True-up's mathematics: readings to drift and wander, drift to a corrected plan. Pure, standard library only."""

from __future__ import annotations

from server.core.registration.drift import Drift
from server.core.registration.fit import Fit, Residual, fit_drift
from server.core.registration.outliers import Suspect
from server.core.registration.readings import Reading, parse_plain, parse_readings, readings_csv
from server.core.registration.wander import Wander

__all__ = ["Drift", "Fit", "Reading", "Residual", "Suspect", "Wander", "fit_drift", "parse_plain", "parse_readings",
           "readings_csv"]
