"""One row gone wild: how far it moves the risk of units on other craft, and whether the reader is told of that row.

``python -m tests.wild_rows`` makes one cell of one row wild, over and over, in the sample fleet and in a small invented
one: a number times 10, 100 or 1,000 or a part of that, two digits of it swapped, a day months or years away, a word in
the place of another. It prints the largest moves of the chance to fail within 50 engine hours of units on other craft,
with the row told of and without.
"""

from __future__ import annotations

import argparse
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from forecaster import open_fleet, simulate_fleet
from forecaster.cross_checks import Tables, cross_check
from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.problems import Problem
from forecaster.reading import records_of
from forecaster.records import TABLES, Column, FleetRecords
from forecaster.row_checks import CheckedTable, check_table
from forecaster.text_files import read_text_table
from forecaster.writing import cell_text

HORIZON_H = 50.0
DRAWS = 200
MONTH, YEAR = 30, 365
SAMPLE_DAY = date(2026, 10, 31)
NUMBERS, WORDS_AND_DAYS = "numbers", "words and days"


@dataclass(frozen=True)
class WildCell:
    """One cell of one row (its number in the file), what it held and what it holds now, and by what slip."""

    table: str
    row: int
    column: str
    was: str
    now: str
    slip: str

    @property
    def kind(self) -> str:
        """Whether a number went wild, or a word, a name or a day."""
        number = TABLES[self.table].columns[self.column].kind in ("number", "whole")
        return NUMBERS if number else WORDS_AND_DAYS

    def __str__(self) -> str:
        return f"{self.table} row {self.row} {self.column} {self.was or 'blank'} -> {self.now} ({self.slip})"


@dataclass(frozen=True)
class Moved:
    """What a wild cell did: the largest move of a unit on another craft, in chance, and whether the row is told of."""

    cell: WildCell
    by: float
    unit_id: str
    told: bool


class WildFleet:
    """A fleet whose cells can be made wild one by one: read once, learned from once, and asked again after each."""

    def __init__(self, records: FleetRecords, as_of: date) -> None:
        self.as_of, self.settings = as_of, records.settings
        self.texts = {
            name: records.table(name).astype(object).map(lambda cell: "" if pd.isna(cell) else cell_text(cell))
            for name in TABLES
        }
        self.checked = {name: self._checked(name, frame) for name, frame in self.texts.items()}
        crossed = cross_check(self.checked)
        self.problems, self.before = _problems(crossed), self._chances(crossed)

    def _checked(self, name: str, frame: pd.DataFrame) -> CheckedTable:
        text = frame.to_csv(index=False, lineterminator="\n")
        return check_table(read_text_table(text.encode(), TABLES[name], f"{name}.csv"), self.as_of)

    def _chances(self, crossed: Tables) -> dict[str, tuple[str, float]]:
        """By unit in service its craft and its chance to fail."""
        histories = build_histories(records_of(crossed, self.settings, "wild"), self.as_of)
        units = histories.in_service()
        fit = fit_two_stage(histories, draws=DRAWS)
        chance = fit.chance_of_failing(units, np.array([HORIZON_H])).mean(axis=0)[:, 0]
        lives = units.lives
        return dict(zip(lives["unit_id"], zip(lives["craft_id"], chance.tolist(), strict=True), strict=True))

    def cells(self) -> Iterator[WildCell]:
        """Every cell that can go wild, in every way that it can."""
        for name, frame in self.texts.items():
            for column in TABLES[name].columns.values():
                words = sorted(set(frame[column.name]) - {""})
                for row, text in frame[column.name].items():
                    for slip, now in wild_texts(text, column, words):
                        if now != text:
                            yield WildCell(name, int(str(row)), column.name, text, now, slip)

    def moved_by(self, cell: WildCell, in_silence: bool = False) -> Moved:
        """The largest move of a unit that neither the row nor what it says now is about; one that is lost moves by 1.

        `in_silence`: only that is asked; a cell that is told of counts as moving nothing, which is found out quickly.
        """
        frame = self.texts[cell.table].copy()
        frame.loc[cell.row, cell.column] = cell.now
        crossed = cross_check(self.checked | {cell.table: self._checked(cell.table, frame)})
        named = {text for column in ("unit_id", "craft_id") if column in frame for text in self._of(cell, column)}
        told = _tells_of(_problems(crossed) - self.problems, cell, named)
        if told and in_silence:
            return Moved(cell, 0.0, "", told)
        after = self._chances(crossed)
        others = {
            unit: abs(after[unit][1] - chance) if unit in after else 1.0
            for unit, (craft, chance) in self.before.items()
            if not {unit, craft, after.get(unit, (craft,))[0]} & named
        }
        unit = max(others, key=others.__getitem__, default="")
        return Moved(cell, others.get(unit, 0.0), unit, told)

    def _of(self, cell: WildCell, column: str) -> tuple[str, ...]:
        return (self.texts[cell.table].loc[cell.row, column], *((cell.now,) if column == cell.column else ()))


