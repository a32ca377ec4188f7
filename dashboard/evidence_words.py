"""What the evidence says, in sentences."""

from __future__ import annotations

import math

import pandas as pd

import forecaster
from words import SPACE, TO, capital, count_words, hours_words, listed, number, percent

MODEL_NAMES = {
    "two-stage": "the two-stage model",
    "weibull": "the Weibull regression",
    "fleet average": "the fleet's average rate",
    "every N hours": "the rule \u201cevery N hours\u201d",
}
SELECTABLE = ("two-stage", "weibull")
# A label for the picture, and the sentence; "{}" is the figure with its interval.
PARAMETER_TOLD = {
    "log_shape_1": (
        "wear-out of a sound bearing",
        "The wear-out of a sound bearing has shape {}: at 1 it does not age, above 1 it ages.",
    ),
    "log_scale_1_h": (
        "63 % rough or rusted by",
        "Of dry, original, stock, fresh-water units 63 % are rough or rusted by {}.",
    ),
    "log_shape_2": (
        "how sharply a noisy unit's end comes",
        "The end of a noisy unit has shape {}: at 1 it comes at any time, above 1 after a while.",
    ),
    "log_scale_2_h": ("63 % of noisy units failed after", "Of noisy units that are run on, 63 % have failed after {}."),
    "log_jump_untreated": (
        "untreated water incident starts rust",
        "An untreated water incident starts rust in {} of cases.",
    ),
    "log_jump_treated": (
        "promptly treated incident starts rust",
        "A promptly treated incident starts rust in {} of cases.",
    ),
    "log_ratio_aftermarket": (
        "aftermarket against original parts",
        "Bearings with aftermarket parts go bad {} times as fast as with original ones.",
    ),
    "log_ratio_salt": ("salt against fresh water", "In salt water bearings go bad {} times as fast as in fresh."),
    "log_ratio_tuned": (
        "tuned against stock engine",
        "On a tuned engine bearings go bad {} times as fast as on a stock one.",
    ),
    "log_rate_noticed_per_h": (
        "noisy unit runs until it is noticed",
        "A noisy unit runs {} on average until somebody notices.",
    ),
    "lasting_log_ratio": (
        "untreated incident without rust",
        "After an untreated incident that started no rust, bearings go bad {} times as fast.",
    ),
    "logit_sensitivity": ("spin check hears a bad bearing", "A spin check hears a bad bearing in {} of cases."),
    "logit_specificity": (
        "spin check passes a sound bearing",
        "A spin check lets a sound bearing pass in {} of cases.",
    ),
}
MOSTLY_GENERAL = "mostly general experience"
COUNT_STANDS_HIGH = (
    "Mind when comparing: a unit that is opened because it was noisy leaves the count just before it would have "
    "failed. So the counted line stands too high, and the model's may well run below it."
)
SCORES_TOLD = (
    "Log score: 0 is perfect, higher is better. Brier score: 0 is perfect, lower is better. Order: of two units of "
    "which one failed sooner, how often it had been given the higher chance; 50 % is a coin. Lead: by how much the "
    "first model's log score is higher, with its 90 % interval. Units opened before their window was over are allowed "
    "for by counting others like them for more."
)


def evidence_answer(evidence: forecaster.Evidence, past: forecaster.Backtest | None) -> str:
    """The evidence screen in one sentence: how much was learned from, and how past forecasts fared."""
    ended = f"{evidence.failures or 'none'}{SPACE}of them ended by a failed bearing"
    learned = f"earned from {count_words(evidence.lives, 'life', 'lives')}, {ended}"
    head = f"Mostly general experience, l{learned}" if evidence.mostly_prior else f"L{learned}"
    return f"{head}; {_how_it_fared(past)}."


def _how_it_fared(past: forecaster.Backtest | None) -> str:
    if past is None:
        return "its forecasts have yet to be compared with this fleet's own past"
    question = question_told_first(past)
    if past.cannot_tell[question]:
        return "nothing can be said yet from this fleet's own past"
    return f"on this fleet's own past {comparison(past, question)}"


def question_told_first(past: forecaster.Backtest) -> str:
    """The hours asked or, where only that can be said, the season: as ``Backtest.better`` chooses."""
    return "season" if past.cannot_tell["hours"] and not past.cannot_tell["season"] else "hours"


def about(past: forecaster.Backtest, question: str) -> str:
    """What was forecast, in words."""
    if question == "season":
        return "failing by the season's close"
    return f"failing within {hours_words(past.hours)}"


