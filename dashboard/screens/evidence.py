"""Evidence: how far to trust the forecast."""

from __future__ import annotations

from datetime import date

import streamlit as st

import forecaster
import link
from asking import Asked, ask
from chart_parts import CHART_CONFIG
from evidence_charts import before_and_after, calibration, survival_curves
from evidence_rows import (
    FEW,
    at_risk_rows,
    calibration_rows,
    few_from,
    learned_rows,
    parameter_rows,
    score_rows,
    service_life_rows,
)
from evidence_words import (
    COUNT_STANDS_HIGH,
    MOSTLY_GENERAL,
    SCORES_TOLD,
    about,
    evidence_answer,
    had_the_opened_failed,
    other_is_better,
    parameter_label,
    parameter_sentence,
    question_told_first,
    verdict,
)
from fleet_rows import first_day
from loading import Loaded, backtest, chosen_source, evidence, is_invented, learned, load, service_lives, survival
from tables import safe_table
from told_wrong import say_at_top
from words import capital, count_words, day_words, hours_words, plain

LOOK_BACK = "look_back"  # in the link
OFTEN_TOLD = {"month": "every month of each season", "season": "at each season's opening only (faster)"}
UNITS_TOLD = {"h": "Hours", "%": "Shares of cases", "x": "Times as fast", "": "Shapes"}
FEW_LIVES = 10  # of a kind: below, its service life leans on the others


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded = load(chosen_source() or "", today)
    answer = st.container()
    asked = ask(today, first_day(loaded.fleet.records), {})
    often = _wanted_often()
    known = evidence(loaded, asked.as_of, asked.model)
    with answer:
        title = st.empty()
        title.title(evidence_answer(known, None), anchor=False)
        warning = st.empty()
        show_what_it_rests_on(known, loaded, asked)
    show_survival(survival(loaded, asked.as_of))
    past, often = show_past(loaded, asked, often)
    link.show({**asked.in_link(today), LOOK_BACK: [often] if often else []})
    if past is not None:
        title.title(evidence_answer(known, past), anchor=False)
        if told := other_is_better(past):
            warning.warning(plain(told), icon=":material/swap_horiz:")
    rows = learned(loaded, asked.as_of)
    if asked.model == forecaster.DEFAULT_MODEL:
        show_learned(rows)
    else:
        st.subheader("What was learned", anchor=False)
        st.markdown("The one-stage model tells failed from not failed only: it has nothing to say in these words.")
        st.caption("Choose two stages under \u201cMore\u201d to see what the records say of rust, parts and water.")
    lives = service_lives(loaded, asked.as_of)
    show_service_lives(lives)
    show_thin_places(known, survival(loaded, asked.as_of), rows, lives)


def _wanted_often() -> str | None:
    """How often the link asks to look back; None, with a word of warning, where it asks for what there is not."""
    for word in link.wanted(LOOK_BACK):
        if word in OFTEN_TOLD:
            return word
        told = plain(f"{LOOK_BACK}={word}")
        say_at_top(f"The link asks for {told}: it may be {' or '.join(OFTEN_TOLD)}; past forecasts are not shown.")
    return None


def show_what_it_rests_on(known: forecaster.Evidence, loaded: Loaded, asked: Asked) -> None:
    """Whose records these are, and what the model started from."""
    invented = ", an invented sample" if is_invented(chosen_source()) else ""
    st.markdown(
        f"{plain(loaded.fleet.name)}{invented}, as of {day_words(asked.as_of)}. What the records cannot tell comes "
        f"from {plain(known.prior)}."
    )


