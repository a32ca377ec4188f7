"""The printed report: rendered by another program and looked at, for what it says and how it is set."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.paper import wording
from forecaster.paper.content import PaperContent
from forecaster.paper.curve_drawing import TICKS, _ticks
from forecaster.paper.pdf import MOST_PAGES, paper_pdf
from forecaster.paper.typeface import NO_GLYPH, shown
from forecaster.rebuild_parts import PRE_OIL
from forecaster.written_days import DateFormat, written_day
from tests.sample_papers import all_papers, content_written, in_week, renamed, sample_content, with_units

A4 = (595.28, 841.89)  # points: 210 by 297 mm, ISO 216
MARGIN = 17 / 25.4 * 72  # no word nearer to an edge than 17 mm at the sides
WORD = re.compile(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>')


@pytest.fixture(scope="module", autouse=True)
def poppler() -> None:
    """The programs that read and render the PDF."""
    if not (shutil.which("pdftotext") and shutil.which("pdftoppm")):
        pytest.skip("no poppler here: install poppler-utils")


def told(written: bytes, *options: str) -> str:
    """The text of a PDF, with ordinary spaces."""
    run = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", *options, "-", "-"], input=written, capture_output=True, check=True
    )
    return run.stdout.decode().replace("\N{NO-BREAK SPACE}", " ")


def flowing(written: bytes) -> str:
    """The same as one line of words."""
    return " ".join(told(written).split())


def pages(written: bytes) -> list[str]:
    """The text of each page as it is laid out."""
    return told(written, "-layout").split("\f")[:-1]


def pictures(written: bytes, folder: Path) -> list[np.ndarray]:
    """Each page as pixels, (height, width, 3) from 0 to 255."""
    (folder / "paper.pdf").write_bytes(written)
    subprocess.run(["pdftoppm", "-r", "40", str(folder / "paper.pdf"), str(folder / "page")], check=True)
    found = []
    for file in sorted(folder.glob("page*.ppm")):
        kind, size, _, pixels = file.read_bytes().split(b"\n", 3)
        width, height = map(int, size.split())
        assert kind == b"P6"
        found.append(np.frombuffer(pixels, dtype=np.uint8).reshape(height, width, 3))
    return found


@pytest.fixture(scope="module")
def content() -> PaperContent:
    return sample_content()


@pytest.fixture(scope="module")
def paper(content: PaperContent) -> bytes:
    return paper_pdf(content)


# What it says ---------------------------------------------------------------------------------------------------------


def test_it_opens_with_the_answer_in_one_sentence(content: PaperContent, paper: bytes) -> None:
    first = " ".join(pages(paper)[0].split())
    assert wording.answer(content).replace("\N{NO-BREAK SPACE}", " ") in first
    assert first.index("Rebuild") < first.index("units in service")


def test_it_lists_every_unit_of_a_fleet_of_this_size_with_its_reasons(content: PaperContent, paper: bytes) -> None:
    words = flowing(paper)
    for unit in content.units:
        assert unit.unit_id in words
        assert unit.craft_name in words
        for reason in unit.because[1:2]:
            assert reason.split(",")[0].split(" (")[0].replace("\N{NO-BREAK SPACE}", " ") in words


def ranked_rows(written: bytes) -> dict[str, str]:
    """Each unit's rows of the ranked table as they are laid out, by unit, in the table's order."""
    lines = [line for page in pages(written) for line in page.splitlines()]
    starts = {m[1]: at for at, line in enumerate(lines) if (m := re.match(r" *\d+ +(S\d{4}) ", line))}
    return {unit: "\n".join(lines[at : at + 2]) for unit, at in starts.items()}


def test_units_are_listed_most_at_risk_first(content: PaperContent, paper: bytes) -> None:
    assert list(ranked_rows(paper)) == [unit.unit_id for unit in content.units]


def test_every_week_of_the_plan_stands_with_its_units(content: PaperContent, paper: bytes) -> None:
    week_table = flowing(paper).split("The plan, week by week")[1].split("Every unit")[0]
    for monday, units in content.by_week():
        assert wording.day(monday, content).replace("\N{NO-BREAK SPACE}", " ") in week_table
        for unit in units:
            assert f"{unit.unit_id} off {unit.craft_id}" in week_table


@pytest.mark.parametrize(("form", "day"), [("month-day-year", r"Nov \d+, 2026"), ("iso", r"2026-11-\d\d")])
def test_days_are_written_as_the_fleet_writes_them(form: DateFormat, day: str) -> None:
    words = flowing(paper_pdf(content_written(form)))
    assert re.search(rf"as of {day}", words)
    assert re.search(rf"from the week of {day}:", words)
    assert f"oil milky on {written_day(date(2026, 8, 12), form)}".replace("\N{NO-BREAK SPACE}", " ") in words
    assert not re.search(r"\d \w{3} 20\d\d", words)  # none is left as it is usual


def test_chances_stand_with_their_intervals(content: PaperContent, paper: bytes) -> None:
    rows = {unit: row.replace(" ", "") for unit, row in ranked_rows(paper).items()}
    for unit in content.units:
        one = unit.forecast
        for chance in (one.defective_now, one.fails_within, one.fails_this_season):
            mean, interval = wording.chance(chance).replace("\N{NO-BREAK SPACE}", "").split(" (")
            assert mean in rows[unit.unit_id]
            assert f"({interval}" in rows[unit.unit_id]


def test_it_says_how_sure_it_is_and_what_to_be_careful_about(content: PaperContent, paper: bytes) -> None:
    words = flowing(paper)
    assert f"Learned from {content.evidence.lives} lives of this fleet's units" in words
    assert f"in {content.evidence.failures} of them the bearing failed" in words
    assert "How past forecasts fared" in words
    for caution in wording.CAUTIONS:
        assert " ".join(caution.split()) in words


def test_few_records_are_called_mostly_general_experience(content: PaperContent, paper: bytes) -> None:
    assert "Mostly general experience" not in flowing(paper)
    few = replace(content, evidence=replace(content.evidence, mostly_prior=True))
    assert "Mostly general experience" in pages(paper_pdf(few))[0]


def test_it_draws_the_three_units_most_at_risk_with_axes_that_name_their_units(
    content: PaperContent, paper: bytes
) -> None:
    curves = flowing(paper).split("The three units most at risk")[1].split("What it costs")[0]
    assert curves.count("Engine hours since rebuild (h)") == 3
    assert len(re.findall(r"\bnow\b", curves.split("Left of")[0])) >= 3
    assert "has failed, with its 90 % band" in curves
    assert curves.count("Chance (%)") == 3
    for unit in content.units[:3]:
        assert f"{unit.unit_id} on craft {unit.craft_id}" in curves


def test_costs_name_the_plan_and_its_rivals(content: PaperContent, paper: bytes) -> None:
    costs = flowing(paper).split("What it costs")[1].split("Parts and spares")[0]
    plan, rule = content.plan.plan, content.plan.rule
    for amount in (content.spent, plan.expected_cost, plan.expected_cost_do_nothing, rule.plan.expected_cost):
        assert f"USD {amount:,.0f}" in costs


def test_parts_stand_with_their_numbers_and_the_day_to_order_them(content: PaperContent, paper: bytes) -> None:
    words = flowing(paper)
    assert f"for {content.parts.rebuilds} rebuilds" in words
    assert wording.order_of_parts(content).replace("\N{NO-BREAK SPACE}", " ") in words


def test_no_figure_on_the_first_page_is_broken_over_two_lines(content: PaperContent) -> None:
    dear = replace(content, spent=1_234_567.0, saving=replace(content.saving, mean=2_345_678.0))
    for told_of, wanted in ((content, f"{content.spent:,.0f}"), (dear, "1,234,567"), (dear, "2,300,000")):
        figures = pages(paper_pdf(told_of))[0].split("units in service")[0].splitlines()[-2]
        assert f"USD {wanted}" in figures


# How it is set --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [1, 2, 26, 500])
def test_it_has_two_to_six_pages_whatever_the_size_of_the_fleet(content: PaperContent, number: int) -> None:
    written = paper_pdf(with_units(content, number))
    count = len(pages(written))
    assert 2 <= count <= MOST_PAGES
    for page, text in enumerate(pages(written), 1):
        assert f"page {page} of {count}" in text
        assert "Whole fleet" in text.strip().splitlines()[-1]


def test_a_large_fleet_sends_the_rest_to_the_work_list(content: PaperContent) -> None:
    words = flowing(paper_pdf(with_units(content, 500)))
    listed = len(set(re.findall(r"\bN\d{4}\b", words.split("Every unit")[1].split("In brackets")[0])))
    rest = re.search(r"And (\d+) units of less risk: all are in the work list", words)
    assert rest is not None
    assert listed + int(rest[1]) == 500


def test_long_names_and_many_problems_still_fit(content: PaperContent) -> None:
    wide = with_units(content, 500)
    units = tuple(replace(u, craft_name="Wide " * 100, base="Unbroken" * 60) for u in wide.units)
    written = paper_pdf(replace(wide, units=units, fleet="F" * 300, remarks=("remark " * 200,) * 40))
    assert 2 <= len(pages(written)) <= MOST_PAGES


def test_the_tables_head_is_repeated_on_each_page_that_it_spans(paper: bytes) -> None:
    with_rows = [page for page in pages(paper) if re.search(r"^ *\d+ +S\d{4} ", page, re.MULTILINE)]
    assert len(with_rows) >= 2
    for page in with_rows:
        assert "Craft (base)" in page


@pytest.mark.parametrize("number", [1, 26, 500])
def test_no_word_lies_outside_the_page_or_in_its_margin(content: PaperContent, number: int) -> None:
    boxes = WORD.findall(told(paper_pdf(with_units(content, number)), "-bbox"))
    assert len(boxes) > 200
    for x0, y0, x1, y1, word in boxes:
        assert float(x0) >= MARGIN, word
        assert float(x1) <= A4[0] - MARGIN, word
        assert float(y0) >= 20, word
        assert float(y1) <= A4[1] - 20, word


def test_no_page_is_blank_and_nothing_needs_colour(paper: bytes, tmp_path: Path) -> None:
    for page in pictures(paper, tmp_path):
        assert (page < 128).mean() > 0.002  # a few lines, such as the cautions on a page of their own
        spread = page.max(axis=2).astype(int) - page.min(axis=2)
        assert spread.max() == 0


def test_the_band_is_lighter_than_its_line_and_darker_than_the_paper(paper: bytes, tmp_path: Path) -> None:
    (at,) = [number for number, text in enumerate(pages(paper)) if "hour by hour" in text]
    page = pictures(paper, tmp_path)[at]
    greys = page[..., 0]
    assert ((greys > 190) & (greys < 215)).mean() > 0.005  # the band
    assert (greys < 64).mean() > 0.002  # lines and words


def test_the_same_content_is_the_same_file(content: PaperContent, paper: bytes) -> None:
    paper_pdf(with_units(content, 3))  # what was written between must not matter
    assert paper_pdf(content) == paper


def test_letters_and_currency_signs_of_many_languages_are_drawn(content: PaperContent) -> None:
    name = "Ødegård & Söhne <b>Boote</b> Łódź Ünal"
    written = paper_pdf(renamed(replace(content, currency="€"), 0, craft_name=name))
    words = flowing(written)
    assert name in words
    assert f"€ {content.spent:,.0f}" in words
    assert NO_GLYPH not in words


def test_a_letter_that_the_fonts_lack_is_drawn_as_a_square_and_no_letter_is_lost(content: PaperContent) -> None:
    assert shown("Boat 艇\x07!") == f"Boat {NO_GLYPH} !"
    assert f"Boat {NO_GLYPH}" in flowing(paper_pdf(renamed(content, 0, craft_name="Boat 艇")))


@pytest.mark.parametrize("owner", [None, "Old Mole Boathouse"])
def test_it_names_whose_it_is_and_the_day_in_words_for_a_customer(owner: str | None) -> None:
    paper = all_papers()[owner]
    words = flowing(paper.pdf())
    assert (f"Craft of {owner}" if owner else "Whole fleet") in words
    assert "as of 1 Nov 2026" in words


@pytest.mark.parametrize("owner", [None, "Old Mole Boathouse", "Quillfeather Water Hire"])
def test_nothing_is_in_words_that_only_the_program_knows(owner: str | None) -> None:
    paper = all_papers()[owner]
    words = flowing(paper.pdf())
    unwanted = ("sample_fleet", paper.content.version, "independent draw", "points", "10/50/90", " / ", "two-stage")
    assert [word for word in unwanted if word in words] == []


def stopped(content: PaperContent, number: int) -> PaperContent:
    """The same content with that many units that must not run."""
    many = with_units(content, max(number, len(content.units)))
    units = [
        replace(in_week(unit, "stop, rebuild", None), stop=("rattled when spun by hand on 1 Oct 2026",))
        for unit in many.units[:number]
    ]
    return replace(many, units=(*units, *(in_week(unit, "leave", None) for unit in many.units[number:])))


@pytest.mark.parametrize("number", [1, 3, 40])
def test_units_that_must_not_run_stand_on_the_first_page_before_the_figures(content: PaperContent, number: int) -> None:
    told = stopped(content, number)
    first = " ".join(pages(paper_pdf(told))[0].split())
    box = first.split("Do not run")[1].split("units in service")[0]
    for unit in told.stopped[:10]:
        assert f"{unit.unit_id} on craft {unit.craft_id}, {unit.craft_name}: rattled when spun by hand" in box
    assert ("and 30 units more: all are in the work list" in box) == (number == 40)


def test_where_all_units_may_run_there_is_no_such_box(content: PaperContent) -> None:
    assert "Do not run" not in pages(paper_pdf(stopped(content, 0)))[0]


def test_in_season_it_says_what_should_not_wait(content: PaperContent) -> None:
    due = tuple(in_week(u, "check now", None) for u in content.units[:2])
    left = tuple(in_week(u, "leave", None) for u in content.units[2:])
    words = flowing(paper_pdf(replace(content, in_season=True, units=(*due, *left))))
    first, second = sorted(unit.unit_id for unit in due)
    assert f"Now: check {first} and {second}. Leave the other {len(left)} units in the next off-season:" in words
    assert "The season is on, until 15 Oct 2027. Units to check or rebuild now have run the hours" in words


def test_planned_rebuilds_are_pre_oiled_and_a_plan_without_any_says_nothing_of_it(
    content: PaperContent, paper: bytes
) -> None:
    assert PRE_OIL in flowing(paper)
    none = replace(content, units=tuple(in_week(unit, "leave", None) for unit in content.units))
    assert "oil the supercharger's bearings by hand" not in flowing(paper_pdf(none))


@given(st.floats(0, 5_000), st.floats(1, 5_000))
def test_ticks_are_few_even_and_inside_the_axis(first: float, span: float) -> None:
    ticks = _ticks(first, first + span)
    assert 1 <= len(ticks) <= TICKS + 1
    assert all(first - 1e-6 <= tick <= first + span + 1e-6 for tick in ticks)
    steps = np.diff(ticks)
    assert np.allclose(steps, steps[0] if len(steps) else 0.0)
