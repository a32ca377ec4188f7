"""A fleet asked for all that a paper needs, once, and the papers made of the answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Protocol, Self, Unpack, cast

from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.fleet_prices import day_rates
from forecaster.forecast import FleetForecast
from forecaster.instruction import Instruction
from forecaster.lives import Histories
from forecaster.off_season import PlanByHand
from forecaster.paper.content import Answers, gather
from forecaster.paper.files import names_of
from forecaster.paper.owners import Readership, refuse_unknown_owner
from forecaster.paper.paper import Paper
from forecaster.plan_answer import PlanAnswer
from forecaster.plan_limits import PlanWishes
from forecaster.plan_problem import PlanEdit
from forecaster.prices import Prices
from forecaster.problems import Reading
from forecaster.unit_curve import UnitCurve
from forecaster.written_days import DatedText

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

    def plan_with(
        self,
        edits: Mapping[str, PlanEdit],
        as_of: date,
        progress: Callable[[str], None] | None,
        **wish: Unpack[PlanWishes],
    ) -> PlanByHand:
        """The same changed by hand."""
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


class PaperWishes(PlanWishes, total=False):
    """All that ``Fleet.plan`` takes, its `edits` by hand, and whether to `look_back`, as keywords of ``Fleet.report``.

    `look_back`: tell how past forecasts fared, which takes longest on a large fleet; so it is unless it is False.
    """

    edits: Mapping[str, PlanEdit]
    look_back: bool


@dataclass(frozen=True)
class PaperWish:
    """How the paper is wanted: engine hours ahead, the plan as ``Fleet.plan`` takes it, edits, whether to look back."""

    hours: float
    plan: PlanWishes
    edits: Mapping[str, PlanEdit] = field(default_factory=dict)
    look_back: bool = True

    @property
    def prices(self) -> Mapping[str, float]:
        """The prices in place of the fleet's."""
        return self.plan.get("prices", {})


def paper_wish(hours: float, wish: PaperWishes) -> PaperWish:
    """The same from keywords; what is not the paper's own is the plan's, which refuses what it does not know."""
    plan = {name: value for name, value in wish.items() if name not in ("edits", "look_back")}
    return PaperWish(hours, cast(PlanWishes, plan), wish.get("edits", {}), wish.get("look_back", True))


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
    craft.csv does not name and for an edit of a unit that is not in service, DataStopsAnswer where nothing is in
    service for any of them.
    """
    tell = progress or (lambda _: None)
    records = fleet.reading.records
    for owner in owners:
        if owner is not None:
            refuse_unknown_owner(records, owner)
    _refuse_nobodys(wish.edits, fleet, as_of)
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
    own_edits = {unit: edit for unit, edit in wish.edits.items() if unit in _in_service(part, as_of)}
    made = part.plan_with(own_edits, as_of, tell, **wish.plan)
    rates = {} if "day_rate" in wish.prices else day_rates(part.reading.records)
    return Answers(
        reading=part.reading,
        readers=readers,
        forecast=forecast,
        plan=made.answer,
        instructions=part.instructions_by(made.answer, **wish.prices),
        by_hand=made if made.edits else None,
        prices=part.prices(as_of, **wish.prices),
        day_rates=rates,
        own_lives=int(part.histories(as_of).lives["craft_id"].isin(readers.craft).sum()),
        curve=lambda unit_id: part.curve(unit_id, as_of),
        past=past,
        problems=all_names.problems(whole),
        refused_rows=sum(whole.refused_counts.values()),
        bench_wished=wish.plan.get("bench_per_week") is not None,
        budget_wished=wish.plan.get("budget") is not None,
    )


def _in_service(fleet: AskedFleet, as_of: date) -> frozenset[str]:
    return frozenset(fleet.histories(as_of).in_service().lives["unit_id"])


def _refuse_nobodys(edits: Mapping[str, PlanEdit], fleet: AskedFleet, as_of: date) -> None:
    """An owner's paper leaves other units' edits out, so that one of no unit at all would be lost unseen."""
    nobodys = sorted(set(edits) - _in_service(fleet, as_of)) if edits else []
    if nobodys:
        told = f"{', '.join(nobodys[:10])} is not in service on "
        raise WrongUsage(DatedText(told, as_of, ", so that no plan holds it. Take its change out, or mend its name."))


def _past(fleet: AskedFleet, as_of: date, hours: float, tell: Callable[[str], None]) -> tuple[str, ...]:
    from forecaster.paper.past import past_sentences

    def progress(done: int, days: int, what: str) -> None:
        tell(f"Looking back, {done} of {days} past seasons: {what} ...")

    return past_sentences(fleet.backtest(as_of, hours, "season", progress))