def show_survival(shown: forecaster.SurvivalEvidence) -> None:
    """What was counted, beside what the two-stage model says of the same fleet."""
    st.subheader("Counted, and by the model", anchor=False)
    if shown.counted.empty:
        st.info("No life with a known age has run yet: there is nothing to count.", icon=":material/info:")
    st.plotly_chart(
        survival_curves(shown.counted, shown.modelled, at_risk_rows(shown.counted)),
        config=CHART_CONFIG,
        key="survival-picture",
        alt=f"Share of bearings not failed against engine hours since rebuild, counted over "
        f"{count_words(shown.lives, 'life', 'lives')} with {count_words(shown.failures, 'failure')}, and by the "
        "two-stage model, each with its 90 % interval.",
    )
    begins = f" Among those that ran past {hours_words(shown.from_hours)}." if shown.from_hours else ""
    st.caption(
        f"Share of bearings not failed.{begins} Shaded: 90 % intervals; the counted line has none before its first "
        "failure. Below: how many lives were under observation at that age. The model's line is for fresh units with "
        "this fleet's parts and waters, with water getting in as often as here."
    )
    st.markdown(COUNT_STANDS_HIGH)
    with st.expander("The tables behind the picture"):
        column = st.column_config
        share = {
            "hours": column.NumberColumn("Hours", format="%.0f h"),
            "survival": column.NumberColumn("Not failed", format="percent"),
            "low": column.NumberColumn("90 % interval from", format="percent"),
            "high": column.NumberColumn("to", format="percent"),
        }
        numbers = {"n_at_risk": "At risk", "n_failed": "Failed", "n_withdrawn": "Left otherwise"}
        safe_table(
            shown.counted, hide_index=True, placeholder="", column_config={**share, **numbers}, alt="Counted survival"
        )
        safe_table(shown.modelled, hide_index=True, column_config=share, alt="Survival by the two-stage model")


def show_past(loaded: Loaded, asked: Asked, often: str | None) -> tuple[forecaster.Backtest | None, str | None]:
    """Past forecasts beside what then happened, once asked for; and how often the viewer wants to look back."""
    st.subheader("How past forecasts would have fared", anchor=False)
    choices = list(OFTEN_TOLD)
    chosen = st.radio(
        "Forecast again, with what was known then,",
        choices,
        index=choices.index(often or choices[0]),
        format_func=OFTEN_TOLD.__getitem__,
        key="often",
    )
    slot = st.empty()
    if often is None and not slot.button("Look back", key="look-back", icon=":material/history:", type="primary"):
        st.caption("Learns anew for each of those days, which takes some seconds, or minutes for a large fleet.")
        return None, None
    slot.empty()  # once pressed, the link says it
    past = backtest(loaded, asked.as_of, float(asked.hours), chosen)
    questions = {"hours": about(past, "hours"), "season": about(past, "season")}
    first = question_told_first(past)
    question = st.radio(
        "Forecasts of",
        list(questions),
        index=list(questions).index(first),
        format_func=questions.__getitem__,
        horizontal=True,
        key=f"question-{first}",
    )
    st.markdown(plain(" ".join([verdict(past, question), had_the_opened_failed(past, question)])))
    show_calibration(past, question)
    if past.remarks:
        with st.expander("Remarks on looking back"):
            st.markdown("\n".join(f"- {plain(remark)}" for remark in past.remarks))
    return past, chosen


def show_calibration(past: forecaster.Backtest, question: str) -> None:
    """Of units given about the same chance, did about that share fail? And the scores."""
    groups = calibration_rows(past, question)
    if groups.empty:
        return
    st.plotly_chart(
        calibration(groups),
        config=CHART_CONFIG,
        key="calibration-picture",
        alt=f"Chance forecast of {about(past, question)} against the share that then failed, in "
        f"{count_words(len(groups), 'group')} of forecasts, with 90 % intervals.",
    )
    st.caption(
        "Each mark is a group of units that were given about the same chance; its line is the 90 % interval of the "
        "share that failed. A line that reaches the dotted one agrees with the forecast: above it more failed than "
        "forecast, below it fewer."
    )
    rows = score_rows(past, question)
    column = st.column_config
    with st.container(key="wide-scores"):
        safe_table(
            rows,
            hide_index=True,
            placeholder="",
            alt="Scores of each model on the same past forecasts",
            column_config={
                "model": column.TextColumn("Model", pinned=True),
                "log_score": "Log score",
                "lead": "Lead of the first (90 %)",
                "luck": "Is it luck?",
                "brier_score": "Brier score",
                "order": "Order",
                "mean_forecast": "Mean forecast",
                "observed": "Failed (90 %)",
            },
        )
    with st.container(key="narrow-scores"):
        st.markdown(
            "\n".join(
                f"- **{plain(row['model'])}**: log score {row['log_score']}, Brier score {row['brier_score']}"
                + (f"; lead of the first {row['lead']}, {row['luck']}" if row["lead"] else "")
                for row in rows.to_dict("records")
            )
        )
    st.caption(SCORES_TOLD)


