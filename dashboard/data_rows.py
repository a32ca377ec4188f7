"""What was read, and what is wrong with it, laid out as frames; and what each file of a fleet folder holds."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

import forecaster

COLUMNS_NAMED = 30  # of those kept aside; a file may have a thousand


def problem_rows(problems: Sequence[forecaster.Problem]) -> pd.DataFrame:
    """Every problem as one row: file, row, column, value, reason, remedy, and what became of the row."""
    return pd.DataFrame(
        [
            {
                "file": p.file,
                "row": p.row,
                "column": p.column,
                "value": p.value,
                "reason": p.reason,
                "remedy": p.remedy,
                "became": _became(p),
            }
            for p in problems
        ],
        columns=["file", "row", "column", "value", "reason", "remedy", "became"],
    ).astype({"row": "Int64"})


def _became(problem: forecaster.Problem) -> str:
    if problem.refused:
        return "row refused"
    return "used for its own unit, asked about" if problem.held_back else "noticed, nothing refused"


def _first(names: Sequence[str]) -> str:
    more = len(names) - COLUMNS_NAMED
    return ", ".join(names[:COLUMNS_NAMED]) + (f" and {more:,} more" if more > 0 else "")


def file_rows(reading: forecaster.Reading) -> pd.DataFrame:
    """What was read of each file: rows used, rows refused, columns kept aside."""
    return pd.DataFrame(
        [
            {
                "file": forecaster.TABLES[name].file,
                "used": used,
                "refused": reading.refused_counts.get(name, 0),
                "aside": _first(list(map(str, reading.kept_aside[name].columns))) if name in reading.kept_aside else "",
            }
            for name, used in reading.read.items()
        ]
    )


WRITE = {"date": "day, 2026-05-01", "number": "number", "whole": "whole number", "text": "text"}


def contract_rows(table: str) -> pd.DataFrame:
    """The columns of one file of a fleet folder: what to write in each."""
    return pd.DataFrame(
        [
            {
                "column": f"{c.name} *" if c.required else c.name,
                "holds": (", ".join(c.codes) or WRITE[c.kind]) + (f", {c.unit}" if c.unit else ""),
                "meaning": c.meaning,
            }
            for c in forecaster.TABLES[table].columns.values()
        ]
    )
