"""Invented fleets: one seed one fleet, records that fit the contract and the truth, a nature that obeys its law."""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.caretaking import FixedHours, FleetView, Work
from forecaster.errors import WrongUsage
from forecaster.histories import build_histories
from forecaster.reading import read_fleet
from forecaster.records import TABLES
from forecaster.settings import read_settings
from forecaster.simulate import SimulatedFleet, simulate_fleet, write_simulated
from forecaster.truth import running_units, true_chance_defective, true_chances
from forecaster.worlds import WORLDS, World

SAMPLE = Path(__file__).resolve().parent.parent / "sample_fleet"


@cache
def fleet(craft: int = 24, seasons: int = 3, seed: int = 1, world: str = "rust_at_incident") -> SimulatedFleet:
    return simulate_fleet(craft, seasons, seed, world)


def fleets(n: int, world: str, craft: int = 24) -> list[SimulatedFleet]:
    return [fleet(craft, 3, seed, world) for seed in range(101, 101 + n)]


# -- drawing a fleet ---------------------------------------------------------------------------------------------------


def test_the_same_seed_draws_the_same_fleet_and_another_seed_another() -> None:
    first, again, other = fleet(), simulate_fleet(24, 3, 1), fleet(seed=2)
    for name in TABLES:
        pd.testing.assert_frame_equal(first.records.table(name), again.records.table(name))
    pd.testing.assert_frame_equal(first.truth.lives, again.truth.lives)
    assert not first.records.hours.equals(other.records.hours)


@pytest.mark.parametrize(("world", "failures"), [("rust_at_incident", (14, 32)), ("long_noise", (2, 16))])
def test_a_fleet_has_as_many_lives_failures_and_incidents_as_a_rental_fleet(
    world: str, failures: tuple[int, int]
) -> None:
    drawn = fleets(6, world, 28)
    failed = [int((one.records.rebuilds["bearing"] == "failed").sum()) for one in drawn]
    assert failures[0] <= np.mean(failed) <= failures[1]
    assert 95 <= np.mean([len(one.truth.lives) for one in drawn]) <= 130
    assert all(len(one.records.water) >= 30 for one in drawn)
    hours = [one.truth.daily_hours.to_numpy().sum() / (3 * 28 - 2) for one in drawn]
    assert 120 <= np.mean(hours) <= 175


def test_another_policy_meets_the_same_customers_and_incidents_and_other_failures() -> None:
    failures = {"usual": 0, "careful": 0}
    for usual in fleets(4, "rust_at_incident"):
        careful = simulate_fleet(24, 3, usual.seed, policy=FixedHours(limit_h=50, early=0, in_season_limit_h=70))
        days, days_too = (
            set(zip(one.truth.incidents["craft_id"], one.truth.incidents["happened_on"], strict=True))
            for one in (usual, careful)
        )
        assert len(days & days_too) > 0.75 * len(days)
        for name, one in (("usual", usual), ("careful", careful)):
            failures[name] += int((one.truth.lives["state"] == "failed").sum())
    assert failures["careful"] < 0.85 * failures["usual"]


@pytest.mark.parametrize(
    ("wrong", "named"), [({"craft": 0}, "craft"), ({"seasons": 0}, "seasons"), ({"seed": -1}, "seed"),
                         ({"first_year": 1066}, "first_year"), ({"world": "rusty"}, "rust_at_incident")]
)  # fmt: skip
def test_numbers_that_make_no_fleet_are_refused_by_name(wrong: dict[str, object], named: str) -> None:
    with pytest.raises(WrongUsage, match=named):
        simulate_fleet(**wrong)  # type: ignore[arg-type]


