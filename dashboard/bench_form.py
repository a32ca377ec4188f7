"""The form of the bench: what was found in an opened unit, in the words of ``forecaster.Finding``."""

from __future__ import annotations

from typing import Any, get_args

import streamlit as st

import forecaster
from form_questions import ask_number, ask_one_of
from number_field import number_text
from told_wrong import in_link

PREFIX = "found_"  # in the link, apart from what other screens ask
GROUPS = {
    "The bearing, and why it was opened": (
        "reason",
        "bearing",
        "shaft_play_mm",
        "play_limit_mm",
        "wobble",
        "shaft_true",
    ),
    "The core": ("impeller", "front_housing", "rear_housing", "scored_deeply", "debris"),
    "The clutch": ("slip_found_lb_ft", "clutch_washers", "tuned"),
    "Oil and parts": ("oil", "oil_in_intercooler", "catch_can", "parts_fitted"),
}
ASKED_WHEN = {"scored_deeply": ("front_housing", "rear_housing")}  # only where one of these is scored
ASKS = {
    "reason": "Why was it opened?",
    "bearing": "Bearing, spun by hand",
    "shaft_play_mm": "Play of the shaft, mm",
    "play_limit_mm": "Most play that its manual allows, mm",
    "wobble": "Can the shaft be felt to wobble?",
    "shaft_true": "Does the shaft run true?",
    "impeller": "Impeller",
    "front_housing": "Front housing",
    "rear_housing": "Rear housing",
    "scored_deeply": "Is the scoring too deep to clean up?",
    "debris": "Metal found in housing, duct or intercooler?",
    "slip_found_lb_ft": "Slip as found, lb·ft",
    "clutch_washers": "Clutch washers",
    "tuned": "More boost than stock?",
    "oil": "Engine oil",
    "oil_in_intercooler": "Oil in the intercooler?",
    "catch_can": "Oil catch can on the breather?",
    "parts_fitted": "Rotating parts that came out",
}
ANSWERS = {
    "unknown": "not looked",
    "oem": "original",
    "check": "a check was noisy",
    "symptom": "noise or lost boost in use",
    "scheduled": "scheduled rebuild",
    "failure": "failed in use",
    "water": "water got in",
    "other": "other",
}
DONT_KNOW = ("tuned", "catch_can", "parts_fitted")  # nothing to look at in the unit itself
RANGES = {
    "shaft_play_mm": forecaster.SHAFT_PLAY_MM,
    "play_limit_mm": forecaster.PLAY_LIMIT_MM,
    "slip_found_lb_ft": forecaster.SLIP_FOUND,
}
SEASONS = {"": "By the day", "in": "In season", "off": "Off season"}


def ask_what_was_found() -> tuple[dict[str, Any], str, dict[str, list[str]]]:
    """The finding as told, the season of the price ("", "in", "off"), and both as the link tells them."""
    found: dict[str, Any] = {}
    for title, names in GROUPS.items():
        st.markdown(f"**{title}**")
        for name in names:
            if name in ASKED_WHEN and not any(found.get(part) == "scored" for part in ASKED_WHEN[name]):
                continue
            found[name] = _number(name) if name in RANGES else _word(name)
    st.markdown("**The price**")
    season = _one_of("season", "Rush surcharge of the season?", SEASONS)
    usual = forecaster.Finding()
    told = {
        f"{PREFIX}{name}": []
        if value == getattr(usual, name)
        else [number_text(value) if isinstance(value, float) else value]
        for name, value in found.items()
    }
    told |= {f"{PREFIX}{name}": [] for name in ASKED_WHEN if name not in found} | in_link()
    return found, season, told | {f"{PREFIX}season": [season] if season else []}


def _word(name: str) -> str:
    """One of a field's words; the usual one, mostly "not looked", first."""
    field = forecaster.Finding.model_fields[name]
    words = [field.default, *(word for word in get_args(field.annotation) if word != field.default)]
    told = {**ANSWERS, **({"unknown": "don't know"} if name in DONT_KNOW else {})}
    return _one_of(name, ASKS[name], {word: told.get(word, word).capitalize() for word in words})


def _one_of(name: str, asks: str, answers: dict[str, str]) -> str:
    return ask_one_of(f"{PREFIX}{name}", asks, answers, key=f"{PREFIX}{name}")


def _number(name: str) -> float | None:
    least, most = RANGES[name].least, RANGES[name].most
    needed = f"a number from {least:g} to {most:g} is needed"
    step = 0.01 if name.endswith("_mm") else 0.5
    return ask_number(f"{PREFIX}{name}", ASKS[name], (least, most), needed, step, f"{PREFIX}{name}", "Not measured")
