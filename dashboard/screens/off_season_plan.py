"""Off-season plan: what to rebuild and check, in which week, what that saves, and what a change by hand costs."""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd
import streamlit as st

import forecaster
import link
import told_wrong
from answers import evidence_line, mostly_general
from asking import ask_day
from chart_parts import CHART_CONFIG
from download import download_button
from fleet_rows import Instructions, craft_places, first_day
from loading import Loaded, chosen_source, instructions_by, load, plan, plan_by_hand
from plan_changes_panel import changes_panel
from plan_charts import bench_by_week, rules_beside
from plan_form import (
    ACTIONS,
    EDIT,
    NO_WEEK,
    PlanAsked,
    PlanShown,
    ask_limits,
    back_to_best,
    edits_asked,
    edits_in_link,
    take_edits,
    week_told,
)
from plan_rows import bench_rows, parts_table, plan_file, rule_rows, rule_table, table_rows, trigger_table, week_rows
from plan_words import (
    BENCH_EXPLAINED,
    CAUTION,
    RULES_EXPLAINED,
    account,
    answer_words,
    at_once_lines,
    by_hand_words,
    in_order,
    left_words,
    little_more,
    parts_words,
    rule_words,
    spares_words,
    stop_lines,
    to_come_words,
    triggers_words,
    week_lines,
)
from report_panel import report_panel
from tables import table_to_edit
from this_week_panel import stop_panel
from words import STOP_ICON, day_words, do_not_run, plain, told


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded = load(chosen_source() or "", today)
    top = st.container()
    row = st.container(horizontal=True, vertical_alignment="bottom", key="controls")
    with row:
        as_of = ask_day(today, first_day(loaded.fleet.records))
    choices = {"as_of": link.as_of(as_of, today)}
    try:
        with row:
            asked = ask_limits(loaded.fleet, as_of)
        if refused := told_wrong.refusal():
            link.show({**choices, **asked.in_link, EDIT: link.wanted(EDIT)})
            show_stops(top, loaded, as_of)
            told_wrong.show_refusal(top, refused)
            return
        best = plan(loaded, as_of, asked.limits)
    except forecaster.ForecasterError as refusal:
        show_stops(top, loaded, as_of)
        refuse(top, refusal)
        return
    made = by_hand(loaded, as_of, asked)
    edits = dict(made.edits)
    link.show({**choices, **asked.in_link, EDIT: edits_in_link(edits)})
    places = craft_places(loaded.fleet.records)
    currency = loaded.fleet.settings.currency
    instructions = instructions_by(loaded, as_of, asked.limits, tuple(sorted(edits.items())))
    with top:
        show_answer(made, instructions, loaded, currency)
    show_bench(made, places, currency)
    show_table(made, best, instructions, places, currency)
    changes_panel(loaded.fleet, as_of, asked, edits)
    left, right = st.columns(2, gap="large")
    with left:
        show_little_more(best, currency)
        show_parts(made.answer)
    with right:
        show_season(made.answer, places)
    show_rules(best, currency)
    report_panel(loaded, as_of, forecaster.DEFAULT_HOURS, PlanShown(asked.limits, tuple(sorted(edits.items()))))
    for remark in (*best.remarks, *best.evidence.remarks):
        st.caption(plain(remark))
    st.markdown(evidence_line(best.evidence))
    st.caption(CAUTION)


def show_stops(top: st.delta_generator.DeltaGenerator, loaded: Loaded, as_of: date) -> None:
    """What must not run holds without any plan."""
    with top:
        stop_panel(loaded, as_of, craft_places(loaded.fleet.records), {})


def refuse(top: st.delta_generator.DeltaGenerator, refusal: forecaster.ForecasterError) -> None:
    """Say in the answer's place why there is no plan; the controls stay, so that it can be mended there."""
    first, *rest = told(refusal).splitlines()
    with top:
        st.title("There is no plan for this", anchor=False)
        st.error(plain(first), icon=":material/info:")
        for line in rest:
            st.markdown(plain(line.strip()))


