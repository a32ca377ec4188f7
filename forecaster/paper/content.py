"""Everything that the paper says, gathered once from forecast, plan, curves, prices and records.

The four files (PDF, work list, calendar, table) only set it out: none of them works anything out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from forecaster.errors import DataStopsAnswer
from forecaster.fleet_prices import DayRate
from forecaster.forecast import FleetForecast, UnitForecast
from forecaster.instruction import Instruction
from forecaster.life_model import Evidence
from forecaster.lives import CraftWithoutUnit
from forecaster.off_season import PlanByHand
from forecaster.paper.owners import Readership
from forecaster.parts_order import PartsOrder, parts_order
from forecaster.plan_answer import PlanAnswer, Saving
from forecaster.plan_case import check_first_remark
from forecaster.plan_problem import Action, Plan, PlannedAction
from forecaster.prices import Prices
from forecaster.problems import Problem, Reading
from forecaster.rebuild_parts import PartLine, parts_for
from forecaster.season_triggers import Triggers
from forecaster.unit_curve import UnitCurve
from forecaster.unsafe import not_to_run
from forecaster.written_days import DatedText, DateFormat, joined, written_text

CURVES = 3  # units whose curves are drawn: those most at risk


@dataclass(frozen=True)
class UnitOnPaper:
    """One unit in service: where it sits, what is forecast of it, and what is to be done with it.

    `instruction`: the one that every file gives. `planned`: what the plan has for it, and `saving` what that saves to
    the horizon, None where it is left; both count only where the instruction is the plan's (``Instruction.week_of``).
    `triggers`: of the season that is on, else of the coming one. `stop`: why it must not run. `because`: what is on
    record and what drives its risk, without any instruction. `doubtful`: why its figures may be wrong, None where they
    are not in doubt. `changed`: whether the plan was changed by hand for it, and `note` why, as far as this reader may
    know.
    """

    unit_id: str
    craft_id: str
    craft_name: str
    base: str
    owner: str
    forecast: UnitForecast
    instruction: Instruction
    planned: PlannedAction
    saving: Saving | None
    triggers: Triggers
    stop: tuple[str, ...]
    because: tuple[str, ...]
    doubtful: str | None
    remarks: tuple[str, ...]
    changed: bool = False
    note: str = ""


@dataclass(frozen=True)
class HandChanges:
    """What was changed of the plan by hand: the units, what it costs more than the best plan, which limits it breaks.

    `late`: units whose work the changes put after the day to be ready. `broken`: sentences, their days still apart.
    """

    units: tuple[str, ...]
    costs_more: Saving
    broken: tuple[str, ...]
    late: tuple[str, ...] = ()


@dataclass(frozen=True)
class PaperContent:
    """All that one paper says; made by ``gather``.

    `units`: ranked by the chance of failing within `hours`, highest first. `season`: the one meant by "this season".
    `plan`: that of these craft alone, with its limits, rivals and spares, as changed `by_hand`, None where it is the
    best one; `kept_bench`, `kept_budget`: whether they are the part of the workshop's that is kept for one owner.
    `spent`, `parts`: of the work in the plan's weeks; `saving`: of the plan beside doing nothing, 0 where it has no
    work;
    `parts_now`: for rebuilds that do not wait for them. `assumed_rates`: craft of which no day rate is recorded, with
    the one that counts. `own_lives`: of the lives that were learned from, those on these craft. `past`: how past
    forecasts fared, in sentences; empty where nobody looked back. `problems`: of the records, as far as this reader
    may know. `craft_without_unit`: of these craft those in service of which nothing is forecast, in words.
    Money in `currency`, days for readers as `date_format` says.
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
    plan: PlanAnswer
    kept_bench: bool
    kept_budget: bool
    spent: float
    saving: Saving
    parts: PartsOrder
    parts_now: tuple[PartLine, ...]
    ready_by: date
    season_opens: date
    horizon_on: date
    seasons: int
    currency: str
    date_format: DateFormat
    prices: Prices
    assumed_rates: Mapping[str, float]
    evidence: Evidence
    own_lives: int
    model: str
    past: tuple[str, ...]
    problems: tuple[Problem, ...]
    refused_rows: int
    remarks: tuple[str, ...]
    by_hand: HandChanges | None = None
    craft_without_unit: tuple[str, ...] = ()

    @property
    def stopped(self) -> tuple[UnitOnPaper, ...]:
        """The units that must not run, by name."""
        return tuple(sorted((unit for unit in self.units if unit.instruction.stops), key=lambda unit: unit.unit_id))

    @property
    def at_once(self) -> tuple[UnitOnPaper, ...]:
        """The units to be seen to before anything that the plan has for them, by name."""
        return tuple(sorted((u for u in self.units if u.instruction.at_once), key=lambda unit: unit.unit_id))

    def of_action(self, action: Action) -> tuple[UnitOnPaper, ...]:
        """The units with this work in a week of the plan (or left, whatever may be due), by week, then by name."""
        chosen = [unit for unit in self.units if _in_plan(unit) == action]
        return tuple(sorted(chosen, key=lambda unit: (unit.instruction.week_of or date.max, unit.unit_id)))

    def by_week(self) -> tuple[tuple[date, tuple[UnitOnPaper, ...]], ...]:
        """The planned work, week by week, rebuilds first."""
        work = [*self.of_action("rebuild"), *self.of_action("check")]
        weeks = sorted({unit.instruction.week_of for unit in work if unit.instruction.week_of is not None})
        return tuple((week, tuple(unit for unit in work if unit.instruction.week_of == week)) for week in weeks)


