"""A paper: what it says, and its three files as bytes."""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.errors import WrongUsage
from forecaster.paper.content import PaperContent
from forecaster.paper.files import KINDS
from forecaster.paper.wording import DASH, answer, stopped
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
        """The answer in a sentence or two, what must not run first; in plain characters, for a terminal."""
        told = f"{stopped(self.content)} {answer(self.content)}".strip()
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

    def file(self, kind: str) -> bytes:
        """One of its files by kind: "pdf", "xlsx" or "ics". Raises WrongUsage for another."""
        if kind not in KINDS:
            raise WrongUsage(f"There is no paper of kind {kind!r}. Known: {', '.join(KINDS)}.")
        return {"pdf": self.pdf, "xlsx": self.xlsx, "ics": self.ics}[kind]()