# -- records and the contract ------------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(
    craft=st.integers(1, 14),
    seasons=st.integers(1, 4),
    seed=st.integers(0, 10_000),
    world=st.sampled_from(sorted(WORLDS)),
    untidy=st.booleans(),
)
def test_every_record_fits_the_contract(craft: int, seasons: int, seed: int, world: str, untidy: bool) -> None:
    records = simulate_fleet(craft, seasons, seed, world, untidy=untidy).records
    for name, table in TABLES.items():
        rows = records.table(name)
        assert list(rows.columns) == list(table.columns)
        for row in rows.to_dict("records"):
            known = {str(cell): value for cell, value in row.items() if not pd.isna(value)}
            table.record.model_validate({k: v.date() if isinstance(v, pd.Timestamp) else v for k, v in known.items()})
        if table.key:
            assert not rows.duplicated(list(table.key)).any()
    for column in ("unit_id", "craft_id"):
        for _, periods in records.fittings.groupby(column):
            until = periods["removed_on"].fillna(pd.Timestamp.max)[:-1].to_numpy()
            assert (periods["fitted_on"][1:].to_numpy() >= until).all()


@pytest.mark.parametrize("untidy", [True, False])
@pytest.mark.parametrize("world", sorted(WORLDS))
def test_a_written_fleet_is_read_back_without_a_problem(world: str, untidy: bool, tmp_path: Path) -> None:
    drawn = simulate_fleet(16, 3, 7, world, untidy=untidy)
    write_simulated(drawn, tmp_path)
    reading = read_fleet(tmp_path, today=drawn.as_of)
    assert reading.problems == ()
    for name in TABLES:
        pd.testing.assert_frame_equal(reading.records.table(name), drawn.records.table(name), check_dtype=False)


def test_nothing_is_dated_after_the_last_day_or_before_the_first_spring() -> None:
    drawn = fleet()
    for name, table in TABLES.items():
        for column in (c.name for c in table.columns.values() if c.kind == "date"):
            days = drawn.records.table(name)[column].dropna()
            assert days.between(pd.Timestamp(2024, 3, 1), pd.Timestamp(drawn.as_of)).all()


def test_tidy_books_know_everything_and_untidy_ones_do_not() -> None:
    tidy, untidy = simulate_fleet(24, 3, 1, untidy=False).records, fleet().records
    assert not (tidy.water["treated"] == "unknown").any()
    assert (untidy.water["treated"] == "unknown").mean() == pytest.approx(0.11, abs=0.1)
    assert not (tidy.rebuilds["bearing"] == "unknown").any()
    assert (untidy.rebuilds["bearing"] == "unknown").any()
    assert untidy.fittings["hours_at_fitting"].isna().sum() > tidy.fittings["hours_at_fitting"].isna().sum()


def test_failures_and_symptoms_are_never_written_down_as_unknown() -> None:
    openings = pd.concat([one.records.rebuilds for one in fleets(6, "rust_at_incident")])
    assert (openings.loc[openings["reason"] == "failure", "bearing"] == "failed").all()
    assert openings.loc[openings["reason"] == "symptom", "bearing"].isin(["rough", "rusted"]).all()


# -- records and the truth ---------------------------------------------------------------------------------------------


def test_meters_tell_the_hours_that_were_run() -> None:
    drawn = fleet()
    for craft_id, readings in drawn.records.hours.groupby("craft_id"):
        before: dict[str, object] | None = None
        for row in readings.to_dict("records"):
            if before is not None and row["new_meter"] == "no":
                ran = drawn.truth.hours_run(str(craft_id), before["read_on"], row["read_on"])  # type: ignore[arg-type]
                assert row["meter"] - before["meter"] == pytest.approx(ran, abs=0.11)  # type: ignore[operator]
            before = row
    assert (drawn.records.hours["new_meter"] == "yes").sum() == 2


def test_a_life_is_as_old_as_its_craft_ran_while_it_was_fitted() -> None:
    truth = fleet().truth
    for row in truth.stretches.to_dict("records"):
        ran = truth.hours_run(row["craft_id"], row["from_on"], row["to_on"])
        assert row["to_age_h"] - row["from_age_h"] == pytest.approx(ran, abs=1e-9)
    span = truth.stretches.groupby("life_id").agg(first=("from_age_h", "min"), last=("to_age_h", "max"))
    lives = truth.lives.set_index("life_id").loc[span.index]
    np.testing.assert_allclose(span["first"], lives["hours_at_entry"])
    np.testing.assert_allclose(span["last"], lives["hours_at_end"])


