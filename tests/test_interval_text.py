"""The service interval in words and for other programs: what pays, what never pays, what the records cannot tell."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from forecaster.commands import main
from forecaster.interval import CostCurve, ServiceInterval, WithCheck
from forecaster.life_model import Evidence
from forecaster.prices import Prices
from forecaster.report.interval_text import check_sentence, interval_json, interval_text, least_cost_sentence
from forecaster.report.text import Page
from forecaster.service_life import ServiceLife
from tests.conftest import ROOT, SAMPLE_DAY

PRICES = Prices(
    rebuild=650, rebuild_in_season_extra=120, new_unit=1700, engine_damage=5200, check=60,
    rebuild_days=3, failure_days=9, check_days=0.5, day_rate=300, core_lost=0.6, engine_hit=0.1,
)  # fmt: skip
CHECK = WithCheck(80.0, 125.0, (1000.0, 900.0, 1100.0), (79.0, 29.0, 131.0))
CURVE = CostCurve(np.array([5.0, 10.0]), np.array([13.0, 12.0]), np.array([11.0, 10.0]), np.array([15.0, 14.0]))
OFF = ServiceInterval(
    "as the fleet is", 109, False, 110.0, (80.0, 145.0), (1143.0, 990.0, 1329.0), (1952.0, 1623.0, 2293.0), 0.0,
    CURVE, CHECK,
)  # fmt: skip
IN = replace(OFF, in_season=True, rebuild_h=None, within_5_percent=(300.0, None))
LIFE = ServiceLife("as the fleet is", 109, *({"B10": (97.0, 82.0, 114.0), "B50": (225.0, 201.0, 261.0)},) * 2)
EVIDENCE = Evidence(109, 24, 286, False, "general experience", ())


def test_the_answer_opens_with_the_hours_and_the_band_around_them() -> None:
    told = interval_text(EVIDENCE, [LIFE], Page(400), [OFF], PRICES, "USD")
    assert told.startswith(
        "Least cost: off season, rebuild at 110 h (anywhere from 80 to 145 h costs at most 5 % more)."
    )


def test_where_no_rebuild_pays_it_says_never_and_how_far_it_looked() -> None:
    assert "no rebuild before noise or failure pays at any age up to 900 h" in least_cost_sentence([OFF, IN])


def test_where_never_costs_hardly_more_the_band_says_so() -> None:
    open_ended = replace(OFF, within_5_percent=(90.0, None))
    assert "(from 90 h on, and never too, costs at most 5 % more)" in least_cost_sentence([open_ended])


@pytest.mark.parametrize(
    ("saves", "words"),
    [
        ((79.0, 29.0, 131.0), "USD 79 less per 100 h (29 to 131)."),
        ((8.0, -28.0, 39.0), "USD 8 less per 100 h (-28 to 39; the records cannot tell whether it pays)."),
        ((-12.0, -30.0, 2.0), "does not pay off season"),
    ],
)
def test_what_a_check_saves_is_told_with_its_doubt(saves: tuple[float, float, float], words: str) -> None:
    assert words in check_sentence(replace(OFF, with_check=replace(CHECK, saves_per_100_h=saves)), "USD")


def test_a_check_with_no_rebuild_after_it_is_told() -> None:
    assert "else never" in check_sentence(replace(OFF, with_check=replace(CHECK, rebuild_h=None)), "USD")


@pytest.mark.parametrize("width", [80, 120])
def test_it_fits_the_page_and_keeps_the_service_lives(width: int) -> None:
    told = interval_text(EVIDENCE, [LIFE], Page(width), [OFF, IN], PRICES, "USD")
    assert max(map(len, told.splitlines())) <= width
    assert "B10 and B50" in told
    assert "failure at 4,548" in " ".join(told.split())


def test_never_is_null_for_other_programs() -> None:
    told = interval_json(SAMPLE_DAY, EVIDENCE, [LIFE], [OFF, IN], PRICES)
    assert [row["rebuild_at_hours"] for row in told["least_cost"]] == [110.0, None]
    assert told["least_cost"][1]["within_5_percent"] == {"from": 300.0, "to": None}


def test_the_command_answers_with_the_fleets_intervals(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["interval", str(ROOT / "sample_fleet"), "--as-of", SAMPLE_DAY.isoformat(), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    off, on = told["least_cost"][:2]
    assert 0 < off["within_5_percent"]["from"] <= off["rebuild_at_hours"] < on["rebuild_at_hours"]
    assert len(off["curve"]["hours"]) == len(off["curve"]["mean"])
    assert told["service_lives"][0]["lives"] == off["lives"]
    assert told["prices"]["failure"] > told["prices"]["planned_in_season"]


def test_a_price_set_for_the_question_moves_the_answer(capsys: pytest.CaptureFixture[str]) -> None:
    hours = []
    for price in ("400", "1200"):
        words = ["interval", str(ROOT / "sample_fleet"), "--as-of", SAMPLE_DAY.isoformat(), "--json"]
        assert main([*words, "--rebuild-price", price]) == 0
        hours.append(json.loads(capsys.readouterr().out)["least_cost"][0]["rebuild_at_hours"])
    assert hours[0] < hours[1]