def _problems(crossed: Tables) -> frozenset[Problem]:
    return frozenset(problem for table in crossed.values() for problem in table.problems)


def _tells_of(problems: frozenset[Problem], cell: WildCell, named: set[str]) -> bool:
    """Whether a new problem is of the row, or names it, or the craft or unit that it is about."""
    words = re.compile(rf"\b(?:row {cell.row}|{'|'.join(map(re.escape, named))})\b")
    return any((p.table, p.row) == (cell.table, cell.row) or words.search(f"{p.value} {p.reason}") for p in problems)


def wild_texts(text: str, column: Column, words: list[str]) -> Iterator[tuple[str, str]]:
    """What a cell may hold by a slip, each with the slip's name; nothing of a blank cell but of one with codes."""
    if column.kind in ("number", "whole") and text:
        value = float(text)
        for times in (10.0, 100.0, 1000.0, 0.1, 0.01):
            yield f"times {times:g}", cell_text(round(value * times, 3))
        for n in range(len(text) - 1):
            if text[n].isdigit() and text[n + 1].isdigit() and text[n] != text[n + 1]:
                yield "digits swapped", text[:n] + text[n + 1] + text[n] + text[n + 2 :]
    elif column.kind == "date" and text:
        for days in (-10 * YEAR, -2 * YEAR, -YEAR, -3 * MONTH, -MONTH, MONTH, 3 * MONTH, YEAR):
            yield f"{days:+d} days", (date.fromisoformat(text) + timedelta(days=days)).isoformat()
    elif column.kind == "code":
        yield from (("another word", code) for code in column.codes)
    elif column.kind == "text" and column.required:
        yield from (("another name", word) for word in words)


def sampled(fleet: WildFleet, each: int, seed: int) -> list[WildCell]:
    """So many cells of every table, column and slip, drawn at random."""
    drawn = random.Random(seed)
    by_kind: dict[tuple[str, str, str], list[WildCell]] = {}
    for cell in fleet.cells():
        by_kind.setdefault((cell.table, cell.column, cell.slip), []).append(cell)
    return [cell for cells in by_kind.values() for cell in drawn.sample(cells, min(each, len(cells)))]


def main() -> None:
    """Print what wild cells moved: the largest moves, and how many there were."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--each", type=int, default=3, help="cells of each table, column and slip")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--show", type=int, default=15, help="the so many largest moves")
    wish = asked.parse_args()
    for name, fleet in (("the sample", sample_in_the_wild()), ("8 invented craft", small_in_the_wild())):
        moves = [fleet.moved_by(cell) for cell in sampled(fleet, wish.each, wish.seed)]
        for what in (NUMBERS, WORDS_AND_DAYS):
            for told in (False, True):
                of_kind = [one for one in moves if one.told is told and one.cell.kind == what]
                told_of(name, what, told, of_kind, wish.show)


def told_of(name: str, what: str, told: bool, moves: list[Moved], show: int) -> None:
    """One table of moves, the largest first."""
    by = np.array([one.by for one in moves] or [0.0])
    shares = ", ".join(f"{share:.0%} up to {100 * np.quantile(by, share):.1f}" for share in (0.5, 0.9, 0.99, 1.0))
    print(f"\n{name}, {what}, {'told of' if told else 'in silence'}: {len(moves)} cells; points: {shares}")
    for one in sorted(moves, key=lambda one: -one.by)[:show]:
        print(f"{100 * one.by:6.1f}  {one.unit_id}  {one.cell}")


def sample_in_the_wild() -> WildFleet:
    """The sample fleet after its last season."""
    folder = Path(__file__).resolve().parent.parent / "sample_fleet"
    return WildFleet(open_fleet(folder, SAMPLE_DAY).records, SAMPLE_DAY)


def small_in_the_wild() -> WildFleet:
    """Eight invented craft after two seasons: so few that each row weighs much."""
    drawn = simulate_fleet(craft=8, seasons=2, seed=4)
    return WildFleet(drawn.records, drawn.as_of)


if __name__ == "__main__":
    main()
