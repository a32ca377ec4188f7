"""A fleet asked for all that a paper needs, once, and the papers made of the answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Protocol, Self, TypedDict, Unpack

from forecaster.errors import DataStopsAnswer
from forecaster.fleet_prices import day_rates
from forecaster.forecast import FleetForecast
from forecaster.instruction import Instruction
from forecaster.lives import Histories
from forecaster.paper.content import Answers, gather
from forecaster.paper.files import names_of
from forecaster.paper.owners import Readership, refuse_unknown_owner
from forecaster.paper.paper import Paper
from forecaster.plan_answer import PlanAnswer
from forecaster.plan_case import PlanWishes
from forecaster.prices import Prices
from forecaster.problems import Reading
from forecaster.unit_curve import UnitCurve

if TYPE_CHECKING:
    from forecaster.backtest import Backtest


class AskedFleet(Protocol):
    """What a paper asks of a fleet; ``forecaster.fleet.Fleet`` answers it."""

    @property
    def reading(self) -> Reading:
        """What was read."""
        ...

    @property
    def evidence_alone(self) -> Self:
        """The fleet with nothing in its records but evidence about bearings."""
        ...

    def of_owner(self, owner: str) -> Self:
        """One owner's part, which answers about the own units alone."""
        ...

    def histories(self, as_of: date) -> Histories:
        """The lives that are learned from."""
        ...

    def forecast(self, as_of: date, hours: float) -> FleetForecast:
        """Every unit's risk."""
        ...

    def plan(self, as_of: date, progress: Callable[[str], None] | None, **wish: Unpack[PlanWishes]) -> PlanAnswer:
        """The off-season plan."""
        ...

    def instructions_by(self, answer: PlanAnswer, **prices: float) -> Mapping[str, Instruction]:
        """What is to be done with each unit by that plan, by unit_id."""
        ...

    def curve(self, unit_id: str, as_of: date) -> UnitCurve:
        """One unit's chances along its hours."""
        ...

    def prices(self, as_of: date, **prices: float) -> Prices:
        """What each event costs."""
        ...

    def backtest(
        self, as_of: date, hours: float, every: str, progress: Callable[[int, int, str], None] | None
    ) -> Backtest:
        """How past forecasts fared."""
        ...


@dataclass(frozen=True)
class PaperWish:
    """How the paper is wanted: engine hours ahead, the plan's limits and prices (see ``Fleet.plan``), look back.

    `look_back`: whether to tell how past forecasts fared, which takes longest on a large fleet.
    """

    hours: float
    budget: float | None = None
    begins: date | None = None
    ready_by: date | None = None
    bench_per_week: float | None = None
    look_back: bool = True
    prices: Mapping[str, float] = field(default_factory=dict)


class PaperWishes(TypedDict, total=False):
    """The same but for the hours, as keywords of ``Fleet.report``; what is left out is as usual."""

    budget: float | None
    begins: date | None
    ready_by: date | None
    bench_per_week: float | None
    look_back: bool
    prices: Mapping[str, float]


def papers_for(
    fleet: AskedFleet,
    as_of: date,
    owners: Sequence[str | None],
    wish: PaperWish,
    progress: Callable[[str], None] | None = None,
    version: str = "",
) -> tuple[Paper, ...]:
    """One paper for each of `owners`, each made from that owner's part of the fleet; None: from the whole fleet.

    An owner with nothing in service on that day gets none, where there are several. Raises WrongUsage for an owner that
    craft.csv does not name, DataStopsAnswer where nothing is in service for any of them.
    """
    tell = progress or (lambda _: None)
    records = fleet.reading.records
    for owner in owners:
        if owner is not None:
            refuse_unknown_owner(records, owner)
    past = _past(fleet.evidence_alone, as_of, wish.hours, tell) if wish.look_back else ()
    names = names_of(records.name, owners, as_of)
    papers: list[Paper] = []
    refusal: DataStopsAnswer | None = None
    for owner in owners:
        part = fleet if owner is None else fleet.of_owner(owner)
        tell(f"Working out the paper{f' of {owner}' if owner else ''} ...")
        try:
            content = gather(_asked(part, as_of, wish, owner, fleet.reading, past, tell), version)
        except DataStopsAnswer as nothing:
            refusal = nothing
            continue
        papers.append(Paper(content, names[owner]))
    if not papers and refusal is not None:
        raise refusal
    return tuple(papers)


def _asked(
    part: AskedFleet,
    as_of: date,
    wish: PaperWish,
    owner: str | None,
    whole: Reading,
    past: tuple[str, ...],
    tell: Callable[[str], None],
) -> Answers:
    """What the part of the fleet answers, and the problems of the reading that are the owner's.

    `whole`: what was read of the whole fleet, whose names say which texts from outside may not stand on the paper.
    """
    all_names, readers = Readership(whole.records, as_of, owner), Readership(part.reading.records, as_of, owner)
    forecast = part.forecast(as_of, wish.hours)
    if not all_names.may_read(forecast.evidence.prior):
        forecast = replace(forecast, evidence=replace(forecast.evidence, prior="what other fleets taught"))
    plan = part.plan(
        as_of,
        tell,
        budget=wish.budget,
        begins=wish.begins,
        ready_by=wish.ready_by,
        bench_per_week=wish.bench_per_week,
        prices=wish.prices,
    )
    rates = {} if "day_rate" in wish.prices else day_rates(part.reading.records)
    return Answers(
        reading=part.reading,
        readers=readers,
        forecast=forecast,
        plan=plan,
        instructions=part.instructions_by(plan, **wish.prices),
        prices=part.prices(as_of, **wish.prices),
        day_rates=rates,
        own_lives=int(part.histories(as_of).lives["craft_id"].isin(readers.craft).sum()),
        curve=lambda unit_id: part.curve(unit_id, as_of),
        past=past,
        problems=all_names.problems(whole),
        refused_rows=sum(whole.refused_counts.values()),
        bench_wished=wish.bench_per_week is not None,
        budget_wished=wish.budget is not None,
    )


def _past(fleet: AskedFleet, as_of: date, hours: float, tell: Callable[[str], None]) -> tuple[str, ...]:
    from forecaster.paper.past import past_sentences

    def progress(done: int, days: int, what: str) -> None:
        tell(f"Looking back, {done} of {days} past seasons: {what} ...")

    return past_sentences(fleet.backtest(as_of, hours, "season", progress))
