"""What each job on an opened unit costs, and whether a lost part is bought or a new unit fitted in its place.

The price of a job is never above that of a greater one: opening a unit and putting it back is a part of rebuilding it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from forecaster.opened_unit import Finding
from forecaster.settings import Costs, PartPrices

# What became of a rebuild that needs parts of the core bought.
Way = Literal["rebuild", "bought", "dearer", "part price unknown"]
NotPriced = Literal["washers", "parts of the core"]


@dataclass(frozen=True)
class BoughtPart:
    """A part of the core that is bought in place of a lost one, and what it costs alone."""

    part: str
    price: float


@dataclass(frozen=True)
class Quote:
    """Prices in the fleet's currency. ``low`` to ``high`` is what the job may come to: one price unless it is open.

    ``put_back``: open, look, reset the slip, put back, with new washers where they are worn and priced; ``rebuild``:
    with ``surcharge`` in season and the parts that are surely lost and priced; ``new_unit``: without the surcharge,
    which is for work. What an inspection may find in the engine is not in it: ``engine_if_hit`` names that risk, 0
    where no debris is feared. ``not_priced``: what the job needs or may need whose price is not known.
    """

    low: float
    high: float
    put_back: float
    rebuild: float
    new_unit: float
    surcharge: float
    engine_if_hit: float
    not_priced: tuple[NotPriced, ...]


@dataclass(frozen=True)
class Repair:
    """The cheapest way to a unit that runs again with some parts of its core lost: what it is, costs and buys."""

    way: Way
    price: float
    bought: tuple[BoughtPart, ...]

    @property
    def new_unit(self) -> bool:
        """Whether a new unit takes the old one's place."""
        return self.way in ("dearer", "part price unknown")


@dataclass(frozen=True)
class BenchPrices:
    """The prices of the day: `costs` and `parts` of fleet.toml; `surcharge`: the rush surcharge, 0 off season."""

    costs: Costs
    parts: PartPrices
    surcharge: float

    @property
    def rebuild(self) -> float:
        """A rebuild on the day, its core used again."""
        return self.costs.rebuild + self.surcharge

    def repair(self, lost: Iterable[str]) -> Repair:
        """Rebuild it with the lost parts bought, if their prices are known and a new unit is not cheaper that day."""
        prices = {part: self._alone(part) for part in lost}
        known = {part: price for part, price in prices.items() if price is not None}
        total = self.rebuild + sum(known.values())
        if total > self.costs.new_unit:
            return Repair("dearer", self.costs.new_unit, ())
        if len(known) < len(prices):
            return Repair("part price unknown", self.costs.new_unit, ())
        bought = tuple(BoughtPart(part, price) for part, price in known.items())
        return Repair("bought" if bought else "rebuild", total, bought)

    def rebuild_with(self, lost: Iterable[str]) -> float:
        """What a rebuild with these parts bought would cost, also where a new unit is cheaper; unknown prices as 0."""
        return self.rebuild + sum(self._alone(part) or 0.0 for part in lost)

    def put_back(self, finding: Finding) -> float:
        """Open it, look, reset the slip, renew worn washers, put it back."""
        renewed = finding.clutch_washers in ("worn", "broken")
        washers = (self.parts.washers or 0.0) if renewed else 0.0
        return min(self.costs.open_and_reset + washers, self.costs.rebuild, self.costs.new_unit)

    def _alone(self, part: str) -> float | None:
        price: float | None = getattr(self.parts, part.replace(" ", "_"))
        return price
