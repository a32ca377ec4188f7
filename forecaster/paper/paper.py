"""A paper: what it says, and its four files as bytes."""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.errors import WrongUsage
from forecaster.paper.content import PaperContent
from forecaster.paper.files import KINDS
from forecaster.paper.wording import DASH, answer, broken, by_hand, stopped
from forecaster.written_days import SPACE


@dataclass(frozen=True)
class Paper:
    """The report of a fleet, or of one owner's craft, as of a day; made by ``Fleet.report``.

    `name`: of its files, without the ending. Each file is made when asked for.
    """

    content: PaperContent
    name: str

    @property
    def answer(self) -> str:
        """The answer in sentences: what must not run, the plan, how it was changed by hand; in plain characters."""
        limits = " ".join(broken(self.content))
        breaks = f"As changed it breaks a limit: {limits}" if limits else ""
        told = " ".join(filter(None, [stopped(self.content), answer(self.content), by_hand(self.content), breaks]))
        return told.replace(SPACE, " ").replace(DASH, "-")

    def pdf(self) -> bytes:
        """The printable report, two to six A4 pages."""
        from forecaster.paper.pdf import paper_pdf

        return paper_pdf(self.content)

    def xlsx(self) -> bytes:
        """The work list: every unit, parts, prices, problems of the records."""
        from forecaster.paper.work_list import work_list

        return work_list(self.content)

    def ics(self) -> bytes:
        """The calendar: bench weeks, checks, the day to order parts, the day to be ready."""
        from forecaster.paper.bench_calendar import bench_calendar

        return bench_calendar(self.content)

    def csv(self) -> bytes:
        """The work list's units as a plain table, for a spreadsheet or another program."""
        from forecaster.paper.work_table import work_table

        return work_table(self.content)

    def file(self, kind: str) -> bytes:
        """One of its files by kind: "pdf", "xlsx", "ics" or "csv". Raises WrongUsage for another."""
        if kind not in KINDS:
            raise WrongUsage(f"There is no paper of kind {kind!r}. Known: {', '.join(KINDS)}.")
        return {"pdf": self.pdf, "xlsx": self.xlsx, "ics": self.ics, "csv": self.csv}[kind]()