def test_histories_built_from_the_records_are_the_true_lives() -> None:
    for drawn in fleets(3, "rust_at_incident"):
        built = build_histories(drawn.records, drawn.as_of)
        lives = built.lives.merge(drawn.truth.lives, on="life_id", suffixes=("", "_true"))
        assert len(lives) == len(built.lives)
        missing = drawn.truth.lives[~drawn.truth.lives["life_id"].isin(built.lives["life_id"])]
        assert (missing["hours_at_end"] == 0).all()  # spares that never left the shelf
        known = lives[lives["hours_at_entry"].notna()]
        np.testing.assert_allclose(known["hours_at_entry"], known["hours_at_entry_true"], atol=0.6)
        true_hours = lives["hours_at_end"] - lives["hours_at_entry_true"]
        assert (lives["hours_observed"] - true_hours).abs().median() < 1.0
        rounding = 0.25  # up to four readings, each rounded to a tenth
        assert (true_hours >= lives["hours_observed_low"] - rounding).all()
        assert (true_hours <= lives["hours_observed_high"] + rounding).all()
        failed = lives["seen"].isin(["failed", "found_failed"])
        assert (failed == (lives["state"] == "failed")).all()
        wet = built.incidents.merge(drawn.truth.incidents, on=["craft_id", "happened_on"], suffixes=("", "_true"))
        assert len(wet) == len(drawn.truth.incidents)
        assert (wet["life_id"] == wet["life_id_true"]).all()


def test_recorded_findings_are_what_was_so() -> None:
    drawn = fleet()
    found = drawn.records.rebuilds.merge(
        drawn.truth.lives, left_on=["unit_id", "opened_on"], right_on=["unit_id", "ended_on"]
    )
    so = found["bearing"].map({"sound": "sound", "rough": "defective", "rusted": "defective", "failed": "failed"})
    known = found["bearing"] != "unknown"
    assert known.sum() > 50
    assert (so[known] == found.loc[known, "state"]).all()


# -- nature obeys its law ----------------------------------------------------------------------------------------------


def stage_one_hazard(law: World, drawn: SimulatedFleet, life: dict[str, object]) -> float:
    """What the law's hazards add up to over the sound hours and the incidents of one life seen from fresh."""
    sound_until = np.nan_to_num(life["defective_at_hours"], nan=math.inf)
    wet = drawn.truth.incidents[drawn.truth.incidents["life_id"] == life["life_id"]]
    unprompt = wet.loc[wet["treatment"] != "prompt", "age_h"]
    lasting = unprompt.min() if len(unprompt) else math.inf
    total = sum(
        -math.expm1(-law.kappa(row["treatment"])) for row in wet.to_dict("records") if row["age_h"] <= sound_until
    )
    stretches = drawn.truth.stretches[drawn.truth.stretches["life_id"] == life["life_id"]]
    for row in stretches.to_dict("records"):
        start, end = row["from_age_h"], min(row["to_age_h"], sound_until)
        cut = min(max(start, lasting), end)
        for first, last, times in ((start, cut, 1.0), (cut, end, math.exp(law.lasting_log_ratio))):
            rise = (last / law.eta1) ** law.beta1 - (first / law.eta1) ** law.beta1
            total += max(rise, 0.0) * row["ratio"] * times
    return total


@pytest.mark.parametrize("world", ["rust_at_incident", "lasting_rise"])
def test_onsets_are_as_many_as_the_law_makes_them(world: str) -> None:
    """Counts less what their hazards add up to have mean 0 and that variance (the martingale of counting processes)."""
    onsets, hazard = 0, 0.0
    for drawn in fleets(6, world):
        for life in drawn.truth.lives[drawn.truth.lives["hours_at_entry"] == 0].to_dict("records"):
            onsets += not math.isnan(life["defective_at_hours"])
            hazard += stage_one_hazard(WORLDS[world], drawn, life)
    assert onsets > 100
    assert abs(onsets - hazard) < 3.5 * math.sqrt(hazard)


