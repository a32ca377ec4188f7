"""Everything that the paper says, gathered once from forecast, plan, curves, prices and records.

The three files (PDF, work list, calendar) only set it out: none of them works anything out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from forecaster.errors import DataStopsAnswer
from forecaster.forecast import FleetForecast, UnitForecast
from forecaster.life_model import Evidence
from forecaster.paper.owners import Readership
from forecaster.parts_order import PartsOrder, parts_order
from forecaster.plan_answer import PlanAnswer, Saving
from forecaster.plan_problem import Action, Plan, PlannedAction
from forecaster.prices import Prices
from forecaster.problems import Problem, Reading
from forecaster.unit_curve import UnitCurve
from forecaster.waiting import Triggers
from forecaster.written_days import DatedText, DateFormat, written_text

CURVES = 3  # units whose curves are drawn: those most at risk


@dataclass(frozen=True)
class UnitOnPaper:
    """One unit in service: where it sits, what is forecast of it, and what is planned for it.

    `saving`: what the planned work saves to the horizon, None where nothing is planned. `doubtful`: why its figures
    may be wrong, None where they are not in doubt.
    """

    unit_id: str
    craft_id: str
    craft_name: str
    base: str
    owner: str
    forecast: UnitForecast
    planned: PlannedAction
    saving: Saving | None
    triggers: Triggers
    doubtful: str | None
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class PaperContent:
    """All that one paper says; made by ``gather``.

    `units`: ranked by the chance of failing within `hours`, highest first. `season`: the one meant by "this season".
    `whole`: the whole plan with its limits, rivals and spares, which only the fleet's own paper tells; None on an
    owner's. `other_units`: units of others planned on the same bench, counted only.
    `past`: how past forecasts fared, in sentences; empty where nobody looked back. `problems`: of the records, as
    far as this reader may know. Money in `currency`, days for readers as `date_format` says.
    """

    fleet: str
    owner: str | None
    as_of: date
    version: str
    hours: float
    season: tuple[date, date]
    in_season: bool
    units: tuple[UnitOnPaper, ...]
    curves: tuple[UnitCurve, ...]
    spent: float
    saving: Saving
    parts: PartsOrder
    ready_by: date
    season_opens: date
    horizon_on: date
    seasons: int
    currency: str
    date_format: DateFormat
    prices: Prices
    evidence: Evidence
    model: str
    whole: PlanAnswer | None
    other_units: int
    past: tuple[str, ...]
    problems: tuple[Problem, ...]
    refused_rows: int
    remarks: tuple[str, ...]

    def of_action(self, action: Action) -> tuple[UnitOnPaper, ...]:
        """The units with one planned action, by week, then by name."""
        chosen = [unit for unit in self.units if unit.planned.action == action]
        return tuple(sorted(chosen, key=lambda unit: (unit.planned.week_of or date.max, unit.unit_id)))

    def by_week(self) -> tuple[tuple[date, tuple[UnitOnPaper, ...]], ...]:
        """The planned work, week by week, rebuilds first."""
        work = [*self.of_action("rebuild"), *self.of_action("check")]
        weeks = sorted({unit.planned.week_of for unit in work if unit.planned.week_of is not None})
        return tuple((week, tuple(unit for unit in work if unit.planned.week_of == week)) for week in weeks)


@dataclass(frozen=True)
class Answers:
    """The answers that a paper is made of, all as of one day and of the whole fleet."""

    reading: Reading
    forecast: FleetForecast
    plan: PlanAnswer
    prices: Prices  # for the reader's craft as a whole
    curve: Callable[[str], UnitCurve]
    past: tuple[str, ...] = ()
    version: str = ""

    @property
    def date_format(self) -> DateFormat:
        """How the fleet writes days."""
        return self.reading.records.settings.date_format


def gather(asked: Answers, readers: Readership) -> PaperContent:
    """What the paper for these readers says.

    Raises DataStopsAnswer where none of their units is in service.
    """
    answer, forecast = asked.plan, asked.forecast
    units = tuple(_units(asked, readers))
    if not units:
        raise DataStopsAnswer(
            DatedText(
                f"No unit of {readers.owner} is in service on ",
                answer.as_of,
                ", so there is nothing to report. Ask for another day, or add what is fitted now to fittings.csv.",
            )
        )
    own = [unit.planned for unit in units]
    whole = readers.owner is None
    remarks = (*forecast.evidence.remarks, *forecast.remarks, *answer.remarks)
    return PaperContent(
        fleet=asked.reading.records.name,
        owner=readers.owner,
        as_of=answer.as_of,
        version=asked.version,
        hours=forecast.hours,
        season=forecast.season,
        in_season=forecast.season[0] <= answer.as_of,
        units=units,
        curves=tuple(asked.curve(unit.unit_id) for unit in units[:CURVES]),
        spent=answer.plan.spent if whole else sum(planned.cost for planned in own),
        saving=answer.saving if whole else answer.saving_among(planned.unit_id for planned in own),
        parts=answer.parts if whole else _parts(answer, own),
        ready_by=answer.ready_by,
        season_opens=answer.season_opens,
        horizon_on=answer.horizon_on,
        seasons=answer.seasons,
        currency=answer.currency,
        date_format=asked.date_format,
        prices=asked.prices,
        evidence=_evidence(forecast.evidence, readers),
        model=forecast.model,
        whole=answer if whole else None,
        other_units=len(forecast.units) - len(units),
        past=asked.past,
        problems=readers.problems(asked.reading),
        refused_rows=sum(asked.reading.refused_counts.values()),
        remarks=_readable(dict.fromkeys(remarks), asked, readers),
    )


def _units(asked: Answers, readers: Readership) -> Sequence[UnitOnPaper]:
    answer = asked.plan
    planned = {action.unit_id: action for action in answer.plan.actions}
    places = asked.reading.records.craft.set_index("craft_id")[["name", "base", "owner"]].fillna("").astype(str)
    doubtful = asked.reading.doubtful_units
    found = []
    for one in asked.forecast.units:
        if one.craft_id not in readers.craft:
            continue
        told = replace(one, because=tuple(written_text(reason, asked.date_format) for reason in one.because))
        place = places.loc[one.craft_id] if one.craft_id in places.index else dict.fromkeys(places.columns, "")
        doubt = doubtful.get(one.unit_id)
        found.append(
            UnitOnPaper(
                unit_id=one.unit_id,
                craft_id=one.craft_id,
                craft_name=str(place["name"]),
                base=str(place["base"]),
                owner=str(place["owner"]),
                forecast=told,
                planned=planned[one.unit_id],
                saving=answer.savings.get(one.unit_id) if planned[one.unit_id].action != "leave" else None,
                triggers=answer.triggers[one.unit_id],
                doubtful=doubt if doubt is None or readers.may_read(doubt) else "a row of its record was refused",
                remarks=_readable(one.remarks, asked, readers),
            )
        )
    return found


def _readable(remarks: Iterable[str], asked: Answers, readers: Readership) -> tuple[str, ...]:
    """Remarks that these readers may read, their days as the fleet writes them."""
    return tuple(written_text(remark, asked.date_format) for remark in readers.readable(remarks))


def _evidence(evidence: Evidence, readers: Readership) -> Evidence:
    """What stands behind the figures; a prior that is named after another customer is not named."""
    return evidence if readers.may_read(evidence.prior) else replace(evidence, prior="what other fleets taught")


def _parts(answer: PlanAnswer, own: list[PlannedAction]) -> PartsOrder:
    """The parts for some of the plan's work alone."""
    part = Plan(
        actions=tuple(own),
        spent=sum(planned.cost for planned in own),
        budget=None,
        expected_cost=0.0,
        expected_cost_do_nothing=sum(planned.saves for planned in own),
    )
    return parts_order(part, answer.as_of, answer.parts.lead_time_weeks)
