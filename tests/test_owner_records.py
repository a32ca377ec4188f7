"""What an owner's paper may rest on: others' rows tell of bearings, and nothing else of them moves a byte."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pandas as pd
import pytest

from forecaster import Fleet, Paper
from forecaster.histories import build_histories
from forecaster.paper import owner_records
from forecaster.paper.files import KINDS
from forecaster.paper.owner_records import EVIDENCE, NEUTRAL, own_records, owners_part
from forecaster.problems import Reading
from forecaster.records import TABLES, FleetRecords
from tests.conftest import SAMPLE_DAY, sample_fleet
from tests.paper_fleet import fitted, opened, paper_fleet
from tests.small_fleet import TODAY, small_fleet

OWNER = "Old Mole Boathouse"
IN_SEASON = date(2026, 8, 10)


def others_rows(records: FleetRecords, owner: str) -> Iterator[tuple[str, pd.Series]]:
    """By table, which rows are surely not this owner's: of craft that are not, and of units never on one that is."""
    own = set(records.craft.loc[records.craft["owner"] == owner, "craft_id"])
    units = set(records.fittings.loc[records.fittings["craft_id"].isin(own), "unit_id"])
    for name in TABLES:
        table = records.table(name)
        yield name, ~table["unit_id"].isin(units) if "craft_id" not in table else ~table["craft_id"].isin(own)


def changed(
    records: FleetRecords, owner: str, change: Callable[[pd.Series, tuple[str, ...]], pd.Series]
) -> FleetRecords:
    """The records with every value of others' rows changed that is no evidence; `change` is told a column's codes."""
    tables = {}
    for name, rows in others_rows(records, owner):
        table = records.table(name).copy()
        for column in TABLES[name].columns.values():
            if column.name not in EVIDENCE[name]:
                new = change(table.loc[rows, column.name], column.codes)
                table[column.name] = table[column.name].astype(object).mask(rows, new.astype(object))
                table[column.name] = table[column.name].astype(records.table(name)[column.name].dtype)
        tables[name] = table
    return replace(records, **tables)


def tripled(cells: pd.Series, codes: tuple[str, ...]) -> pd.Series:
    """Three times each number, another code for each code, another name for each name; blanks are filled in."""
    if codes:
        return cells.map(lambda code: codes[(codes.index(code) + 1) % len(codes)])
    if cells.dtype == object:
        return cells.map(lambda name: f"another {name}")
    return (cells.astype(float).fillna(100.0) * 3).round()


def missing(cells: pd.Series, codes: tuple[str, ...]) -> pd.Series:
    """Nothing recorded."""
    return cells.map(lambda _: "unknown" if "unknown" in codes else codes[0] if codes else None).astype(object)


def mixed_up(cells: pd.Series, _: tuple[str, ...]) -> pd.Series:
    """Each value in another row."""
    return cells.sample(frac=1.0, random_state=7).set_axis(cells.index)


CHANGES = (tripled, missing, mixed_up)


def asked_anew(records: FleetRecords) -> Fleet:
    """A fleet of these records, with nothing worked out yet."""
    return Fleet(Reading(records))


def files(paper: Paper) -> dict[str, bytes]:
    return {kind: paper.file(kind) for kind in KINDS}


@cache
def paper_as_it_is(day: date) -> dict[str, bytes]:
    return files(asked_anew(sample_fleet().records).report(day, OWNER, look_back=day == SAMPLE_DAY))


# Nothing of others moves a byte -------------------------------------------------------------------------------------


@pytest.mark.parametrize("change", CHANGES)
def test_every_value_of_others_that_is_no_evidence_is_changed(
    change: Callable[[pd.Series, tuple[str, ...]], pd.Series],
) -> None:
    """The changes change something in every column that is not evidence, or the tests below would show nothing."""
    records = sample_fleet().records
    other = changed(records, OWNER, change)
    for name, rows in others_rows(records, OWNER):
        for column in TABLES[name].columns:
            was, now = (
                ["blank" if pd.isna(cell) else cell for cell in of.table(name).loc[rows, column]]
                for of in (records, other)
            )
            assert (was != now) == (column not in EVIDENCE[name]), (name, column)
            assert other.table(name)[column].dtype == records.table(name)[column].dtype


