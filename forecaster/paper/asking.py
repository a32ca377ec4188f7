"""A fleet asked for all that a paper needs, once, and the papers made of the answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Protocol, TypedDict, Unpack

from forecaster.errors import DataStopsAnswer
from forecaster.forecast import FleetForecast
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

    def forecast(self, as_of: date, hours: float) -> FleetForecast:
        """Every unit's risk."""
        ...

    def plan(self, as_of: date, progress: Callable[[str], None] | None, **wish: Unpack[PlanWishes]) -> PlanAnswer:
        """The off-season plan."""
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
    """One paper for each of `owners` (None: the whole fleet), all of one forecast and one plan of the whole fleet.

    An owner with nothing in service on that day gets none, where there are several. Raises WrongUsage for an owner that
    craft.csv does not name, DataStopsAnswer where nothing is in service for any of them.
    """
    tell = progress or (lambda _: None)
    records = fleet.reading.records
    for owner in owners:
        if owner is not None:
            refuse_unknown_owner(records, owner)
    tell("Working out the forecast ...")
    forecast = fleet.forecast(as_of, wish.hours)
    plan = fleet.plan(
        as_of,
        tell,
        budget=wish.budget,
        begins=wish.begins,
        ready_by=wish.ready_by,
        bench_per_week=wish.bench_per_week,
        prices=wish.prices,
    )
    prices = fleet.prices(as_of, **wish.prices)
    past = _past(fleet, as_of, wish.hours, tell) if wish.look_back else ()
    names = names_of(records.name, owners, as_of)
    papers: list[Paper] = []
    refusal: DataStopsAnswer | None = None
    for owner in owners:
        tell(f"Gathering the paper{f' of {owner}' if owner else ''} ...")
        readers = Readership(records, as_of, owner)
        asked = Answers(
            reading=fleet.reading,
            forecast=forecast,
            plan=plan,
            prices=prices if "day_rate" in wish.prices else _at_their_rates(prices, readers),
            curve=lambda unit_id: fleet.curve(unit_id, as_of),
            past=past,
            version=version,
        )
        try:
            content = gather(asked, readers)
        except DataStopsAnswer as nothing:
            refusal = nothing
            continue
        papers.append(Paper(content, names[owner]))
    if not papers and refusal is not None:
        raise refusal
    return tuple(papers)


def _at_their_rates(prices: Prices, readers: Readership) -> Prices:
    """The fleet's prices as they stand for the readers' craft: the day rate is the mean of theirs, where recorded."""
    craft = readers.records.craft
    rates = craft.loc[craft["craft_id"].isin(readers.craft), "day_rate"].dropna()
    return prices.with_values(day_rate=float(rates.mean())) if len(rates) else prices


def _past(fleet: AskedFleet, as_of: date, hours: float, tell: Callable[[str], None]) -> tuple[str, ...]:
    from forecaster.paper.past import past_sentences

    def progress(done: int, days: int, what: str) -> None:
        tell(f"Looking back, {done} of {days} past seasons: {what} ...")

    return past_sentences(fleet.backtest(as_of, hours, "season", progress))
