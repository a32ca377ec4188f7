"""A fleet that was read, and every question that can be asked of it: the room behind the public door."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from difflib import get_close_matches
from functools import cached_property
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.forecast import FleetForecast, FleetStanding, refuse_wrong_horizon
from forecaster.histories import build_histories
from forecaster.kept import Kept
from forecaster.life_model import FittedLifeModel
from forecaster.lives import Histories
from forecaster.model_names import DEFAULT_MODEL, MODELS
from forecaster.problems import Reading
from forecaster.reading import read_fleet
from forecaster.records import FleetRecords
from forecaster.settings import FleetSettings
from forecaster.unit_curve import UnitCurve, unit_curve
from forecaster.usage_forecast import UsageForecast, forecast_usage
from forecaster.written_days import DatedText

if TYPE_CHECKING:
    from forecaster.backtest import Backtest
    from forecaster.decisions import Decisions
    from forecaster.evidence import SurvivalEvidence
    from forecaster.flooding import AfterWater
    from forecaster.flooding_facts import Flooding
    from forecaster.instruction import Instruction
    from forecaster.interval import ServiceInterval
    from forecaster.learned import Learned
    from forecaster.learning import TwoStageFit
    from forecaster.now_or_later import NowOrLater
    from forecaster.off_season import PlanByHand, PlannedSeason
    from forecaster.paper.asking import PaperWishes
    from forecaster.paper.owner_records import OwnersPart
    from forecaster.paper.paper import Paper
    from forecaster.plan_answer import PlanAnswer
    from forecaster.plan_changes import PlanChanges
    from forecaster.plan_days import OffSeason
    from forecaster.plan_limits import PlanLimits, PlanWishes
    from forecaster.plan_problem import PlanEdit
    from forecaster.prices import Prices
    from forecaster.priors import Prior
    from forecaster.service_life import ServiceLife
    from forecaster.slip import FleetSlip
    from forecaster.this_week import ThisWeek
    from forecaster.unit_timeline import UnitTimeline
    from forecaster.weekly_hours import WeeklyHours

    _PlanWished = tuple[date, tuple[tuple[str, float], ...], PlanLimits]
    _Decided = tuple[Mapping[str, Instruction], PlanAnswer | None, tuple[str, ...]]

DEFAULT_HOURS = 50.0  # about one busy month of a rental craft; common practice, no source
# Answers that a server which runs for weeks keeps, and no more.
KEPT_DAYS = 8
KEPT_DECISIONS = 4  # days and prices: the largest of all
KEPT_PLANS = 8  # ready to be changed by hand
KEPT_FORECASTS = 48  # horizons: more than a slider has stops
KEPT_OWNERS = 2  # their parts of a fleet, each with answers of its own
SEED = 1  # of the posterior draws: the same records give the same answer
# Units above which a question about one of them does not wait for the plan of all: that takes some ten seconds for so
# many, a minute for thousands, and who stands beside a wet engine has neither.
PLANNED_FOR_ONE_UNIT = 300
PROBLEMS_TOLD = 8  # more than these are counted, and ``forecaster validate`` lists them


class _WorkedOut:
    """What was worked out of one fleet's records, kept for when it is asked for again."""

    def __init__(self) -> None:
        self.histories: Kept[date, Histories] = Kept(KEPT_DAYS)
        self.fits: Kept[tuple[date, str], FittedLifeModel] = Kept(KEPT_DAYS)
        self.standings: Kept[tuple[date, str], FleetStanding] = Kept(KEPT_DAYS)
        self.risks: Kept[tuple[date, str, float], FleetForecast] = Kept(KEPT_FORECASTS)
        self.forecasts: Kept[tuple[date, str, float], FleetForecast] = Kept(KEPT_FORECASTS)
        self.decisions: Kept[tuple[date, tuple[tuple[str, float], ...]], Decisions] = Kept(KEPT_DECISIONS)
        self.plans: Kept[_PlanWished, PlannedSeason] = Kept(KEPT_PLANS)
        self.decided: Kept[tuple[_PlanWished, tuple[tuple[str, PlanEdit], ...]], _Decided] = Kept(KEPT_PLANS)
        self.told: Kept[tuple[object, ...], Instruction] = Kept(KEPT_DAYS)
        self.usage: Kept[date, UsageForecast] = Kept(KEPT_DAYS)
        self.hours: Kept[date, WeeklyHours] = Kept(KEPT_DAYS)
        self.parts: Kept[str, Fleet] = Kept(KEPT_OWNERS)


