"""How good would past forecasts have been? Forecasts as of past days, beside what then happened.

Rolling origin: on each past day asked (an *origin*) every model learns from what was known on that day and forecasts
the units in service; the later records tell what became of them. Origins are the openings of the fleet's seasons and,
unless not wished, the months of a season: at an opening most units are fresh from the bench, so that openings alone
show few failures within 50 h (2 in 55 forecasts of a simulated fleet of 28 craft and 3 seasons; 11 in 241 by months).
The questions that are scored:

``hours``    does the bearing fail within so many engine hours? A life whose earlier window is not over yet is not asked
             again, so that no engine hour is scored twice and nobody's failure counts double.
``season``   does it fail by the season's close, with the engine hours expected that day? Only at openings, only for
             seasons that are over.
``hours_or_defective``, ``season_or_defective``: the same forecasts, as if every unit opened rusted or rough in its
             window had failed. Such openings are no accident: they take away units that would soon have failed, and
             where they are many the plain question flatters whoever forecasts low. What holds under both, holds: in
             five simulated fleets (1,198 windows of 50 h) the true mean chance was 9.6 %, with 8.2 % failed by the
             plain question and 13.6 % by this one, and the true chances scored best under both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.histories import build_histories
from forecaster.judging import Judgement, judge
from forecaster.past_forecasts import (
    MODELS,
    SEED,
    fit_all,
    hours_forecasts,
    season_forecasts,
    together,
)
from forecaster.ranges import HORIZON_HOURS
from forecaster.records import TABLES, FleetRecords
from forecaster.settings import Season
from forecaster.written_days import DatedText

LEAST_LIVES = 5  # lives that have run, to learn from, and units in service: below, a day is no origin
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Backtest:
    """Past forecasts and their scores; made by ``backtest``.

    ``models``: those asked for; the first is the one judged. ``origins``: one row a day, ``origin``, ``season_opens``,
    ``lives`` and ``failures`` known then, ``forecasts`` made, ``failed`` of them in the window. ``forecasts`` and
    ``season_forecasts``: one row a forecast, columns `FORECASTS` and the models'.

    ``scores``: one row a question and model: ``question``, ``model``, ``n`` forecasts scored, ``failures``,
    ``ran_through`` of them, ``log_score`` (0 perfect, higher better), ``brier_score`` (0 perfect, lower better),
    ``concordance`` (1 perfect, 0.5 a coin), ``mean_forecast``, ``observed`` share that failed, its ``observed_low``,
    ``observed_high``.
    ``leads``: one row a question and rival of the first model, for questions that can be said: ``question``, ``rival``,
    ``log_score_lead`` with ``low``, ``high``, ``more_than_luck``; ``brier_score_lead`` with ``brier_low``, ...; each
    positive where the first model is the better one.
    ``calibration``: one row a question, model and group; see ``scores.calibration_table``.

    By question: ``cannot_tell``, why nothing can be concluded, "" where it can; ``preferred``, the first model where it
    leads every rival by more than luck; else, of the rivals that lead it by more than luck, the one with the highest
    log score; else None.
    """

    as_of: date
    hours: float
    every: str
    models: tuple[str, ...]
    origins: pd.DataFrame
    forecasts: pd.DataFrame
    season_forecasts: pd.DataFrame
    scores: pd.DataFrame
    leads: pd.DataFrame
    calibration: pd.DataFrame
    cannot_tell: dict[str, str]
    preferred: dict[str, str | None]
    remarks: tuple[str, ...] = ()

    @property
    def better(self) -> str | None:
        """The model to prefer: within the hours asked or, where that cannot be known, for the season; or None."""
        return self.preferred["season" if self.cannot_tell["hours"] else "hours"]


def backtest(
    records: FleetRecords,
    as_of: date,
    hours: float = 50.0,
    models: Sequence[str] = tuple(MODELS),
    progress: Progress | None = None,
    every: str = "month",
) -> Backtest:
    """Past forecasts of a fleet, beside what the records up to `as_of` say happened then.

    `hours`: engine hours ahead that are asked about, > 0. `models`: names of `MODELS`; the first is the one judged.
    `progress`: called with (origins done, origins in all, what is being done). `every`: "season", an origin at each
    opening; "month", also on that day of each later month of a season. Nothing dated after an origin is used for its
    forecasts. Few or no past days to judge by are no error: ``cannot_tell`` says so. Raises WrongUsage for hours,
    models or `every` that make no sense.
    """
    _refuse_nonsense(hours, models, every)
    later = build_histories(records, as_of)
    season = records.settings.season
    judged_until = min(as_of, _last_day(records, as_of))
    days = list(origins_until(season, _first_day(records, as_of), judged_until, every))
    remarks: list[str] = []
    rows, in_hours, in_season = [], [], []
    waiting: dict[str, float] = {}  # life_id -> hours in its record when its present window ends
    for done, day in enumerate(days):
        if progress is not None:
            progress(done, len(days), DatedText("forecasting as of ", day))
        then = build_histories(records, day)
        units = then.in_service()
        learned_from = int((then.lives["hours_observed"] > 0).sum())
        if min(learned_from, units.n_lives) < LEAST_LIVES:
            few = f"{learned_from} lives had run and {units.n_lives} units were in service"
            remarks.append(DatedText(day, f": no forecasts; {few}, and at least {LEAST_LIVES} of each are needed."))
            continue
        fitted = fit_all(models, then, day, remarks)
        made = hours_forecasts(fitted, models, units, later, hours, waiting)
        in_hours.append(made)
        opens, closes = season.current_or_next(day)
        if day == opens and closes <= as_of:
            in_season.append(season_forecasts(fitted, models, units, later, records, remarks))
        rows.append(
            {
                "origin": pd.Timestamp(day),
                "season_opens": pd.Timestamp(opens),
                "lives": then.n_lives,
                "failures": then.n_failures,
                "forecasts": len(made),
                "failed": int(made["failed"].sum()),
            }
        )
    if progress is not None:
        progress(len(days), len(days), "scoring")
    columns = ["origin", "season_opens", "lives", "failures", "forecasts", "failed"]
    return _scored(
        as_of,
        hours,
        every,
        tuple(models),
        pd.DataFrame(rows, columns=columns),
        together(in_hours, models),
        together(in_season, models),
        remarks,
    )


def origins_until(season: Season, first: date, as_of: date, every: str = "season") -> Iterator[date]:
    """The past days to forecast as of: openings from `first` on and before `as_of`, and the months of each season."""
    for year in range(first.year - 1, as_of.year + 1):
        opening = season.opening_in(year)
        closes = season.close_of(opening)
        days = [opening] if every == "season" else _month_by_month(opening, closes)
        yield from (day for day in days if first <= day < as_of)


def _month_by_month(opening: date, closes: date) -> list[date]:
    stamps = [pd.Timestamp(opening) + pd.DateOffset(months=months) for months in range(12)]
    return [stamp.date() for stamp in stamps if stamp.date() < closes]


def _refuse_nonsense(hours: float, models: Sequence[str], every: str) -> None:
    HORIZON_HOURS.asked(hours, "The horizon")
    if every not in ("season", "month"):
        raise WrongUsage(f"Forecasts can be looked back on every season or every month, not every {every!r}.")
    if not models or len(set(models)) < len(models):
        raise WrongUsage(f"Name at least one model, each once. Known: {', '.join(MODELS)}.")
    for model in models:
        if model not in MODELS:
            near = get_close_matches(model, MODELS, n=1, cutoff=0.0)[0]
            raise WrongUsage(f"There is no model {model!r}. Did you mean {near}? Known: {', '.join(MODELS)}.")


def _first_day(records: FleetRecords, as_of: date) -> date:
    """The first day that anything is recorded of the units; `as_of` where nothing is."""
    first = records.fittings["fitted_on"].min()
    return as_of if pd.isna(first) else min(first.date(), as_of)


def _last_day(records: FleetRecords, as_of: date) -> date:
    """The last day up to `as_of` that anything is recorded of: no forecast from then on can be judged.

    Without it, whoever asks on a day far ahead waits for seasons in which nothing happened.
    """
    tables = [table for name, table in TABLES.items() if name != "craft"]
    days = [records.table(t.name)[c.name] for t in tables for c in t.columns.values() if c.kind == "date"]
    known = pd.concat(days)
    last = known[known <= pd.Timestamp(as_of)].max()
    return as_of if pd.isna(last) else last.date()


def _scored(
    as_of: date,
    hours: float,
    every: str,
    models: tuple[str, ...],
    origins: pd.DataFrame,
    forecasts: pd.DataFrame,
    season_forecasts: pd.DataFrame,
    remarks: list[str],
) -> Backtest:
    judged = {}
    for question, table, horizon in (("hours", forecasts, hours), ("season", season_forecasts, 1.0)):
        judged[question] = judge(table, models, horizon, seed=SEED)
        judged[f"{question}_or_defective"] = judge(table, models, horizon, defective_counts=True, seed=SEED)
    untold = int(forecasts["ran"].isna().sum() + season_forecasts["ran"].isna().sum())
    if untold:
        remarks.append(f"{untold} forecasts cannot be scored: the later records do not tell the hours run since.")

    def stacked(part: Callable[[Judgement], pd.DataFrame]) -> pd.DataFrame:
        tables = [part(judgement).assign(question=question) for question, judgement in judged.items()]
        filled = [table for table in tables if len(table)] or tables[:1]
        table = pd.concat(filled, ignore_index=True)
        return table[["question", *(column for column in table.columns if column != "question")]]

    return Backtest(
        as_of=as_of,
        hours=float(hours),
        every=every,
        models=models,
        origins=origins,
        forecasts=forecasts,
        season_forecasts=season_forecasts,
        scores=stacked(lambda judgement: judgement.scores),
        leads=stacked(lambda judgement: judgement.leads),
        calibration=stacked(lambda judgement: judgement.calibration),
        cannot_tell={question: judgement.cannot_tell for question, judgement in judged.items()},
        preferred={question: judgement.preferred for question, judgement in judged.items()},
        remarks=tuple(remarks),
    )