@pytest.mark.parametrize("change", CHANGES)
def test_an_owners_paper_is_the_same_to_the_byte_whatever_others_wrote_besides_evidence(
    change: Callable[[pd.Series, tuple[str, ...]], pd.Series],
) -> None:
    other = asked_anew(changed(sample_fleet().records, OWNER, change))
    assert files(other.report(SAMPLE_DAY, OWNER)) == paper_as_it_is(SAMPLE_DAY)


def test_so_it_is_in_season() -> None:
    other = asked_anew(changed(sample_fleet().records, OWNER, tripled))
    assert files(other.report(IN_SEASON, OWNER, look_back=False)) == paper_as_it_is(IN_SEASON)


def test_the_fleets_own_paper_does_change() -> None:
    records = sample_fleet().records
    whole, other = (
        asked_anew(of).report(SAMPLE_DAY, look_back=False) for of in (records, changed(records, OWNER, tripled))
    )
    for kind in KINDS:
        assert whole.file(kind) != other.file(kind)


@pytest.mark.parametrize(
    ("table", "column"), [("rebuilds", "cost"), ("rebuilds", "impeller"), ("checks", "shaft_play_mm")]
)
def test_a_column_that_leaked_would_be_seen(table: str, column: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the bills of others let through, a failure's price moves; with others' cores likewise."""
    records = sample_fleet().records
    other = changed(records, OWNER, tripled)
    monkeypatch.setattr(owner_records, "EVIDENCE", {**EVIDENCE, table: (*EVIDENCE[table], column)})
    leaked = [asked_anew(of).of_owner(OWNER) for of in (records, other)]
    prices = [fleet.prices(SAMPLE_DAY) for fleet in leaked]
    assert (prices[0] != prices[1]) == (table == "rebuilds")
    tables = [fleet.records.table(table)[column] for fleet in leaked]
    assert not tables[0].equals(tables[1])


# What is kept is all that is needed ---------------------------------------------------------------------------------


@pytest.mark.parametrize("day", [SAMPLE_DAY, IN_SEASON])
def test_the_risk_of_a_unit_is_the_whole_fleets_forecast(day: date) -> None:
    fleet = sample_fleet()
    whole = {unit.unit_id: unit for unit in fleet.forecast(day).units}
    seen = set()
    for owner in fleet.owners:
        for unit in fleet.of_owner(owner).forecast(day).units:
            told = whole[unit.unit_id]
            for name in ("defective_now", "fails_within", "fails_this_season", "hours_left"):
                risk, of_whole = (list(vars(getattr(of, name)).values()) for of in (unit, told))
                assert risk == pytest.approx(of_whole, rel=1e-9), (unit.unit_id, name)
            assert (unit.because, unit.unsafe) == (told.because, told.unsafe)
            seen.add(unit.unit_id)
    assert seen == set(whole)


def test_lives_are_the_same_from_evidence_alone_but_for_what_nobody_learns_from() -> None:
    records = sample_fleet().records
    whole, alone = (build_histories(of, SAMPLE_DAY) for of in (records, sample_fleet().evidence_alone.records))
    pd.testing.assert_frame_equal(whole.lives, alone.lives)
    untold = {"kind", "water"}
    pd.testing.assert_frame_equal(whole.incidents.drop(columns=untold), alone.incidents.drop(columns=untold))
    measured = ["shaft_play_mm", "boost_kpa", "slip"]
    pd.testing.assert_frame_equal(whole.checks.drop(columns=measured), alone.checks.drop(columns=measured))
    assert alone.checks[measured].isna().all(axis=None)
    assert set(alone.incidents["kind"]) == {NEUTRAL["water", "kind"]}


def test_past_forecasts_fared_the_same_by_the_evidence_alone() -> None:
    whole, alone = (
        fleet.backtest(SAMPLE_DAY, every="season") for fleet in (sample_fleet(), sample_fleet().evidence_alone)
    )
    pd.testing.assert_frame_equal(whole.scores, alone.scores)


@pytest.mark.parametrize("name", list(TABLES))
def test_the_own_rows_are_whole_and_others_hold_evidence_alone(name: str) -> None:
    records = sample_fleet().records
    part = owners_part(records, OWNER)
    was, now = records.table(name), own_records(records, part.craft).table(name)
    others = dict(others_rows(records, OWNER))[name]
    pd.testing.assert_frame_equal(now[~others], was[~others])
    for column in TABLES[name].columns.values():
        assert now[column.name].dtype == was[column.name].dtype
        kept = now.loc[others, column.name]
        if column.name in EVIDENCE[name]:
            pd.testing.assert_series_equal(kept, was.loc[others, column.name])
        else:
            neutral = NEUTRAL.get((name, column.name), column.blank)
            assert kept.isna().all() if neutral is None else (kept == neutral).all(), column.name


# Whose row it is ----------------------------------------------------------------------------------------------------


def test_what_was_found_of_a_unit_is_of_the_craft_that_it_sat_on_before() -> None:
    """S1 came from Bo's C2 to Ada's C1 on 1 June: what was found that day is Bo's, what was found later is Ada's."""
    records = paper_fleet(
        [{"craft_id": "C1", "owner": "Ada"}, {"craft_id": "C2", "owner": "Bo"}],
        [fitted("S1", "C2", "2025-05-01", "2025-06-01", hours=0), fitted("S1", "C1", "2025-06-01")],
        rebuilds=[
            opened(
                "S1", "2025-04-01", "other", "sound", "rebuilt", cost=1.0
            ),  # before it sat anywhere: its first craft's
            opened("S1", "2025-05-20", "check", "sound", "closed", cost=2.0),
            opened("S1", "2025-06-01", "check", "sound", "closed", cost=3.0),
            opened("S1", "2025-06-02", "check", "sound", "closed", cost=4.0),
        ],
    )
    ada, bo = (own_records(records, frozenset({craft})).rebuilds["cost"].tolist() for craft in ("C1", "C2"))
    assert np.isnan(ada[:3]).all()
    assert ada[3:] == [4.0]
    assert bo[:3] == [1.0, 2.0, 3.0]
    assert np.isnan(bo[3])


def test_a_fleet_with_nothing_but_craft_and_fittings_has_parts_too() -> None:
    records = paper_fleet([{"craft_id": "C1", "owner": "Ada"}, "C2"], [fitted("S1", "C1", "2025-05-01", hours=0)])
    kept = own_records(records, owners_part(records, "Ada").craft)
    pd.testing.assert_frame_equal(kept.craft, records.craft)
    assert kept.checks.empty


def test_water_on_anothers_craft_counts_for_the_own_unit_and_is_called_no_more_than_water() -> None:
    craft = small_fleet().craft.assign(owner=["Ada", "Ada", "Bo", None])
    fleet = Fleet(Reading(replace(small_fleet(), craft=craft)))
    whole, own = fleet.histories(TODAY), fleet.of_owner("Ada").histories(TODAY)
    s3 = own.incidents[own.incidents["life_id"] == "S3/1"]  # on C003 until August, on Ada's C002 since
    assert s3["kind"].tolist() == ["water"]
    assert s3["observed_hours"].equals(whole.incidents.loc[s3.index, "observed_hours"])


# What a part answers about ------------------------------------------------------------------------------------------


def test_only_the_own_units_are_in_service_and_all_lives_are_learned_from() -> None:
    fleet = sample_fleet()
    part = fleet.of_owner(OWNER)
    own = fleet.records.craft.loc[fleet.records.craft["owner"] == OWNER, "craft_id"]
    assert set(part.histories(SAMPLE_DAY).in_service().lives["craft_id"]) <= set(own)
    assert part.histories(SAMPLE_DAY).n_lives == fleet.histories(SAMPLE_DAY).n_lives
    assert part.forecast(SAMPLE_DAY).evidence == fleet.forecast(SAMPLE_DAY).evidence
    assert set(part.plan(SAMPLE_DAY).triggers) == {unit.unit_id for unit in part.forecast(SAMPLE_DAY).units}


def test_what_lives_to_come_may_cost_scatters_as_it_does_for_the_whole_fleet() -> None:
    """By one craft that is typical of all, whoever asks: only its own day rate may not be known."""
    whole = sample_fleet().decisions(SAMPLE_DAY).scatter
    assert np.std(whole) > 0.05
    for owner in sample_fleet().owners:
        part = sample_fleet().of_owner(owner).decisions(SAMPLE_DAY).scatter
        assert np.corrcoef(whole, part)[0, 1] > 0.99


def test_a_part_counts_with_the_own_day_rates() -> None:
    records = sample_fleet().records
    assumed = records.settings.costs.day_rate_if_unknown
    for owner in sample_fleet().owners:
        own = records.craft.loc[records.craft["owner"] == owner, "day_rate"].fillna(assumed)
        assert sample_fleet().of_owner(owner).prices(SAMPLE_DAY).day_rate == pytest.approx(own.mean())