@dataclass(frozen=True)
class Fleet:
    """A fleet's records and what follows from them; made by ``open_fleet``.

    Holds only the records; what is asked of them is worked out then, and kept for a few days and prices (``Kept``).
    """

    reading: Reading
    prior: Prior | None = None  # of the two-stage model: another fleet's experience or a user's priors; None: general
    part: OwnersPart | None = None  # whose craft are asked about, where not all are: see ``of_owner``
    _taught_by: Fleet | None = field(default=None, repr=False, compare=False)  # what a part's life model learns from
    _kept: _WorkedOut = field(init=False, default_factory=_WorkedOut, repr=False, compare=False)

    @property
    def records(self) -> FleetRecords:
        """The accepted records."""
        return self.reading.records

    @property
    def name(self) -> str:
        """The fleet's name: that of its folder or workbook."""
        return self.records.name

    @property
    def settings(self) -> FleetSettings:
        """What fleet.toml says, defaults filled in."""
        return self.records.settings

    def histories(self, as_of: date) -> Histories:
        """The lives of all units as known on a day; nothing dated later is used.

        Of one owner's part only the own units are in service: the others' lives are there to learn from.
        """

        def build() -> Histories:
            every = build_histories(self.records, as_of)
            if self.part is None:
                return every
            own = every.lives["craft_id"].isin(self.part.craft)
            empty = tuple(one for one in every.craft_without_unit if one.craft_id in self.part.craft)
            part = every.with_lives(in_service=every.lives["in_service"] & own)
            return replace(part, craft_without_unit=empty)

        return self._kept.histories.get(as_of, build)

    def fit(self, as_of: date, model: str = DEFAULT_MODEL) -> FittedLifeModel:
        """The life model, learned from what was known on a day. Raises WrongUsage for a model that is not known."""
        if self._taught_by is not None:
            return self._taught_by.fit(as_of, model)
        believed = {"prior": self.prior} if model == "two-stage" else {}
        fitter = _fitter(model)
        return self._kept.fits.get((as_of, model), lambda: fitter(self.histories(as_of), seed=SEED, **believed))

    def usage(self, as_of: date) -> UsageForecast:
        """Engine hours ahead of each craft as known on a day: the one forecast of them, that every answer uses."""
        if self._taught_by is not None:
            return self._taught_by.usage(as_of)
        return self._kept.usage.get(as_of, lambda: forecast_usage(self.records, as_of))

    def forecast(self, as_of: date, hours: float = DEFAULT_HOURS, model: str = DEFAULT_MODEL) -> FleetForecast:
        """Risk and hours left of each unit in service on a day, ranked; `hours` is the horizon in engine hours.

        Raises DataStopsAnswer where no unit is in service, WrongUsage for a horizon or model that makes no sense.
        """
        refuse_wrong_horizon(hours)
        return self._kept.forecasts.get(
            (as_of, model, float(hours)),
            lambda: self._standing(as_of, model).within(hours, self.risks(as_of, hours, model)),
        )

    def risks(self, as_of: date, hours: float = DEFAULT_HOURS, model: str = DEFAULT_MODEL) -> FleetForecast:
        """The forecast before anything further ahead is worked out: a large fleet's first sentence waits for less.

        What is in it is in ``forecast`` too; chances of this season and hours left are NaN. Raises as ``forecast``.
        """
        refuse_wrong_horizon(hours)
        return self._kept.risks.get((as_of, model, float(hours)), lambda: self._standing(as_of, model).risks(hours))

    def _standing(self, as_of: date, model: str) -> FleetStanding:
        """How the units in service stand, kept: another horizon is answered from it at once."""

        def stand() -> FleetStanding:
            self._refuse_nobody_in_service(as_of)
            return FleetStanding(self.fit(as_of, model), self.histories(as_of), self.usage(as_of))

        return self._kept.standings.get((as_of, model), stand)

    def curve(
        self, unit_id: str, as_of: date, model: str = DEFAULT_MODEL, hours_ahead: float | None = None
    ) -> UnitCurve:
        """One unit's chances along its hours, ahead and in the past; see ``UnitCurve``.

        Raises WrongUsage where the unit is not in service on that day.
        """
        return unit_curve(self.fit(as_of, model), self.histories(as_of), unit_id, hours_ahead)

    def timeline(self, unit_id: str, as_of: date) -> UnitTimeline:
        """A unit's lives on the hour axis as known on a day, with what happened on the way; see ``UnitTimeline``.

        Raises WrongUsage where the unit has no life in the record by then.
        """
        from forecaster.unit_timeline import unit_timeline

        return unit_timeline(self.records, self.histories(as_of), unit_id)

    def service_lives(self, as_of: date) -> tuple[ServiceLife, ...]:
        """B10 and B50 lives of fresh units as the records up to a day tell them, with intervals."""
        from forecaster.service_life import service_lives

        return service_lives(self.two_stage(as_of), self.histories(as_of))

    def prices(self, as_of: date, **prices: float) -> Prices:
        """What each event costs, for the fleet as a whole; `prices` replaces some of them, see ``Prices``."""
        from forecaster.fleet_prices import fleet_prices

        return fleet_prices(self.records, as_of, prices, None if self.part is None else self.part.craft)

    def service_intervals(self, as_of: date, **prices: float) -> tuple[ServiceInterval, ...]:
        """At how many hours a rebuild costs least in the long run, off season and in season, and by kind of unit.

        `prices` replaces some of the fleet's, see ``Prices``.
        """
        from forecaster.interval import service_intervals

        return service_intervals(self.two_stage(as_of), self.histories(as_of), self.prices(as_of, **prices))

    def two_stage(self, as_of: date) -> TwoStageFit:
        """The two-stage model as learned from what was known on a day, with its parameters."""
        from forecaster.learning import TwoStageFit

        fit = self.fit(as_of, "two-stage")
        if not isinstance(fit, TwoStageFit):
            raise TypeError("the model of that name is another one")
        return fit

    def after_water(self, craft_id: str, flooding: Flooding, as_of: date) -> AfterWater:
        """What to do about a craft after water, and the risk of its unit; see ``flooding.after_water``.

        Its instruction is the one that ``instructions`` gives once all that is told is in the records. Of a fleet of
        over `PLANNED_FOR_ONE_UNIT` units the record alone is asked for it, and the costs for the rest. Raises
        WrongUsage and DataStopsAnswer as ``flooded_craft.flooded_in_fleet`` says.
        """
        from forecaster.flooded_craft import flooded_in_fleet

        def decide(records: FleetRecords, unit_id: str, adds: bool) -> Instruction:
            if not adds:
                return self._instruction_after_water(unit_id, as_of)
            rows = (records.water.iloc[-1:], records.checks.iloc[-1:])  # what was told stands last
            key = (as_of, unit_id, *(row.to_json() for row in rows))
            told = replace(self.reading, records=records)
            return self._kept.told.get(key, lambda: Fleet(told, self.prior)._instruction_after_water(unit_id, as_of))

        return flooded_in_fleet(self.records, self.two_stage(as_of), craft_id, flooding, as_of, decide)

    def _instruction_after_water(self, unit_id: str, as_of: date) -> Instruction:
        planned = self.plans_for_one_unit(as_of)
        return (self.instructions(as_of) if planned else self.instructions_on_record(as_of))[unit_id]

    def plans_for_one_unit(self, as_of: date) -> bool:
        """Whether all units are few enough to be planned for a question about one of them."""
        return self.histories(as_of).in_service().n_lives <= PLANNED_FOR_ONE_UNIT

    def slip(self, as_of: date, hours_ahead: float = DEFAULT_HOURS) -> FleetSlip:
        """Clutch slip of each unit in service, how it falls, and when it is too low; `hours_ahead` in engine hours.

        Raises DataStopsAnswer where no unit is in service, WrongUsage for hours that make no sense.
        """
        from forecaster.slip import forecast_slip

        self._refuse_nobody_in_service(as_of)
        return forecast_slip(self.histories(as_of), self.records, hours_ahead=hours_ahead)

    def learned(self, as_of: date) -> tuple[Learned, ...]:
        """Each parameter of the two-stage model in plain words, prior beside posterior."""
        from forecaster.learned import learned

        return learned(self.two_stage(as_of))

    def survival(self, as_of: date) -> SurvivalEvidence:
        """Kaplan-Meier of the fleet's bearings beside what the two-stage model says of them."""
        from forecaster.evidence import survival_evidence

        return survival_evidence(self.two_stage(as_of), self.histories(as_of))

    def backtest(
        self,
        as_of: date,
        hours: float = DEFAULT_HOURS,
        every: str = "season",
        progress: Callable[[int, int, str], None] | None = None,
    ) -> Backtest:
        """How good past forecasts would have been, against simpler rules; see ``Backtest``."""
        from forecaster.backtest import backtest

        if self._taught_by is not None:
            return self._taught_by.backtest(as_of, hours, every, progress)
        return backtest(self.records, as_of, hours, progress=progress, every=every)

    def decisions(self, as_of: date, **prices: float) -> Decisions:
        """What the decisions about this fleet share; `prices` replaces some of fleet.toml's, see ``Prices``."""
        from forecaster.decisions import decisions_for

        self._refuse_nobody_in_service(as_of)
        return self._kept.decisions.get(
            (as_of, tuple(sorted(prices.items()))),
            lambda: decisions_for(
                self.records, self.histories(as_of), self.two_stage(as_of), prices, self._weekly_hours(as_of)
            ),
        )

    def _weekly_hours(self, as_of: date) -> WeeklyHours:
        """Engine hours ahead by week; kept, since no price and no owner changes them."""
        from forecaster.weekly_hours import WeeklyHours

        if self._taught_by is not None:
            return self._taught_by._weekly_hours(as_of)
        return self._kept.hours.get(as_of, lambda: WeeklyHours(self.usage(as_of)))

    def instructions_on_record(self, as_of: date) -> Mapping[str, Instruction]:
        """What the records alone order for each unit, by unit_id: at once, before anything is weighed."""
        from forecaster.instruction import instructions_on_record

        return instructions_on_record(self.histories(as_of))

    def instructions(
        self,
        as_of: date,
        progress: Callable[[str], None] | None = None,
        edits: Mapping[str, PlanEdit] | None = None,
        **wish: Unpack[PlanWishes],
    ) -> Mapping[str, Instruction]:
        """What is to be done with each unit, by unit_id: the instruction that every face shows; see ``Instruction``.

        `edits`, `wish`: as for ``plan_with``. Where no plan can be made, record and triggers decide. What was worked
        out is kept, so that a question that was broken off goes on where it stood. Raises DataStopsAnswer where no unit
        is in service.
        """
        return self._decided(as_of, progress, edits or {}, wish)[0]

    def instructions_by(self, answer: PlanAnswer, **prices: float) -> Mapping[str, Instruction]:
        """The same by a plan that was made already, the best or one changed by hand; `prices`: those it was made at."""
        from forecaster.instruction import instructions

        decisions = self.decisions(answer.as_of, **prices)
        return instructions(
            self.histories(answer.as_of), self.settings.season, decisions.weigh(), decisions.hours_this_week, answer
        )

    def _decided(
        self,
        as_of: date,
        progress: Callable[[str], None] | None,
        edits: Mapping[str, PlanEdit],
        wish: PlanWishes,
    ) -> _Decided:
        """The instructions, the plan behind them, and why there is none where there is none; kept."""
        asked = self._plan_wished(as_of, wish), tuple(sorted(edits.items()))
        return self._kept.decided.get(asked, lambda: self._decide(as_of, progress, edits, wish))

    def _decide(
        self,
        as_of: date,
        progress: Callable[[str], None] | None,
        edits: Mapping[str, PlanEdit],
        wish: PlanWishes,
    ) -> _Decided:
        from forecaster.instruction import instructions

        prices = dict(wish.get("prices", {}))
        try:
            answer = self.plan_with(edits, as_of, progress, **wish).answer
        except WrongUsage as refusal:
            decisions, season = self.decisions(as_of, **prices), self.settings.season
            weighed, hours = decisions.weigh(_counting(progress)), decisions.hours_this_week
            told = instructions(self.histories(as_of), season, weighed, hours, None)
            return told, None, (DatedText("Nothing is planned: ", refusal.message),)
        return self.instructions_by(answer, **prices), answer, ()

    def noted_this_week(self, as_of: date) -> ThisWeek:
        """What the records alone say must be done in the seven days from a day: at once, before anything is weighed."""
        from forecaster.instruction import water_on_empty_craft
        from forecaster.this_week import this_week

        told = self.instructions_on_record(as_of).values()
        return this_week(as_of, [*told, *water_on_empty_craft(self.histories(as_of))])

    def this_week(
        self,
        as_of: date,
        progress: Callable[[str], None] | None = None,
        edits: Mapping[str, PlanEdit] | None = None,
        **wish: Unpack[PlanWishes],
    ) -> ThisWeek:
        """What needs doing in the seven days from a day: those of ``instructions`` that fall in it.

        And water on craft in service on which no unit sits. `edits`, `wish`: as for ``instructions``. Raises likewise.
        """
        from forecaster.instruction import water_on_empty_craft
        from forecaster.this_week import this_week

        told, _, remarks = self._decided(as_of, progress, edits or {}, wish)
        return this_week(as_of, [*told.values(), *water_on_empty_craft(self.histories(as_of))], remarks)

    def off_season(self, as_of: date, begins: date | None = None, ready_by: date | None = None) -> OffSeason:
        """The off-season that ``plan`` plans: the one that the day is in, else the next. Raises WrongUsage likewise."""
        from forecaster.plan_days import off_season_days

        return off_season_days(self.settings.season, as_of, begins, ready_by)

    def plan(
        self, as_of: date, progress: Callable[[str], None] | None = None, **wish: Unpack[PlanWishes]
    ) -> PlanAnswer:
        """What to rebuild or check this off-season, and in which week, at the least expected cost; see ``PlanAnswer``.

        `wish`: `budget` (infinite: no limit), `begins`, `ready_by`, `bench_per_week`, `spare_units`, `closed` (days
        whose week the bench is closed), `prices` (a dict of fields of ``Prices``); what is left out is fleet.toml's.
        `progress` is told what is being done. Raises DataStopsAnswer where no unit is in service, WrongUsage for days
        or amounts that make no plan.
        """
        return self._planned(as_of, progress, wish).answer

    def plan_with(
        self,
        edits: Mapping[str, PlanEdit],
        as_of: date,
        progress: Callable[[str], None] | None = None,
        **wish: Unpack[PlanWishes],
    ) -> PlanByHand:
        """That plan with some units' work changed by hand, by unit_id: what it costs more, which limits it breaks.

        Nothing else of the plan moves. Raises as ``plan``, and WrongUsage for an edit that makes no sense.
        """
        return self._planned(as_of, progress, wish).with_edits(edits)

    def read_changes(
        self, content: bytes, file: str, as_of: date, begins: date | None = None, ready_by: date | None = None
    ) -> PlanChanges:
        """Changes of the plan of these days by hand, from the `content` of a CSV file called `file`.

        Nothing is planned for it. Raises SourceError that tells every row that cannot be used, see ``read_changes`` of
        ``forecaster.plan_changes``; DataStopsAnswer where no unit is in service, WrongUsage for days that make no plan.
        """
        from forecaster.plan_changes import Changeable, read_changes
        from forecaster.plan_days import later_weeks

        self._refuse_nobody_in_service(as_of)
        weeks = self.off_season(as_of, begins, ready_by).weeks
        last = [*weeks, *later_weeks(list(weeks), as_of)][-1]
        units = frozenset(self.histories(as_of).in_service().lives["unit_id"])
        return read_changes(content, file, Changeable(units, weeks[0], last))

    def _planned(self, as_of: date, progress: Callable[[str], None] | None, wish: PlanWishes) -> PlannedSeason:
        from forecaster.causes import REASON_HOURS
        from forecaster.off_season import planned_season

        asked = self._plan_wished(as_of, wish)
        _, prices, limits = asked

        def plan() -> PlannedSeason:
            reasons = None  # the plan finds them itself, some units at once, rather than hold how thousands stand
            if self.plans_for_one_unit(as_of) or (as_of, "two-stage") in self._kept.standings.all():
                reasons = {one.unit_id: one.because for one in self.risks(as_of, REASON_HOURS, "two-stage").units}
            decisions = self.decisions(as_of, **dict(prices))
            made = planned_season(decisions, limits, progress=progress, reasons=reasons)
            doubtful = {unit: why for unit, why in self.reading.doubtful_units.items() if unit in made.answer.triggers}
            return replace(made, answer=replace(made.answer, doubtful=doubtful))

        return self._kept.plans.get(asked, plan)

    def _plan_wished(self, as_of: date, wish: PlanWishes) -> _PlanWished:
        """All that a plan depends on: the day, the prices in place of the fleet's, and the limits."""
        from forecaster.plan_limits import limits_of

        limits = limits_of(wish)
        if self.part is not None:
            limits = replace(limits, share=self.part.share)
        return as_of, tuple(sorted(dict(wish.get("prices", {})).items())), limits

    def now_or_later(self, unit_id: str, as_of: date, planned: bool | None = None, **prices: float) -> NowOrLater:
        """Rebuild one unit now, later or never; `prices` replaces some of the fleet's, see ``NowOrLater``.

        Beside it stands the unit's instruction, at the fleet's own prices: others are a what-if. `planned`: whether the
        plan of all units is made for it (None: of at most `PLANNED_FOR_ONE_UNIT`); where it is not, the instruction is
        what record and triggers say, and else that the plan was not asked. Raises DataStopsAnswer where no unit is in
        service, WrongUsage for another unit or a price that makes no sense.
        """
        from forecaster.now_or_later import beside_instruction, now_or_later, unplanned

        decisions = self.decisions(as_of)
        told = now_or_later(decisions, unit_id, prices)
        if not (self.plans_for_one_unit(as_of) if planned is None else planned):
            return beside_instruction(told, unplanned(decisions, unit_id), None)
        instructions, plan, _ = self._decided(as_of, None, {}, {})
        return beside_instruction(told, instructions[unit_id], None if plan is None else plan.ready_by)

    def worked_out(self, kinds: Iterable[str]) -> dict[str, dict[Any, Any]]:
        """What is kept of some kinds (fields of ``_WorkedOut``), for ``take_over`` of the same fleet elsewhere."""
        return {kind: getattr(self._kept, kind).all() for kind in kinds}

    def take_over(self, worked_out: Mapping[str, Mapping[Any, Any]]) -> None:
        """Keep what the same records, read in another process of this program, gave there; see ``worked_out``."""
        for kind, answers in worked_out.items():
            for question, answer in answers.items():
                getattr(self._kept, kind).keep(question, answer)

    @property
    def owners(self) -> tuple[str, ...]:
        """The owners that craft.csv names, sorted; none where it names nobody."""
        from forecaster.paper.owners import owners_of

        return owners_of(self.records)

    @cached_property
    def evidence_alone(self) -> Fleet:
        """The same fleet with nothing in its records but evidence about bearings: what every owner may learn from."""
        from forecaster.paper.owner_records import own_records

        return Fleet(Reading(own_records(self.records, frozenset())), self.prior)

    def of_owner(self, owner: str) -> Fleet:
        """One owner's part of the fleet: asked anything, it answers about the own units alone.

        Of the other owners' rows it holds evidence about bearings and nothing else, from which the life model and the
        forecast of hours learn; its plan keeps to the own part of the bench and of the budget (``BenchShare``).
        Problems of the reading are left out. Raises WrongUsage for an owner that craft.csv does not name.
        """
        from forecaster.paper.owner_records import own_records, owners_part
        from forecaster.paper.owners import refuse_unknown_owner

        refuse_unknown_owner(self.records, owner)

        def make() -> Fleet:
            part = owners_part(self.records, owner)
            fittings = self.records.fittings
            seen = set(fittings.loc[fittings["craft_id"].isin(part.craft), "unit_id"])
            doubtful = {unit: why for unit, why in self.reading.doubtful_units.items() if unit in seen}
            reading = Reading(own_records(self.records, part.craft), doubtful_units=doubtful)
            return Fleet(reading, self.prior, part, self.evidence_alone)

        return self._kept.parts.get(owner, make)

    def report(
        self,
        as_of: date,
        owner: str | None = None,
        progress: Callable[[str], None] | None = None,
        hours: float = DEFAULT_HOURS,
        **wish: Unpack[PaperWishes],
    ) -> Paper:
        """The paper of the whole fleet or of one owner's craft: its PDF, work list and calendar; see ``Paper``.

        An owner's is made from that owner's part of the fleet (``of_owner``): nothing of other owners is in it but what
        their bearings taught. `wish`: as for ``reports``. Raises WrongUsage for an owner that is not known and as
        ``plan`` says, DataStopsAnswer where nothing of the owner's is in service.
        """
        return self.reports(as_of, (owner,), progress, hours, **wish)[0]

    def reports(
        self,
        as_of: date,
        owners: Sequence[str | None] = (),
        progress: Callable[[str], None] | None = None,
        hours: float = DEFAULT_HOURS,
        **wish: Unpack[PaperWishes],
    ) -> tuple[Paper, ...]:
        """One paper for each owner (by default for all that craft.csv names; None: the fleet).

        `hours`: the horizon in engine hours. `wish`: all that ``plan`` takes, `edits` of the plan by hand (see
        ``plan_with``; an owner's paper takes those of the own units) and `look_back` (False: leave out how past
        forecasts fared). A limit that is wished counts for each paper as it stands; without, owners have their parts
        of fleet.toml's bench and budget. `progress` is told what is being done. Raises as ``report``, and WrongUsage
        for an edit of a unit that is not in service.
        """
        from forecaster import __version__
        from forecaster.paper.asking import paper_wish, papers_for

        self._refuse_nobody_in_service(as_of)
        asked = paper_wish(hours, wish)
        return papers_for(self, as_of, tuple(owners) or self.owners, asked, progress, __version__)

    def _refuse_nobody_in_service(self, as_of: date) -> None:
        if self.histories(as_of).in_service().n_lives:
            return
        if self.part is not None:
            raise DataStopsAnswer(
                DatedText(
                    f"No unit of {self.part.owner} is in service on ",
                    as_of,
                    ", so there is nothing to report. Ask for another day, or add what is fitted now to fittings.csv.",
                )
            )
        fittings = self.records.fittings
        if fittings.empty:
            why = "fittings.csv holds no accepted row. Enter one row for each unit and the craft it sits on."
        elif fittings["fitted_on"].min().date() > as_of:
            first = fittings["fitted_on"].min().date()
            why = DatedText("the first fitting is dated ", first, ". Ask for a day from then on (--as-of).")
        else:
            why = (
                "every unit was removed, or its craft is retired or not yet in service. Add the rows of what is fitted "
                "now to fittings.csv, or mend removed_on there and retired_on in craft.csv."
            )
        raise DataStopsAnswer(DatedText("No unit is in service on ", as_of, ": ", why))


