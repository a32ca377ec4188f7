"""The life models by name, and which function of which room fits each: named here, imported when one is asked for."""

from __future__ import annotations

# Name -> room and function: one of the rooms brings lifelines.
MODELS = {
    "two-stage": ("forecaster.learning", "fit_two_stage"),
    "weibull": ("forecaster.weibull", "fit_weibull"),
}
DEFAULT_MODEL = "two-stage"