def test_defective_bearings_fail_and_are_noticed_at_their_rates() -> None:
    law, failed, noticed, hazard, defective_hours = WORLDS["long_noise"], 0, 0, 0.0, 0.0
    for drawn in fleets(6, "long_noise"):
        lives = drawn.truth.lives
        lives = lives[(lives["hours_at_entry"] == 0) & lives["defective_at_hours"].notna()]
        delay = lives["hours_at_end"] - lives["defective_at_hours"]
        hazard += float(((delay / law.eta2) ** law.beta2).sum())
        defective_hours += float(delay.sum())
        failed += int((lives["state"] == "failed").sum())
        noticed += int((lives["ended_by"] == "symptom").sum())
    assert abs(failed - hazard) < 3.5 * math.sqrt(hazard)
    assert abs(noticed - law.rho * defective_hours) < 3.5 * math.sqrt(law.rho * defective_hours)


def test_the_true_chance_of_being_defective_is_right_on_average() -> None:
    """Known water, quiet checks and rattles that nobody acted on are in it: over many fleets it must come true."""
    chances, defective = [], []
    for drawn in fleets(10, "rust_at_incident") + fleets(10, "long_noise"):
        units = build_histories(drawn.records, drawn.as_of).in_service()
        chances.append(true_chance_defective(drawn.truth, units))
        state = drawn.truth.lives.set_index("life_id")["state"]
        defective.append((state.loc[units.lives["life_id"]] == "defective").to_numpy())
    chance, so = np.concatenate(chances), np.concatenate(defective)
    for part in (chance < np.quantile(chance, 0.7), chance >= np.quantile(chance, 0.7)):
        spread = math.sqrt(float((chance * (1 - chance))[part].sum()))
        assert abs(float(chance[part].sum()) - int(so[part].sum())) < 3.5 * spread


def test_true_chances_follow_the_histories_as_of_any_day() -> None:
    drawn = fleet()
    units = build_histories(drawn.records, date(2025, 8, 1)).in_service()
    chances = true_chances(drawn.truth, units, np.array([0.0, 25.0, 50.0]))
    assert chances.shape == (units.n_lives, 3)
    assert (np.diff(chances, axis=1) > 0).all()
    known = running_units(drawn.truth, units)
    assert sum(len(unit.incidents) for unit in known) == len(units.incidents) > 0
    dry = true_chances(drawn.truth, units.without_incidents(), np.array([50.0]))
    assert (chances[:, 2] >= dry[:, 0] - 1e-9).all()


def test_a_life_of_another_fleet_has_no_true_chance() -> None:
    drawn = fleet()
    units = build_histories(drawn.records, drawn.as_of).in_service()
    strange = units.with_lives(life_id=[f"X{i}/1" for i in range(units.n_lives)])
    with pytest.raises(WrongUsage, match="X0/1"):
        true_chances(drawn.truth, strange, np.array([50.0]))


# -- a policy of one's own ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Spring(FixedHours):
    """Opens every unit on the first Monday of April; looks into the books every week, and finds no tomorrow there."""

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        records = fleet.records()
        for name, table in TABLES.items():
            for column in (c.name for c in table.columns.values() if c.kind == "date"):
                assert (records.table(name)[column].dropna() < pd.Timestamp(fleet.day)).all()
        if not (fleet.day.month == 4 and fleet.day.day <= 7):
            return []
        return [Work(unit.unit_id, fleet.day, "open") for unit in fleet.units() if unit.craft_id]


def test_a_policy_of_ones_own_decides_and_sees_no_further_than_its_day() -> None:
    drawn = simulate_fleet(8, 2, 3, policy=Spring())
    planned = drawn.records.rebuilds[drawn.records.rebuilds["reason"] == "scheduled"]
    april = planned[planned["opened_on"] == pd.Timestamp(2025, 4, 7)]
    assert len(april) >= 7
    assert drawn.truth.ledger["cost"].sum() > 0


def test_what_is_written_down_by_a_day_stays_when_more_is_written() -> None:
    books: list[pd.DataFrame] = []

    class Keeps(FixedHours):
        def plan(self, fleet: FleetView, rng: np.random.Generator) -> Sequence[Work]:  # type: ignore[override]
            if fleet.day.month == 9 and fleet.day.day <= 7:
                books.append(fleet.records().water)
            return super().plan(fleet, rng)

    drawn = simulate_fleet(12, 2, 5, policy=Keeps())
    final = drawn.records.water
    for early in books:
        pd.testing.assert_frame_equal(early, final.iloc[: len(early)])
    assert 0 < len(books[0]) < len(books[1])