def _counting(progress: Callable[[str], None] | None) -> Callable[[int, int], None] | None:
    if progress is None:
        return None
    return lambda number, of: progress(f"Weighing unit {number:,} of {of:,} ...")


def open_fleet(
    source: str | Path,
    today: date,
    experience: str | Path | None = None,
    priors: str | Path | None = None,
) -> Fleet:
    """Read a fleet folder or workbook, ready to be asked.

    `today`: rows dated later are refused as typing errors. `experience`: a file of what another fleet taught, taken
    as the prior; `priors`: an edited copy of priors.toml. Raises SourceError where the source is not a fleet, and
    DataStopsAnswer, listing the problems, where those would make every answer wrong.
    """
    return fleet_of(read_fleet(source, today), believed(experience, priors))


def fleet_of(reading: Reading, prior: Prior | None = None) -> Fleet:
    """The fleet that was read, ready to be asked; DataStopsAnswer as ``open_fleet`` raises it."""
    stopping = reading.stops_answer
    if stopping:
        told = [f"  {problem}" for problem in stopping[:PROBLEMS_TOLD]]
        more = len(stopping) - len(told)
        rest = [f"  and {more} more: run `forecaster validate` to see them all"] if more else []
        raise DataStopsAnswer("\n".join(["These problems in the records stop the answer:", *told, *rest]))
    return Fleet(reading, prior)


def believed(experience: str | Path | None, priors: str | Path | None) -> Prior | None:
    """The prior of the two-stage model from files as ``open_fleet`` takes them; None stands for the package's own."""
    if experience is None and priors is None:
        return None
    from forecaster.experience import read_experience
    from forecaster.priors import read_priors

    base = read_priors(priors)
    return base if experience is None else read_experience(experience, base)


def _fitter(model: str) -> Callable[..., FittedLifeModel]:
    if model not in MODELS:
        near = get_close_matches(model, MODELS, n=1, cutoff=0.0)[0]
        raise WrongUsage(f"There is no life model {model!r}. Did you mean {near}? Known: {', '.join(MODELS)}.")
    room, function = MODELS[model]
    fitter: Callable[..., FittedLifeModel] = getattr(import_module(room), function)
    return fitter