def _in_plan(unit: UnitOnPaper) -> Action:
    act = unit.instruction.act
    return "leave" if unit.instruction.week_of is None or act is None else act


@dataclass(frozen=True)
class Answers:
    """The answers that a paper is made of, all as of one day and about the craft that it is for.

    `reading`, `readers`: of the records that they were made from. `instructions`: of each unit, by `plan`.
    `day_rates`: by craft, empty where one rate was wished for all. `own_lives`, `problems`, `refused_rows`: see
    ``PaperContent``. `bench_wished`, `budget_wished`: set for this paper, not fleet.toml's. `by_hand`: how `plan` was
    changed by hand; None: not at all.
    """

    reading: Reading
    readers: Readership
    forecast: FleetForecast
    plan: PlanAnswer
    instructions: Mapping[str, Instruction]
    prices: Prices
    own_lives: int
    curve: Callable[[str], UnitCurve]
    day_rates: Mapping[str, DayRate] = field(default_factory=dict)
    past: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    refused_rows: int = 0
    bench_wished: bool = False
    budget_wished: bool = False
    by_hand: PlanByHand | None = None

    @property
    def date_format(self) -> DateFormat:
        """How the fleet writes days."""
        return self.reading.records.settings.date_format


def gather(asked: Answers, version: str = "") -> PaperContent:
    """What the paper for these readers says.

    Raises DataStopsAnswer where none of their units is in service.
    """
    answer, forecast, owner = asked.plan, asked.forecast, asked.readers.owner
    in_season = forecast.season[0] <= answer.as_of
    units = tuple(_units(asked, in_season))
    if not units:
        raise DataStopsAnswer(
            DatedText(
                f"No unit of {owner} is in service on ",
                answer.as_of,
                ", so there is nothing to report. Ask for another day, or add what is fitted now to fittings.csv.",
            )
        )
    work = [unit.planned for unit in units if unit.instruction.week_of is not None]
    opened_now = sum(unit.instruction.at_once and unit.instruction.act == "rebuild" for unit in units)
    first = {check_first_remark(unit, found) for unit, found in answer.check_first.items()}
    remarks = (*forecast.evidence.remarks, *forecast.remarks, *(told for told in answer.remarks if told not in first))
    return PaperContent(
        fleet=asked.reading.records.name,
        owner=owner,
        as_of=answer.as_of,
        version=version,
        hours=forecast.hours,
        season=forecast.season,
        in_season=in_season,
        units=units,
        curves=tuple(asked.curve(unit.unit_id) for unit in units[:CURVES]),
        plan=answer,
        kept_bench=owner is not None and not asked.bench_wished,
        kept_budget=owner is not None and not asked.budget_wished and answer.plan.budget is not None,
        spent=sum(planned.cost for planned in work),
        saving=answer.saving if work else Saving(0.0, 0.0, 0.0),
        parts=_parts(answer, work),
        parts_now=parts_for(opened_now) if opened_now else (),
        ready_by=answer.ready_by,
        season_opens=answer.season_opens,
        horizon_on=answer.horizon_on,
        seasons=answer.seasons,
        currency=answer.currency,
        date_format=asked.date_format,
        prices=asked.prices,
        assumed_rates={
            craft: rate.amount
            for craft, rate in asked.day_rates.items()
            if rate.assumed and craft in asked.readers.craft
        },
        evidence=forecast.evidence,
        own_lives=asked.own_lives,
        model=forecast.model,
        past=asked.past,
        problems=asked.problems,
        refused_rows=asked.refused_rows,
        remarks=_readable(dict.fromkeys(remarks), asked),
        by_hand=_by_hand(asked),
        craft_without_unit=_written((_without_unit(one, asked.readers) for one in forecast.craft_without_unit), asked),
    )


