"""The answers as figures, sentences and tables."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.forecast import Chance, FleetForecast, HoursLeft
from forecaster.life_model import Evidence
from forecaster.lives import Histories
from forecaster.report import figures, sentences
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.terminal import page_of
from forecaster.report.text import Page, forecast_text
from tests.fake_model import FakeModel
from tests.test_forecast import checked, forecast, running, swamped


def mixed() -> Histories:
    """Units to rebuild, to check and to leave: the first was swamped three times, the last is fresh."""
    histories = running([200.0, 80.0, 0.0], parts=["oem", "oem", "oem"])
    histories = checked(histories, "U000003/1", at=0.0)
    for at in (120.0, 150.0, 190.0):
        histories = swamped(histories, "U000001/1", at=at)
    return histories


def text(told: FleetForecast | None = None, width: int = 80, **options: object) -> str:
    return forecast_text(told or forecast(mixed()), Page(width), **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("chance", "written"),
    [(0.0, "0 %"), (0.001, "<1 %"), (0.0051, "1 %"), (0.114, "11 %"), (0.999, ">99 %"), (1.0, "100 %")],
)
def test_a_chance_is_not_rounded_to_a_certainty(chance: float, written: str) -> None:
    assert figures.percent(chance) == written


@given(st.floats(0.0, 1.0, exclude_min=True, exclude_max=True))
def test_only_a_certainty_is_told_as_one(chance: float) -> None:
    assert figures.percent(chance) not in ("0 %", "100 %")


def test_an_interval_names_its_unit_once() -> None:
    assert figures.percent_with_range(Chance(0.08, 0.05, 0.13)) == "8 % (5-13 %)"
    assert figures.percent_with_range(Chance(0.004, 0.001, 0.02)) == "<1 % (<1-2 %)"
    assert figures.percent_with_range(Chance(0.5, 0.5, 0.5)) == "50 % (50 %)"


def test_hours_past_the_furthest_that_was_looked_at_are_told_as_more() -> None:
    assert figures.hours_left(HoursLeft(41.0, 1600.4, figures.FURTHEST)) == "41/1600/>20000 h"


def test_counts_agree_with_their_nouns() -> None:
    assert [figures.counted(n, "life", "lives") for n in (0, 1, 1234)] == ["0 lives", "1 life", "1,234 lives"]
    assert figures.listed(["a", "b", "c"]) == "a, b and c"
    assert figures.listed([]) == ""


def test_the_first_sentence_is_the_answer() -> None:
    line = sentences.headline(forecast(mixed()))
    assert line.startswith(
        "2026-11-01: 1 of 3 units must not run as it is (U000001). Most at risk is U000001 on craft C1: "
    )
    assert line.endswith("to fail within 50 engine hours.")


def test_a_fleet_in_which_nothing_is_unsafe_is_told_so() -> None:
    line = sentences.headline(forecast(running([0.0]), use=10.0))
    assert "nothing on record forbids any of 1 unit to run" in line


def test_general_experience_is_called_so() -> None:
    few = FakeModel(Evidence(lives=3, failures=0, effective_sample=400, mostly_prior=True, remarks=("No failures.",)))
    told = text(forecast(mixed(), model=few))
    assert "Mostly general experience" in told
    assert "- No failures." in told
    assert "Mostly general experience" not in text()


@pytest.mark.parametrize("width", [80, 96, 100, 160])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert max(len(line) for line in text(width=width).splitlines()) <= width


@pytest.mark.parametrize(("width", "intervals"), [(80, 1), (96, 3), (160, 3)])
def test_every_chance_has_its_interval_where_there_is_room(width: int, intervals: int) -> None:
    row = next(line for line in text(width=width).splitlines() if line.startswith("U000001  "))
    assert row.count("(") == intervals


def test_a_wide_terminal_shows_the_reasons_beside_the_figures() -> None:
    row = next(line for line in text(width=160).splitlines() if line.startswith("U000002"))
    assert "80 h since rebuild" in row
    first = next(line for line in text(width=160).splitlines() if line.startswith("U000001"))
    assert "do not start before it is treated: 200 h since rebuild" in first


def test_the_table_needs_no_colour_and_no_more_than_ascii() -> None:
    assert text().isascii()
    assert "\x1b" not in text()


def test_it_says_where_what_pays_is_weighed() -> None:
    told = text(source="my fleet").replace("\n", " ")
    assert "weighed for all together, within budget and bench: see `forecaster plan my fleet`." in told


def test_a_limit_leaves_out_the_least_at_risk_and_says_how_many() -> None:
    told = text(limit=1)
    assert "U000002" not in told
    assert "... and 2 units of less risk, left out by --limit." in told
    assert "1 of 3 units must not run" in told


def test_doubtful_units_are_marked_with_the_reason() -> None:
    told = text(doubtful={"U000002": "its rebuild of 2026-02-01 was refused"})
    assert "U000002?" in told
    assert "- U000002? its rebuild of 2026-02-01 was refused" in told


def test_refused_rows_are_counted_with_the_way_to_see_them() -> None:
    assert "3 rows were refused and not used: run `forecaster validate fleet` to see why." in text(
        refused=3, source="fleet"
    ).replace("\n", " ")
    assert "refused" not in text()


def test_a_unit_without_a_known_age_says_unknown() -> None:
    told = text(forecast(running([50.0]).with_lives(hours_at_entry=float("nan"))))
    assert [line.split()[2] for line in told.splitlines() if line.startswith("U000001  ")] == ["unknown"]


def test_long_names_make_no_wide_table() -> None:
    histories = mixed().with_lives(unit_id=["u" * 80, "v" * 30, "w"], craft_id="c" * 80)
    told = text(forecast(histories))
    assert max(len(line) for line in told.splitlines()) <= 80
    assert sum(line.count("u") for line in told.splitlines() if set(line.split()[0] if line else "") == {"u"}) >= 80


def test_a_number_keeps_its_unit() -> None:
    lines = Page(width=20).wrapped("Most at risk: 8 % (48-82 %) within 50 h and 120 h").splitlines()
    assert not any(line.startswith(("%", "h")) for line in lines)


def test_long_names_wrap_and_lose_nothing() -> None:
    columns = [TextColumn("unit", widest=6), TextColumn("risk", right=True)]
    table = plain_table(columns, [("abcdefghij", "5 %")], [""], width=80)
    assert table.splitlines()[2:] == ["abcdef   5 %", "ghij"]


def test_a_check_is_told_among_the_reasons() -> None:
    told = text(forecast(checked(running([200.0]), "U000001/1", at=150.0)))
    assert "spun quiet 50 h ago" in told.replace("\n    ", " ")


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_colour_only_where_a_person_watches_and_wants_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("WT_SESSION", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert page_of(_Terminal()).colour
    assert not page_of(io.StringIO()).colour
    monkeypatch.setenv("NO_COLOR", "1")
    assert not page_of(_Terminal()).colour


@pytest.mark.parametrize(("columns", "width"), [("40", 80), ("120", 120), ("500", 160)])
def test_the_page_is_as_wide_as_the_terminal_within_limits(
    columns: str, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert page_of(io.StringIO()).width == width