def comparison(past: forecaster.Backtest, question: str) -> str:
    """Which model forecast better, and whether that is more than luck."""
    leads = past.leads[past.leads["question"] == question]
    first = model_named(past.models[0])
    if leads.empty:
        return f"{first} stood alone: no rival could forecast"
    sure = leads["more_than_luck"].astype(bool)
    better, worse = (
        [model_named(rival) for rival in leads.loc[sure & ahead, "rival"]]
        for ahead in (leads["log_score_lead"] > 0, leads["log_score_lead"] < 0)
    )
    unsure = [model_named(rival) for rival in leads.loc[~sure, "rival"]]
    if worse:
        return f"{first} forecast worse than {listed(worse)}, by more than luck"
    if not better:
        return f"{first} forecast neither better nor worse than {_either(unsure)}, by more than luck"
    told = f"{first} forecast better than {listed(better)}, by more than luck"
    return f"{told}, and neither surely better nor worse than {_either(unsure)}" if unsure else told


def _either(names: list[str]) -> str:
    return listed(names).replace(" and ", " or ")


def other_is_better(past: forecaster.Backtest) -> str:
    """What to do where another model forecast better; empty where none did by more than luck."""
    preferred = past.better
    if preferred is None or preferred == past.models[0]:
        return ""
    told = model_named(preferred)
    head = f"{capital(told)} forecast better on this fleet's own past than {model_named(past.models[0])}."
    if preferred in SELECTABLE:
        return f"{head} Choose it under \u201cMore\u201d, here or on the other screens."
    return f"{head} Take the order of the units with care, and look for what the records lack."


def verdict(past: forecaster.Backtest, question: str) -> str:
    """What was looked back on, and how the first model fared: a sentence each."""
    if past.cannot_tell[question]:
        return f"Nothing can be said yet about past forecasts of {about(past, question)}: {past.cannot_tell[question]}."
    scores = past.scores[past.scores["question"] == question].iloc[0]
    forecasts = past.season_forecasts if question == "season" else past.forecasts
    seen = (
        f"{count_words(int(scores['n']), 'forecast')} of {about(past, question)} over "
        f"{count_words(forecasts['origin'].dt.year.nunique(), 'season')}, "
        f"{count_words(int(scores['failures']), 'failure')} among them"
    )
    told = comparison(past, question)
    mean, share = percent(scores["mean_forecast"]), shares_between(scores, "observed")
    return f"{seen}: {told}. On average {mean} was forecast, and {share} failed."


def had_the_opened_failed(past: forecaster.Backtest, question: str) -> str:
    """The same where every unit opened rusted or rough in its window counts as failed; empty where there was none."""
    if past.cannot_tell[question]:
        return ""
    plainly, counted = (
        past.scores[past.scores["question"] == asked].iloc[0] for asked in (question, f"{question}_or_defective")
    )
    opened = int(counted["failures"]) - int(plainly["failures"])
    if not opened:
        return ""
    return (
        f"{count_words(opened, 'more unit was', 'more units were')} opened rusted or rough within and would sooner or "
        f"later have failed. Had each counted as failed, {shares_between(counted, 'observed')} would have, and "
        f"{comparison(past, f'{question}_or_defective').replace(' forecast ', ' would have forecast ', 1)}."
    )


def shares_between(row: pd.Series, name: str) -> str:
    """A share with its interval, from the columns ``name``, ``name_low`` and ``name_high``: "6 % (2–14 %)"."""
    if math.isnan(row[name]):
        return "a share that cannot be known"
    low, high = number(row[f"{name}_low"]), number(row[f"{name}_high"])
    return f"{percent(row[name])} ({low}{TO}{high}{SPACE}%)"


def model_named(model: str) -> str:
    """A model or rule of the backtest as people say it."""
    return MODEL_NAMES.get(model, model)


def figure_told(quantiles: tuple[float, float, float], unit: str) -> str:
    """Middle, low and high of a parameter with their unit: "70 % (44–91 %)", "323 h (252–476 h)", "2.0 (1.1–3.4)"."""
    write = {"h": "{:,.0f}", "%": "{:.0f}"}.get(unit, "{:.1f}").format
    mid, low, high = (write(value) for value in quantiles)
    end = {"h": f"{SPACE}h", "%": f"{SPACE}%"}.get(unit, "")
    return f"{mid}{end} ({low}{TO}{high}{end})"


def parameter_label(row: forecaster.Learned) -> str:
    """A parameter in a few words."""
    return PARAMETER_TOLD.get(row.name, (row.words, ""))[0]


def parameter_sentence(row: forecaster.Learned) -> str:
    """A parameter as a sentence: "An untreated water incident starts rust in 70 % (44–91 %) of cases."."""
    told = figure_told(row.posterior, row.unit)
    sentence = PARAMETER_TOLD[row.name][1] if row.name in PARAMETER_TOLD else f"{row.words}: {{}}."
    mark = f" {MOSTLY_GENERAL.capitalize()}." if row.mostly_prior else ""
    return f"{sentence.format(told)}{mark}"