def _by_hand(asked: Answers) -> HandChanges | None:
    made = asked.by_hand
    if made is None:
        return None
    last = [week.monday for week in made.answer.bench][-1]
    late = sorted(unit for unit, edit in made.edits.items() if edit.week_of is not None and edit.week_of > last)
    return HandChanges(tuple(sorted(made.edits)), made.costs_more, made.broken, tuple(late))


def _without_unit(one: CraftWithoutUnit, readers: Readership) -> str:
    """A craft without a unit, as these readers may know it: a unit that is another owner's by now is not named."""
    named = one if one.last_unit_id in readers.units else replace(one, last_unit_id=None)
    return joined(". ", [named.told, *readers.readable(one.remarks)])


def _units(asked: Answers, in_season: bool) -> Sequence[UnitOnPaper]:
    answer, readers = asked.plan, asked.readers
    planned = {action.unit_id: action for action in answer.plan.actions}
    places = asked.reading.records.craft.set_index("craft_id")[["name", "base", "owner"]].fillna("").astype(str)
    doubtful = asked.reading.doubtful_units
    edits = {} if asked.by_hand is None else asked.by_hand.edits
    found = []
    for one in asked.forecast.units:
        if one.craft_id not in readers.craft:
            continue
        place = places.loc[one.craft_id] if one.craft_id in places.index else dict.fromkeys(places.columns, "")
        doubt, own = doubtful.get(one.unit_id), planned[one.unit_id]
        found.append(
            UnitOnPaper(
                unit_id=one.unit_id,
                craft_id=one.craft_id,
                craft_name=str(place["name"]),
                base=str(place["base"]),
                owner=str(place["owner"]),
                forecast=one,
                instruction=asked.instructions[one.unit_id],
                planned=own,
                saving=answer.savings.get(one.unit_id) if own.action != "leave" else None,
                triggers=(answer.triggers_now if in_season else answer.triggers)[one.unit_id],
                stop=_written(not_to_run(one.unsafe), asked),
                because=_written(_reasons(one), asked),
                doubtful=doubt
                if doubt is None or readers.may_read(doubt)
                else "a row of its record was refused or is asked about",
                remarks=_readable(one.remarks, asked),
                changed=one.unit_id in edits,
                note=edits[one.unit_id].note
                if one.unit_id in edits and readers.may_read(edits[one.unit_id].note)
                else "",
            )
        )
    return found


def _reasons(one: UnitForecast) -> tuple[str, ...]:
    """Its hours, what is on record and what drives its risk; what is to be done about it says the instruction."""
    hours, *rest = one.because
    return (hours, *(reason.found for reason in one.unsafe), *rest[len(one.unsafe) :])


def _written(texts: Iterable[str], asked: Answers) -> tuple[str, ...]:
    """Texts with their days as the fleet writes them."""
    return tuple(written_text(text, asked.date_format) for text in texts)


def _readable(remarks: Iterable[str], asked: Answers) -> tuple[str, ...]:
    """Remarks that these readers may read."""
    return _written(asked.readers.readable(remarks), asked)


def _parts(answer: PlanAnswer, work: list[PlannedAction]) -> PartsOrder:
    """The parts for the work that is done in the plan's weeks."""
    part = Plan(
        actions=tuple(work),
        spent=sum(planned.cost for planned in work),
        budget=None,
        expected_cost=0.0,
        expected_cost_do_nothing=0.0,
        expected_cost_at_triggers=0.0,
    )
    order, to_come = answer.parts, answer.to_come.to_order
    return parts_order(part, answer.as_of, order.lead_time_weeks, kits=order.kits, to_come=to_come)
