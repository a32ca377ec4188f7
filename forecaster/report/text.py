"""The answers as plain text for a terminal: the sentence first, then the table, then what stands behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from forecaster.forecast import Chance, FleetForecast, UnitForecast
from forecaster.plain_streams import BOLD, NO_LONGER_BOLD
from forecaster.problems import Reading, first_of, how_many
from forecaster.report import figures, sentences
from forecaster.report.table import TextColumn, plain_table, wrap

REMARKS_TOLD = 12  # a screenful; all of them are in the JSON
PROBLEMS_TOLD = 300  # of the records, in a terminal: more than anybody mends before asking again
_WHERE_THE_REST_IS = "--json tells more of them; --refused DIR writes every refused row with its reasons."
DOUBTFUL_MARK = "?"
ROOMY = 96  # characters: room for three intervals beside the other columns


@dataclass(frozen=True)
class Page:
    """What the text is written for: `width` in characters, and whether colours may be used."""

    width: int = 80
    colour: bool = False

    def strong(self, text: str) -> str:
        """Text that stands out where the terminal can show it; the words alone say all."""
        return f"{BOLD}{text}{NO_LONGER_BOLD}" if self.colour else text

    def wrapped(self, text: str, indent: str = "") -> str:
        """Text in lines of the page's width; lines after the first of a remark are indented by `indent`."""
        return "\n".join(wrap(text, self.width, indent=indent))

    def bullets(self, title: str, lines: Sequence[str]) -> str:
        """A title, and beneath it a bullet a line."""
        return "\n".join([self.wrapped(f"{title}:"), *(self.wrapped(f"- {line}", indent="  ") for line in lines)])

    def first_bullets(self, title: str, lines: Sequence[str]) -> str:
        """The same of the first `REMARKS_TOLD` lines, and how many more there are."""
        more = len(lines) - REMARKS_TOLD
        rest = [f"and {more} more: see them with --json"] if more > 0 else []
        return self.bullets(title, [*lines[:REMARKS_TOLD], *rest])


def forecast_text(
    forecast: FleetForecast,
    page: Page,
    doubtful: Mapping[str, str] | None = None,
    refused: int = 0,
    source: str = "SOURCE",
    limit: int | None = None,
) -> str:
    """A fleet's forecast as text; `limit`: only the first so many units of the table (the sentence counts all)."""
    doubtful = doubtful or {}
    shown = forecast.units if limit is None else forecast.units[:limit]
    blocks = [page.strong(page.wrapped(sentences.headline(forecast)))]
    blocks.append(forecast_table(shown, forecast.hours, page, doubtful))
    left_out = len(forecast.units) - len(shown)
    if left_out:
        blocks.append(page.wrapped(f"... and {figures.counted(left_out, 'unit')} of less risk, left out by --limit."))
    blocks.append(page.wrapped(_legend(forecast)))
    blocks.append(page.wrapped(sentences.advice_sentence(source)))
    blocks.append(page.wrapped(sentences.evidence_sentence(forecast.evidence, forecast.model)))
    if refused:
        blocks.append(page.wrapped(sentences.refused_sentence(refused, source)))
    marked = [f"{u.unit_id}{DOUBTFUL_MARK} {doubtful[u.unit_id]}" for u in shown if u.unit_id in doubtful]
    if marked:
        blocks.append(
            page.first_bullets("Take the figures of these units with care until their records are mended", marked)
        )
    if forecast.craft_without_unit:
        lines = [". ".join([one.told, *one.remarks]) for one in forecast.craft_without_unit]
        blocks.append(page.first_bullets(sentences.WITHOUT_UNIT, lines))
    remarks = [*forecast.evidence.remarks, *forecast.remarks]
    remarks += [f"{unit.unit_id}: {remark}" for unit in shown for remark in unit.remarks]
    if remarks:
        blocks.append(page.first_bullets("Remarks", remarks))
    blocks.append(page.wrapped(sentences.CAUTION))
    return "\n\n".join(blocks)


def forecast_table(units: Sequence[UnitForecast], hours: float, page: Page, doubtful: Mapping[str, str]) -> str:
    """The ranked table of units: chances with their 90 % interval, hours left, what its record orders and why.

    Below `ROOMY` characters only the chance that ranks them has room for its interval.
    """
    told = figures.percent_with_range if page.width >= ROOMY else _mean
    columns = [
        TextColumn("unit", least=8),
        TextColumn("craft", least=8),
        TextColumn("since\nrebuild", right=True),
        TextColumn("water", right=True),
        TextColumn("defect\nnow", right=True),
        TextColumn(f"fails within\n{hours:g} h (90 %)", right=True, least=11),
        TextColumn("this\nseason", right=True),
        TextColumn("hours left\n10/50/90 %", right=True),
    ]
    rows = [
        (
            unit.unit_id + (DOUBTFUL_MARK if unit.unit_id in doubtful else ""),
            unit.craft_id,
            "unknown" if unit.hours_since_rebuild is None else figures.hours(unit.hours_since_rebuild),
            str(unit.incidents),
            "-" if unit.defective_now is None else told(unit.defective_now),
            figures.percent_with_range(unit.fails_within),
            told(unit.fails_this_season),
            figures.hours_left(unit.hours_left),
        )
        for unit in units
    ]
    return plain_table(columns, rows, [sentences.unit_note(unit) for unit in units], page.width)


def _mean(chance: Chance) -> str:
    return figures.percent(chance.mean)


def _legend(forecast: FleetForecast) -> str:
    return (
        "Chances are for a unit that nobody opens and that takes in no more water; in brackets the central 90 % "
        "interval. Water: incidents in this life. Hours left: the engine hours by which 10, 50 and 90 % of such units "
        f"have failed. {sentences.season_sentence(forecast)}"
    )


def validation_text(reading: Reading, page: Page) -> str:
    """What was read, what was refused, and every problem with its remedy."""
    refused = reading.refused_counts
    total = sum(refused.values())
    stops = how_many(reading.stops_answer)
    if stops:
        answer = f"{figures.counted(stops, 'problem')} must be mended before this fleet can be forecast."
    elif reading.problems:
        answer = (
            f"This fleet can be forecast, with {figures.counted(how_many(reading.problems), 'problem')} to look at."
        )
    else:
        answer = "This fleet can be forecast; no problems were found."
    columns = [TextColumn("file", widest=40), TextColumn("rows read", right=True), TextColumn("refused", right=True)]
    rows = [(name, f"{count:,}", f"{refused[name]:,}") for name, count in reading.read.items()]
    blocks = [page.strong(page.wrapped(answer)), plain_table(columns, rows, [""] * len(rows), page.width)]
    if total:
        blocks.append(page.wrapped(f"Refused rows are not used: {figures.counted(total, 'row')} in all."))
    aside = [
        f"{name}: {first_of(list(map(str, f.columns)))}" for name, f in reading.kept_aside.items() if len(f.columns)
    ]
    if aside:
        blocks.append(page.wrapped(f"Columns kept aside, since the contract does not list them: {'; '.join(aside)}."))
    if reading.problems:
        told = [f"- {problem}" for problem in reading.problems[:PROBLEMS_TOLD]]
        more = how_many(reading.problems[PROBLEMS_TOLD:])
        told += [f"- And {figures.counted(more, 'more problem')}. {_WHERE_THE_REST_IS}"] if more else []
        blocks.append("\n".join(page.wrapped(line, indent="  ") for line in told))
    return "\n\n".join(blocks)
