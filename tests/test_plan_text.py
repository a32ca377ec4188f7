"""The off-season plan as text and as JSON: the answer first, every figure with its unit and interval, the keys kept."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecaster.errors import WrongUsage
from forecaster.instruction import Instruction
from forecaster.instruction_codes import Order
from forecaster.life_model import Evidence
from forecaster.parts_order import parts_order
from forecaster.plan import solve_plan
from forecaster.plan_answer import PlanAnswer, Saving, saving_of, savings_by_unit
from forecaster.plan_problem import PlanProblem
from forecaster.plan_rules import best_every_n_hours
from forecaster.rebuilds_to_come import NumberOfUnits, RebuildsToCome
from forecaster.report.as_json import written
from forecaster.report.figures import about
from forecaster.report.plan_text import GAINS_TOO_LITTLE, headline, plan_json, plan_text
from forecaster.report.text import Page
from forecaster.season_triggers import Triggers
from forecaster.spares import spare_units
from tests.test_plan import MONDAY, problem

AS_OF = date(2026, 10, 1)


def small_problem(**values: object) -> PlanProblem:
    """Three units: one to rebuild, one to check, one to leave."""
    given = {
        "check_cost": np.array([[2100.0] * 2, [900.0] * 2, [2100.0] * 2]),
        "leave_cost": np.array([2500.0, 2000.0, 900.0]),
        "budget": 1000.0,
        "must": frozenset(),
    }
    return problem(3, 2, **{**given, **values})


def answer(p: PlanProblem | None = None, saving: Saving | None = None) -> PlanAnswer:
    p = p or small_problem()
    rule = best_every_n_hours(p, np.array([150.0, 90.0, 20.0]))
    plan = solve_plan(p, gap=0.0, rivals=[rule.plan])
    evidence = Evidence(
        lives=61, failures=19, effective_sample=1480, mostly_prior=True, prior="general experience", remarks=()
    )
    triggers = {unit: Triggers(110.0, 170.0) for unit in p.unit_ids}
    triggers["S2"] = Triggers(None, 140.0)
    return PlanAnswer(
        as_of=AS_OF,
        plan=plan,
        rule=rule,
        saving=saving or Saving(2612.0, 1234.0, 3456.0),
        saving_beside_triggers=Saving(312.0, -20.0, 590.0),
        to_come=RebuildsToCome(NumberOfUnits(1.1, 1, 2), NumberOfUnits(0, 0, 0), NumberOfUnits(0, 0, 0), None),
        savings={a.unit_id: Saving(a.saves, a.saves - 800, a.saves + 900) for a in plan.actions},
        triggers=triggers,
        spares=spare_units(np.array([0.5]), 3.0),
        parts=parts_order(plan, AS_OF),
        ready_by=date(2027, 4, 24),
        season_opens=date(2027, 5, 1),
        horizon_on=date(2028, 10, 1),
        seasons=2,
        currency="USD",
        evidence=evidence,
        because={"S0": ("150 h since rebuild", "untreated swamping 14 h ago")},
    )


def told(given: PlanAnswer | None = None, width: int = 80) -> str:
    made = given or answer()
    return plan_text(made, instructions(made), Page(width))


def instructions(made: PlanAnswer) -> dict[str, Instruction]:
    """What is to be done by a plan, nothing else being known of its units."""
    found = {}
    for one in made.plan.actions:
        order: Order = "leave" if one.week_of is None else "week"
        found[one.unit_id] = Instruction(
            one.unit_id, one.craft_id, order, one.action, "plan", made.as_of, one.week_of, one.week_of
        )
    return found


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_answer_comes_first_in_one_sentence() -> None:
    first = flat(told().split("\n\n")[0])
    assert first == (
        "2026-10-01: rebuild 1 of 3 units and check 1 this off-season: 750 now, over two seasons about 2,600 "
        "(1,200-3,500) less than doing nothing and about 310 (-20 to 590) less than working in season only."
    )


def test_with_no_work_that_pays_the_answer_says_so() -> None:
    nothing = answer(small_problem(budget=0.0), Saving(0.0, 0.0, 0.0))
    assert headline(nothing) == "2026-10-01: leave all of 3 units this off-season; within the limits no work pays."
    assert "No parts are needed for this plan." in told(nothing)


def test_an_interval_that_reaches_below_nought_is_not_written_with_a_dash() -> None:
    assert "about 300 (-200 to 900) less" in headline(answer(saving=Saving(300.0, -200.0, 900.0)))


def test_a_plan_that_must_cost_more_does_not_claim_to_save() -> None:
    dear = answer(small_problem(must=frozenset({"S2"})), Saving(-100.0, -300.0, -50.0))
    assert "about 100 (50-300) more than doing nothing" in headline(dear)


def test_in_season_the_rebuilds_to_come_and_the_kits_to_order_are_told() -> None:
    closes, failures, openings = date(2026, 10, 15), NumberOfUnits(1.2, 0, 3), NumberOfUnits(1.0, 1, 1)
    come = RebuildsToCome(NumberOfUnits(19.8, 18, 22), failures, openings, closes)
    plain = answer()
    given = replace(plain, to_come=come, parts=parts_order(plain.plan, AS_OF, to_come=come.to_order))
    text = flat(told(given))
    assert "check 1 in the coming off-season: 750 then, over two seasons" in text
    assert "Until the season closes on 2026-10-15 expect 0 to 3 failures" in text
    assert "1 unit opened before" in text
    assert "If nothing changes, the off-season brings 18 to 22 rebuilds: order 22 kits by 2026-10-12." in text
    assert "Parts for 22 rebuilds" in text
    assert plan_json(given, instructions(given))["to_come"]["rebuilds"] == {"mean": 19.8, "low": 18, "high": 22}


def test_units_left_for_the_season_are_named() -> None:
    plain = answer()
    left = tuple(replace(one, in_season=one.unit_id == "S2") for one in plain.plan.actions)
    plain = replace(plain, plan=replace(plain.plan, actions=left))
    text = flat(told(replace(plain, due={"S0": "rebuild"}, due_at_opening={"S2": "check"})))
    assert "Due now, having run the hours at which that pays in season: S0 (rebuild)." in text
    assert "Left now, to be checked or rebuilt in the coming season at their hours" in text
    assert "that pays in season: S2 (check)." in text


def test_each_thing_that_the_plan_is_held_against_is_named() -> None:
    p = small_problem(season_cost=np.array([2300.0, 1900, 900]), never_cost=np.array([3000.0, 2200, 1100]))
    text, as_json = flat(told(answer(p))), plan_json(answer(p), instructions(answer(p)))
    assert "5,100 working in season only" in text
    assert "6,300 doing nothing (no unit now in service opened before it fails" in text
    assert (as_json["expected_cost_at_triggers"], as_json["expected_cost_do_nothing"]) == (5100.0, 6300.0)


def test_the_work_stands_by_week_with_its_reasons() -> None:
    text = flat(told(width=80))
    assert text.index("S0 C0 rebuild 650 1,500 (700-2,400)") < text.index(
        "150 h since rebuild; untreated swamping 14 h ago"
    )
    assert "S1 C1 check 100 1,100 (300-2,000) 10 %" in text


def test_units_with_equal_triggers_share_a_line() -> None:
    lines = told().splitlines()
    assert any(line.split() == ["110", "h", "170", "h", "S0,", "S1"] for line in lines)
    assert any(line.split() == ["-", "140", "h", "S2"] for line in lines)


def test_spares_parts_limits_evidence_and_cautions_are_told() -> None:
    text = flat(told())
    assert "Hold 2 spare units: enough, with 99 % chance" in text
    assert "Order parts by 2026-10-12, 3 weeks before the first work." in text
    assert "- 1 x drive gear" in text
    assert "In reserve, for up to 1 checked unit that may rattle" in text
    assert "- The next 1,000 of budget would save nothing more." in text
    assert "Learned from 61 lives, 19 of them ended by a failed bearing" in text
    assert "Mostly general experience" in text
    assert "licensed mechanic" in text


def test_an_order_day_that_is_past_is_told() -> None:
    late = answer()
    late = replace(late, parts=parts_order(late.plan, MONDAY))
    said = "That day is past: ordered today they are here by 2026-11-23. Let that work begin then, unless its parts "
    assert said in flat(told(late))


def test_what_does_not_wait_for_the_plan_is_told_before_it() -> None:
    made = answer()
    known = instructions(made)
    known["S0"] = replace(known["S0"], order="stop", source="record", found=("rattled when spun 3 h ago",))
    known["S1"] = replace(known["S1"], order="first", act="check", source="water", found=("wet",), week_of=None)
    known["S2"] = replace(known["S2"], order="stop", act="check", source="record", found=("oil milky",))
    _, stops, others, *_ = map(flat, plan_text(made, known, Page(80)).split("\n\n"))
    assert stops.startswith("Do not run these as they are")
    assert "S0: rattled when spun 3 h ago. Do not run; rebuild, week of 2026-11-02." in stops
    assert "S2: oil milky. Do not run; check before it runs again." in stops
    assert others == "Before any week of the plan: - S1: wet. Check before the next ride."


def test_a_rule_that_costs_less_is_told_with_the_money_that_it_takes() -> None:
    dearer = replace(answer(), saving_beside_rule=Saving(-19.0, -850.0, 660.0))
    more = dearer.rule.plan.spent - dearer.plan.spent
    assert (
        f"That rule costs about 19 (-660 to 850) less, and takes {more:,.0f} more money now: {GAINS_TOO_LITTLE}."
        in flat(told(dearer))
    )


def test_the_rule_is_told_with_what_the_plan_saves_beside_it() -> None:
    beside = replace(answer(), saving_beside_rule=Saving(310.0, -20.0, 590.0))
    assert "Beside that rule the plan saves about 310 (-20 to 590)." in flat(told(beside))
    assert plan_json(beside, instructions(beside))["saves_beside_every_n_hours"] == {
        "mean": 310.0,
        "low": -20.0,
        "high": 590.0,
    }


def test_doubts_and_remarks_are_told() -> None:
    doubted = replace(answer(), doubtful={"S1": "its rebuild of row 7 was refused"}, remarks=("C9 has no unit.",))
    text = flat(told(doubted))
    assert "- S1 its rebuild of row 7 was refused" in text
    assert "S1? C1 check" in text
    assert "- C9 has no unit." in text


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_wider_than_the_page(width: int) -> None:
    assert max(map(len, told(width=width).splitlines())) <= width


@pytest.mark.parametrize(
    ("amount", "text"), [(23_412, "23,000"), (954, "950"), (996, "1,000"), (7, "7"), (0.3, "0"), (-1_260, "-1,300")]
)
def test_expected_amounts_are_told_in_two_figures(amount: float, text: str) -> None:
    assert about(amount) == text


def test_the_json_has_the_documented_keys() -> None:
    told_json = json.loads(written(plan_json(answer(), instructions(answer()))))
    documented = {
        *("as_of", "actions", "spent", "budget", "expected_cost", "expected_cost_do_nothing"),
        *("expected_cost_every_n_hours", "next_1000", "spare_units", "parts"),
    }
    assert documented <= set(told_json)
    rebuilt, _, left = told_json["actions"]
    assert {"unit_id", "craft_id", "action", "week_of", "cost", "saves", "season"} <= set(rebuilt)
    assert rebuilt["week_of"] in (MONDAY.isoformat(), "2026-11-09")
    assert (left["action"], left["week_of"], left["cost"]) == ("leave", None, 0.0)
    assert left["season"] == {
        "check_at_hours": None,
        "rebuild_at_hours": 140.0,
        "check_until": None,
        "rebuild_until": None,
    }
    assert {"part": "drive gear", "count": 1} in told_json["parts"]
    assert told_json["expected_cost"] <= told_json["expected_cost_every_n_hours"]


def test_without_a_budget_the_json_says_null() -> None:
    free = answer(small_problem(budget=None))
    assert plan_json(free, instructions(free))["budget"] is None


def test_a_unit_without_triggers_is_refused() -> None:
    with pytest.raises(WrongUsage, match="S0, S1, S2: no season triggers"):
        replace(answer(), triggers={})


def test_the_saving_is_taken_draw_by_draw() -> None:
    plan = answer().plan
    leave = np.array([[100.0, 100, 50], [200, 200, 50], [300, 300, 50]])
    whole = saving_of(np.full(3, 150.0), leave)
    by_unit = savings_by_unit(plan, np.full((3, 3), 50.0), leave)
    assert whole.mean == 300.0
    assert (whole.low, whole.high) == pytest.approx((120.0, 480.0))
    assert by_unit["S1"] == Saving(150.0, pytest.approx(60.0), pytest.approx(240.0))
    assert by_unit["S2"] == Saving(0.0, 0.0, 0.0)


def test_a_limit_that_binds_is_told_with_what_more_of_it_buys() -> None:
    text = flat(told(answer(small_problem(budget=700.0))))
    assert "- The budget binds: the next 1,000 would save a further 1,100." in text
    assert "nothing more" not in text.replace("One more bench place would save nothing more.", "")


def test_what_the_solver_left_open_is_not_told_as_known() -> None:
    sure = answer()
    open_yet = replace(sure, plan=replace(sure.plan, gap=0.008))
    text = flat(told(open_yet))
    assert "No plan could save over 0.8 % more than this one." in text
    assert "One more bench place was not found to save more." in text


def test_the_seasons_money_and_the_chance_of_overspending_are_told() -> None:
    base = answer()
    left = tuple(
        replace(one, in_season=True, season_spend=385.0) if one.action == "leave" else one for one in base.plan.actions
    )
    text = flat(told(replace(base, plan=replace(base.plan, budget=2000.0, actions=left, overspend_chance=0.07))))
    assert "Expected on top in season, on 1 unit that is left: 385." in text
    assert "The chance that the work costs more than there is: 7 %." in text


def test_kits_on_the_shelf_are_not_ordered_and_work_beyond_them_sets_the_day() -> None:
    base = answer()
    one = flat(told(replace(base, parts=parts_order(base.plan, AS_OF, kits=1))))
    assert "weeks before the first work beyond the 1 set on the shelf." in one
    assert "Parts for 1 rebuild" not in one
    enough = flat(told(replace(base, parts=parts_order(base.plan, AS_OF, kits=9))))
    assert "No parts are to be ordered: the 9 sets on the shelf are enough for this plan." in enough