def show_learned(rows: tuple[forecaster.Learned, ...]) -> None:
    """Each parameter in plain words, before beside after, by unit."""
    st.subheader("What was learned", anchor=False)
    st.caption(
        "Hollow: believed before any record. Filled: after the records. Line: 90 % interval. Where the two look alike, "
        f"the records say little: {MOSTLY_GENERAL}."
    )
    units = [unit for unit in UNITS_TOLD if any(row.unit == unit for row in rows)]
    for start in range(0, len(units), 2):
        for place, unit in zip(st.columns(2, gap="medium"), units[start : start + 2], strict=False):
            own = [row for row in rows if row.unit == unit]
            with place:
                st.markdown(f"**{UNITS_TOLD[unit]}**")
                st.plotly_chart(
                    before_and_after(parameter_rows(own), unit),
                    config=CHART_CONFIG,
                    key=f"learned-{unit or 'shape'}",
                    alt=f"{UNITS_TOLD[unit]}: believed before and learned, with 90 % intervals. "
                    "The sentences below say the same.",
                )
                st.markdown("\n".join(f"- {plain(parameter_sentence(row))}" for row in own))
    with st.expander("All parameters as a table"):
        safe_table(
            learned_rows(rows),
            hide_index=True,
            placeholder="",
            alt="Each parameter before and after the records, with 90 % intervals",
            column_config={
                "what": st.column_config.TextColumn("What", width="large"),
                "before": "Before (90 %)",
                "after": "Learned (90 %)",
                "share": st.column_config.NumberColumn(
                    "Told by the records",
                    format="%.0f %%",
                    help="How much of what was uncertain before (its variance) the records took away",
                ),
                "mark": "Mostly from",
            },
        )


def show_service_lives(rows: tuple[forecaster.ServiceLife, ...]) -> None:
    """How long fresh units last, with intervals."""
    st.subheader("Service life of a fresh unit", anchor=False)
    told = service_life_rows(rows)
    with st.container(key="wide-service-lives"):
        safe_table(
            told,
            hide_index=True,
            alt="Ages by which one in ten and half of the fresh units are rough or rusted, and have failed",
            column_config={
                "kind": st.column_config.TextColumn("Fresh unit", width=300),
                "lives": st.column_config.NumberColumn("Lives", format="%d", help="Lives of that kind in the record"),
                "failed_B10": "1 in 10 failed by (B10)",
                "failed_B50": "half failed by (B50)",
                "defective_B10": "1 in 10 rough or rusted by",
                "defective_B50": "half rough or rusted by",
            },
        )
    with st.container(key="narrow-service-lives"):
        st.markdown(
            "\n".join(
                f"- **{plain(row['kind'])}** ({count_words(row['lives'], 'life', 'lives')}): 1 in 10 failed by "
                f"{row['failed_B10']}, half by {row['failed_B50']}; rough or rusted: 1 in 10 by "
                f"{row['defective_B10']}, half by {row['defective_B50']}"
                for row in told.to_dict("records")
            )
        )
    st.caption("By the two-stage model; engine hours since rebuild, nobody opens it. In brackets 90 % intervals.")


def show_thin_places(
    known: forecaster.Evidence,
    counted: forecaster.SurvivalEvidence,
    rows: tuple[forecaster.Learned, ...],
    lives: tuple[forecaster.ServiceLife, ...],
) -> None:
    """Where the forecast leans on general experience, and what would help."""
    st.subheader("Where the data is thin", anchor=False)
    thin = [plain(remark) for remark in known.remarks]
    if known.mostly_prior:
        lived = f"Only {count_words(known.lives, 'life', 'lives')} and {count_words(known.failures, 'failure')}"
        thin.append(f"{lived}: the whole forecast is {MOSTLY_GENERAL}.")
    from_hours = few_from(counted.counted)
    if from_hours is not None:
        thin.append(
            f"From {hours_words(from_hours)} on fewer than {FEW} lives were watched: the count says little there."
        )
    thin += [
        f"{plain(capital(row.kind))}: only {count_words(row.lives, 'life', 'lives')}."
        for row in lives
        if row.lives < min(FEW_LIVES, known.lives)  # a part of the fleet
    ]
    if asked_little := [plain(parameter_label(row)) for row in rows if row.mostly_prior]:
        thin.append(f"The records say little about: {'; '.join(asked_little)}.")
    st.markdown("\n".join(f"- {line}" for line in thin) if thin else "Nowhere in particular.")
    st.caption(
        "Every opening that is recorded with what was found, also where the bearing was sound, and every unit spun by "
        "hand tells the model more."
    )


main()