def by_hand(loaded: Loaded, as_of: date, asked: PlanAsked) -> forecaster.PlanByHand:
    """The plan with the changes asked for; without those that make no sense, which are told."""
    edits = edits_asked()
    try:
        return plan_by_hand(loaded, as_of, asked.limits, edits)
    except forecaster.WrongUsage as refusal:
        told_wrong.say_at_top(f"The changes by hand do not fit this plan: {plain(refusal)} The best plan is shown.")
        return plan_by_hand(loaded, as_of, asked.limits, {})


def show_answer(made: forecaster.PlanByHand, instructions: Instructions, loaded: Loaded, currency: str) -> None:
    """The sentence, what does not wait for the plan, what was changed by hand and which limits that breaks."""
    answer = made.answer
    st.title(answer_words(answer, currency), anchor=False)
    if lines := stop_lines(instructions):
        st.error(do_not_run(lines), icon=STOP_ICON)
    if lines := at_once_lines(instructions):
        st.warning(
            "**Before any week of the plan:**\n" + "\n".join(f"- {line}" for line in lines), icon=":material/bolt:"
        )
    if made.edits:
        show_change(made, currency)
        st.button("Back to the best plan", icon=":material/undo:", key="best-plan", on_click=back_to_best)
    for told_too in filter(None, (to_come_words(answer), left_words(answer))):
        st.markdown(told_too)
    st.markdown(account(answer, currency))
    if answer.evidence.mostly_prior:
        st.info(mostly_general(answer.evidence), icon=":material/lightbulb:")


def show_change(made: forecaster.PlanByHand, currency: str) -> None:
    """What was changed by hand, what that costs, and which limits it breaks."""
    st.info(by_hand_words(made, currency), icon=":material/edit:")
    if made.broken:
        broken = "\n".join(f"- {plain(line)}" for line in made.broken)
        st.warning(f"**The plan as changed breaks a limit:**\n{broken}", icon=":material/block:")


def show_bench(made: forecaster.PlanByHand, places: pd.DataFrame, currency: str) -> None:
    """The work week by week: the picture, and the same in lines for a narrow screen."""
    answer = made.answer
    work = bench_rows(answer, places, set(made.edits), currency)
    st.plotly_chart(
        bench_by_week(work, week_rows(answer), list(answer.later_weeks), answer.season_opens, answer.ready_by),
        config=CHART_CONFIG,
        key="bench-picture",
        alt=f"The work on the bench week by week. {answer_words(answer, currency)} The table below has every unit.",
    )
    st.caption(BENCH_EXPLAINED)
    with st.container(key="narrow-weeks"):
        st.markdown("\n".join(f"- {line}" for line in week_lines(answer)) or "No work is planned.")