def test_work_planned_for_the_past_is_refused() -> None:
    class Late(FixedHours):
        def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
            return [Work(fleet.units()[0].unit_id, date(2020, 1, 1), "open")]

    with pytest.raises(WrongUsage, match="past"):
        simulate_fleet(2, 1, 1, policy=Late())


# -- folders -----------------------------------------------------------------------------------------------------------


def test_the_truth_is_written_only_where_asked_for(tmp_path: Path) -> None:
    drawn = fleet(12, 2)
    write_simulated(drawn, tmp_path / "a")
    write_simulated(drawn, tmp_path / "b", truth=True)
    assert not (tmp_path / "a" / "truth.json").exists()
    told = json.loads((tmp_path / "b" / "truth.json").read_text(encoding="utf-8"))
    assert [life["life_id"] for life in told["lives"]] == list(drawn.truth.lives["life_id"])
    assert World(**told["world"]) == drawn.world


@pytest.mark.parametrize(
    ("arguments", "how"),
    [
        ({"world": "dry"}, "forecaster simulate fleet --craft 4 --seasons 1 --seed 9 --world dry"),
        ({"untidy": False}, "untidy=False"),
        ({"world": replace(World(), eta2=77.0)}, "eta2=77.0"),
        ({"settings": read_settings("[costs]\nrebuild = 700")}, "rebuild=700.0"),
    ],
)
def test_the_notes_say_how_to_draw_the_fleet_again(arguments: dict[str, object], how: str, tmp_path: Path) -> None:
    write_simulated(simulate_fleet(4, 1, 9, **arguments), tmp_path / "fleet")  # type: ignore[arg-type]
    assert how in (tmp_path / "fleet" / "README.md").read_text(encoding="utf-8")


# -- the sample fleet --------------------------------------------------------------------------------------------------


def sample_command() -> dict[str, int]:
    line = next(line for line in (SAMPLE / "README.md").read_text(encoding="utf-8").splitlines()
                if line.startswith("forecaster simulate"))  # fmt: skip
    words = line.split()[3:]
    return {name.removeprefix("--"): int(value) for name, value in zip(words[::2], words[1::2], strict=True)}


def test_the_sample_fleet_is_drawn_again_byte_for_byte_by_its_own_command(tmp_path: Path) -> None:
    write_simulated(simulate_fleet(**sample_command()), tmp_path / "sample_fleet")  # type: ignore[arg-type]
    written = {path.name for path in (tmp_path / "sample_fleet").iterdir()}
    assert written == {path.name for path in SAMPLE.iterdir() if path.suffix in (".csv", ".toml", ".md")}
    for name in sorted(written):
        assert (tmp_path / "sample_fleet" / name).read_bytes() == (SAMPLE / name).read_bytes(), name


def test_the_sample_fleet_shows_what_a_fleet_can_hold() -> None:
    reading = read_fleet(SAMPLE, today=date(2026, 11, 1))
    assert reading.problems == ()
    records = reading.records
    assert len(records.craft) == 28
    assert records.settings.currency == "USD"
    assert set(records.hours["read_on"].dt.year) == {2024, 2025, 2026}
    assert (records.rebuilds["bearing"] == "failed").sum() >= 20
    assert len(records.water) >= 30
    fitted = records.fittings.drop_duplicates(["unit_id", "craft_id"])["unit_id"].value_counts()
    assert (fitted > 1).sum() >= 5
    assert (records.hours["new_meter"] == "yes").any()
    assert {"oem", "aftermarket"} <= set(records.rebuilds["parts"])
    assert {"quiet", "slight", "rattle"} <= set(records.checks["spin"])
    assert {"yes", "no", "unknown"} <= set(records.water["treated"])
    assert records.craft["owner"].nunique() == 3
    assert records.craft["day_rate"].isna().any()
    assert records.rebuilds["reason"].nunique() == 6
