"""What each event costs, on a day in season or off it: the prices that every decision weighs."""

from __future__ import annotations

from dataclasses import dataclass, replace

from forecaster.settings import FleetSettings


@dataclass(frozen=True)
class Prices:
    """Expected cost of each event, in the fleet's currency, money amounts all.

    `core_lost`, `engine_hit`: chances at a failure that the core is lost and that debris reaches the engine.
    `day_rate`: rental income of one in-season day; `use`: share of in-season days on which the craft is out, so that a
    lost day costs day_rate * use.
    """

    rebuild: float
    rebuild_in_season_extra: float
    new_unit: float
    engine_damage: float
    check: float
    rebuild_days: float
    failure_days: float
    check_days: float
    day_rate: float
    core_lost: float
    engine_hit: float
    use: float = 1.0

    def planned(self, in_season: bool) -> float:
        """A planned rebuild: dearer and with lost rental days in season."""
        return self.rebuild + in_season * (self.rebuild_in_season_extra + self.rebuild_days * self._lost_day)

    def out_of_pocket(self, in_season: bool) -> float:
        """The money that a planned rebuild takes: without the rental days that it loses."""
        return self.rebuild + in_season * self.rebuild_in_season_extra

    def noticed(self) -> float:
        """A defect noticed in use, which happens in season: a rebuild then, the core kept."""
        return self.planned(in_season=True)

    def failure(self) -> float:
        """A failure in use: a new unit where the core is lost, else a rebuild; the engine where debris reaches it."""
        unit = self.core_lost * self.new_unit + (1 - self.core_lost) * (self.rebuild + self.rebuild_in_season_extra)
        return unit + self.engine_hit * self.engine_damage + self.failure_days * self._lost_day

    def looked_at(self, in_season: bool) -> float:
        """A check: pulled, spun by hand, refitted."""
        return self.check + in_season * self.check_days * self._lost_day

    @property
    def _lost_day(self) -> float:
        return self.day_rate * self.use

    def with_values(self, **values: float) -> Prices:
        """The same prices with some replaced, for what-if questions."""
        return replace(self, **values)


def prices_of(
    settings: FleetSettings, day_rate: float, core_lost: float, engine_hit: float, use: float = 1.0
) -> Prices:
    """Prices from fleet.toml and what the fleet's own rebuild rows say of cores and engines."""
    costs, days = settings.costs, settings.downtime_days
    return Prices(
        rebuild=costs.rebuild,
        rebuild_in_season_extra=costs.rebuild_in_season_extra,
        new_unit=costs.new_unit,
        engine_damage=costs.engine_damage,
        check=costs.check,
        rebuild_days=days.rebuild,
        failure_days=days.failure,
        check_days=days.check,
        day_rate=day_rate,
        core_lost=core_lost,
        engine_hit=engine_hit,
        use=use,
    )