def show_table(
    made: forecaster.PlanByHand,
    best: forecaster.PlanAnswer,
    instructions: Instructions,
    places: pd.DataFrame,
    currency: str,
) -> None:
    """Every unit's work, to be changed by hand."""
    answer, edits = made.answer, dict(made.edits)
    st.subheader("Every unit, to be changed by hand", anchor=False)
    st.caption(
        "Choose other work or another week: what that costs and which limit it breaks is told here and at the top."
    )
    if edits:
        show_change(made, currency)  # here too: the top is out of sight
    now = {one.unit_id: one for one in answer.plan.actions}
    shown = [now[one.unit_id] for one in in_order(best.plan.actions)]  # rows stay where they are while one changes them
    weeks = [week.monday.isoformat() for week in answer.bench]
    key = f"plan-table-{hash((best.as_of, tuple(weeks), tuple(edits_in_link(edits))))}"
    column = st.column_config
    table_to_edit(
        table_rows(shown, answer, places, instructions, edits),
        hide_index=True,
        key=key,
        on_change=take_edits,
        args=(key, shown, edits),
        num_rows="fixed",
        placeholder="",
        disabled=[
            "unit",
            "cost",
            "saves",
            "saves_interval",
            "rattle",
            "hours",
            "craft",
            "instruction",
            "because",
            "remarks",
        ],
        column_config={
            "unit": column.TextColumn("Unit", pinned=True, help="The supercharger"),
            "work": column.SelectboxColumn("Work", options=list(ACTIONS), required=True, width="small"),
            "week": column.SelectboxColumn(
                "Week of",
                options=[NO_WEEK, *weeks, *(day.isoformat() for day in answer.later_weeks)],
                format_func=week_told,
                help="Its Monday. With none: the cheapest free week. The last four are too late.",
            ),
            "cost": column.NumberColumn(f"Costs now, {currency}", format="%,.0f", help="A check as expected"),
            "saves": column.NumberColumn(
                f"Saves, {currency}",
                format="%,.0f",
                help="Beside leaving it closed until the close of the coming season, counted to "
                f"{day_words(answer.horizon_on)}",
            ),
            "saves_interval": column.TextColumn("90 % interval", help="Of what it saves"),
            "rattle": column.TextColumn("Rattles", help="Chance that the check ends on the bench"),
            "hours": column.NumberColumn("Since rebuild", format="%.0f h", help="Engine hours"),
            "craft": column.TextColumn("On craft"),
            "instruction": column.TextColumn("What to do", help="By this plan, the records and the triggers"),
            "because": column.TextColumn("Because", width="large"),
            "remarks": column.TextColumn("Doubtful", width="large"),
            "note": column.TextColumn(
                "Why changed",
                width="medium",
                max_chars=forecaster.MOST_NOTE,
                help="For the paper; of a unit that you changed",
            ),
        },
    )
    file = f"off_season_plan_{answer.as_of}.csv"
    download_button("Download this table (CSV)", plan_file(answer, edits, instructions), file, key="plan-csv")


def show_little_more(best: forecaster.PlanAnswer, currency: str) -> None:
    """What a little more of each limit would save, of the best plan."""
    st.subheader("What a little more would buy", anchor=False)
    st.markdown("\n".join(f"- {line}" for line in little_more(best, currency)))


def show_parts(answer: forecaster.PlanAnswer) -> None:
    """What to order, and by when."""
    st.subheader("Parts", anchor=False)
    st.markdown(parts_words(answer))
    if len(rows := parts_table(answer)):
        st.table(rows, hide_index=True, border="horizontal", alt="Parts to order, with counts")


def show_season(answer: forecaster.PlanAnswer, places: pd.DataFrame) -> None:
    """Spare units to hold, and each unit's triggers."""
    st.subheader("For the season", anchor=False)
    st.markdown(spares_words(answer))
    st.markdown(triggers_words(answer))
    with st.expander("Each unit's hours to act at"):
        st.table(
            trigger_table(answer, places),
            hide_index=True,
            border="horizontal",
            alt="Hours since rebuild at which to check or rebuild each unit in the coming season",
        )


def show_rules(best: forecaster.PlanAnswer, currency: str) -> None:
    """The rule that fleets live by, beside the best plan."""
    st.subheader('Beside "rebuild every unit past N hours"', anchor=False)
    st.markdown(rule_words(best, currency))
    rules = rule_rows(best)
    if rules["hours"].notna().sum() > 1:
        st.plotly_chart(
            rules_beside(rules, best.rule.n_hours, escape(currency)),
            config=CHART_CONFIG,
            key="rules-picture",
            alt="What each rule costs more than the plan. " + rule_words(best, currency),
        )
        st.caption(RULES_EXPLAINED)
    with st.expander("The price of each rule"):
        st.table(
            rule_table(best, currency), hide_index=True, border="horizontal", alt="Each rule's rebuilds and its price"
        )


main()
