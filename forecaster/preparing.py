"""A second process that works out a fleet's first answers while the server starts, or while a page is being read.

The server's own threads could not: two threads of one Python process take turns, so that the page would wait for them.
What the other process finds comes over a pipe, piece by piece, in the order in which screens ask for it, and is kept
where the same question asked here would have been kept (``Fleet.take_over``). Whatever goes wrong over there is no
answer: the question is then worked out here, which also says what is wrong.
"""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import IO, TYPE_CHECKING, Any, Literal

from forecaster.source_content import content_of, size_of

if TYPE_CHECKING:
    from forecaster.fleet import Fleet
    from forecaster.priors import Prior
    from forecaster.problems import Reading

    Give = Callable[[str, Any], None]

Piece = Literal["risks", "forecast", "standing", "decisions", "decided"]
# Each piece by what the fleet keeps of it: the first page's sentence, its table, any other horizon, one unit now or
# later, the plan and the week.
KINDS: dict[Piece, tuple[str, ...]] = {
    "risks": ("histories", "fits", "usage", "risks"),
    "forecast": ("forecasts",),
    "standing": ("standings",),
    "decisions": ("decisions", "hours"),
    "decided": ("decisions", "plans", "decided"),
}
# Units in service up to which a plan is made, and other horizons looked to, before anybody asks. 500 take some ten
# seconds of one processor; beyond 1,500 a laptop would feel it for the sake of a question that may never come.
MOST_AHEAD = 1_500
HORIZONS = tuple(range(5, 205, 5))  # where the screens' slider stops, engine hours
# Bytes of a source from which a second process reads and forecasts it for the first page. A smaller one is read here in
# less time than that process takes to start: the sample, of 66,000, in some .4 s of a processor beside its .6 s.
LARGE = 400_000
# For a browser to draw the page before the rest of an opened fleet is prepared, unless somebody waits for it already.
SECONDS_TO_DRAW = 0.5
POLITENESS = 10  # how far the other process steps back once the first sentence has what it needs; the most is 19
TOLD_EVERY = 0.2  # seconds after which whoever waits is told how far it has come
# Seconds without a word from the other process after which nobody waits for it any longer. The longest silence that was
# seen over 500 units was 8 s, on two processors with twenty tasks.
MOST_PATIENCE = 60.0
POLITELY = "politely"
START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from forecaster.preparing import main; main()"


@dataclass(frozen=True)
class Job:
    """What to prepare as of a day: a `source` to be read, or a `reading` and what is `known` (``Fleet.worked_out``)."""

    today: date
    source: str | None = None
    reading: Reading | None = None
    prior: Prior | None = None
    known: Mapping[str, Mapping[Any, Any]] | None = None


class Preparation:
    """One fleet whose first answers as of a day are being worked out by a process of their own."""

    def __init__(self, today: date, content: str, source: str | None = None, fleet: Fleet | None = None) -> None:
        """Begin. `content`: of the `source`, see ``content_of``. `fleet`: where it is open here already."""
        self.today, self.content = today, content
        self._source, self._fleet = source, fleet
        self._told = "Preparing ..."
        self._came: set[str] = set()
        self._heard = time.monotonic()
        self._asked = threading.Event()
        self._here: dict[str, threading.Event] = {piece: threading.Event() for piece in KINDS}
        if fleet is not None:
            for piece in ("risks", "forecast", "standing"):
                self._here[piece].set()
        threading.Thread(target=self._follow, daemon=True).start()

    @property
    def goes_on(self) -> bool:
        """Whether more may come of it."""
        return not all(piece.is_set() for piece in self._here.values())

    def has(self, piece: Piece) -> bool:
        """Whether a piece is here and the fleet has it."""
        return piece in self._came

    def fleet(self) -> Fleet | None:
        """The fleet with all that its first sentence asks for, once it is here; None where nothing came of it."""
        self.wait("risks", lambda _: None)
        return self._fleet if self.has("risks") else None

    def wait(self, piece: Piece, tell: Callable[[str], object]) -> None:
        """Until a piece is here, or nothing seems to come of it; `tell` hears how far it has come, and may raise."""
        self._asked.set()
        while not self._here[piece].wait(TOLD_EVERY) and time.monotonic() - self._heard < MOST_PATIENCE:
            tell(self._told)

    def _follow(self) -> None:
        """Start the other process and take over what it gives, until it ends."""
        opened = self._fleet is None
        if not opened:
            self._asked.wait(SECONDS_TO_DRAW)
            self._heard = time.monotonic()
        job = Job(self.today, self._source) if self._fleet is None else _rest_of(self._fleet, self.today)
        try:
            with subprocess.Popen(
                _command(politely=not opened), stdin=subprocess.PIPE, stdout=subprocess.PIPE, **_apart()
            ) as process:
                if process.stdin is not None and process.stdout is not None:
                    pickle.dump(job, process.stdin)
                    process.stdin.flush()  # and left open: its end tells the other process that this one has ended
                    self._take_all(process.stdout)
        except Exception:  # noqa: BLE001 - whatever it was: what is not here is worked out when it is asked for
            if opened and not self._here["risks"].is_set():
                self._fleet = None  # half taken over
        finally:
            for piece in self._here.values():
                piece.set()
            if not opened:
                self._fleet = None  # it is the viewer's, and goes when the viewer goes

    def _take_all(self, pipe: IO[bytes]) -> None:
        while True:
            try:
                what, given = pickle.load(pipe)
            except EOFError:
                return
            self._take(what, given)

    def _take(self, what: str, given: Any) -> None:
        from forecaster.fleet import Fleet

        self._heard = time.monotonic()
        if what == "told":
            self._told = given
        elif what == "reading":
            content, reading = given
            if content != self.content:
                raise ValueError("the source was written to meanwhile")
            self._fleet = Fleet(reading)
        elif self._fleet is not None:
            self._fleet.take_over(given)
            self._came.add(what)
            if what in self._here:
                self._here[what].set()


class Preparations:
    """The preparations of one server: one at a time, and none before ``begin``."""

    def __init__(self) -> None:
        """Nothing is prepared yet."""
        self.serving = False  # whether the program itself serves the screens
        self._latest: Preparation | None = None
        self._begun: set[tuple[str, date]] = set()
        self._lock = threading.Lock()

    def begin(self, source: str, today: date) -> None:
        """Prepare a source, if it is large; from here on the fleets that are opened are prepared too."""
        self.serving = True
        with suppress(OSError):  # the page that asks for it says what is wrong with it
            if size_of(source) < LARGE:
                return
            content = content_of(source)
            self._begun.add((content, today))
            self._latest = Preparation(today, content, source)

    def begin_with(self, fleet: Fleet, content: str, today: date) -> None:
        """Prepare what a fleet is asked next whose first page is answered: once, and not while another is prepared."""
        with self._lock:
            busy = self._latest is not None and self._latest.goes_on
            if self.serving and not busy and (content, today) not in self._begun:
                self._begun.add((content, today))
                self._latest = Preparation(today, content, fleet=fleet)

    def fleet(self, content: str, today: date) -> Fleet | None:
        """The fleet of a content as read on a day, waited for; None where it is not prepared."""
        found = self._of(content, today)
        return None if found is None else found.fleet()

    def have(self, piece: Piece, content: str, as_of: date) -> bool:
        """Whether a piece of a fleet's answers as of a day came from the other process."""
        found = self._of(content, as_of)
        return found is not None and found.has(piece)

    def wait(self, piece: Piece, content: str, as_of: date, tell: Callable[[str], object]) -> None:
        """Until a piece of a fleet's answers as of a day is here, if it is on its way; see ``Preparation.wait``."""
        found = self._of(content, as_of)
        if found is not None:
            found.wait(piece, tell)

    def _of(self, content: str, today: date) -> Preparation | None:
        latest = self._latest
        return latest if latest is not None and (latest.content, latest.today) == (content, today) else None


PREPARATIONS = Preparations()


def _rest_of(fleet: Fleet, today: date) -> Job:
    return Job(today, None, fleet.reading, fleet.prior, fleet.worked_out(("histories", "fits", "usage")))


def _command(politely: bool) -> list[str]:
    """The other process: the same Python, which finds its modules where this one does."""
    return [sys.executable, "-c", START, json.dumps(sys.path), *([POLITELY] if politely else [])]


def _apart() -> dict[str, Any]:
    """A process that a Ctrl-C in the terminal does not reach: it ends with this one. Nobody hears its complaints.

    No session of its own: some systems deal out processors by session, and it is to step back behind this one.
    """
    if sys.platform == "win32":
        flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
        return {"creationflags": flags, "stderr": subprocess.DEVNULL}
    return {"process_group": 0, "stderr": subprocess.DEVNULL}


def main() -> None:
    """The other process: one job from standard input, its pieces to standard output."""
    if POLITELY in sys.argv:
        _step_back()
    pipe = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing else may come in between

    def give(what: str, given: Any) -> None:
        pickle.dump((what, given), pipe, protocol=pickle.HIGHEST_PROTOCOL)
        pipe.flush()

    job: Job = pickle.load(sys.stdin.buffer)
    threading.Thread(target=_end_with_the_other, daemon=True).start()
    prepare(job, give)


def _end_with_the_other() -> None:
    sys.stdin.buffer.read()
    os._exit(0)


def prepare(job: Job, give: Give, step_back: Callable[[], None] | None = None) -> None:
    """Work out a job and give its pieces as they come; of a fleet that cannot be asked, none.

    `step_back` is called once all that the first sentence asks is given.
    """
    from forecaster.errors import ForecasterError
    from forecaster.fleet import DEFAULT_HOURS, Fleet

    with suppress(ForecasterError):
        if job.reading is None:
            fleet = _first_page(str(job.source), job.today, give, step_back or _step_back)
            horizons = sorted(set(HORIZONS) - {DEFAULT_HOURS}, key=lambda hours: abs(hours - DEFAULT_HOURS))
        else:
            fleet, horizons = Fleet(job.reading, job.prior), []  # how its units stand is known where it is open
            fleet.take_over(job.known or {})
        if fleet.histories(job.today).in_service().n_lives <= MOST_AHEAD:
            _give_horizons(fleet, job.today, horizons[:2], give)  # where the slider stops next
            _give_plan(fleet, job.today, give)
            _give_horizons(fleet, job.today, horizons[2:], give)


def _first_page(source: str, today: date, give: Give, step_back: Callable[[], None]) -> Fleet:
    from forecaster.fleet import open_fleet

    content = content_of(source)
    fleet = open_fleet(source, today)
    give("reading", (content if content == content_of(source) else "", fleet.reading))
    fleet.risks(today)
    _give(fleet, "risks", give)
    step_back()
    fleet.forecast(today)
    _give(fleet, "forecast", give)
    _give(fleet, "standing", give)
    return fleet


def _give_horizons(fleet: Fleet, today: date, horizons: Iterable[float], give: Give) -> None:
    for hours in horizons:
        known = fleet.worked_out(("risks",))["risks"]
        fleet.risks(today, hours)
        more = fleet.worked_out(("risks",))["risks"]
        give("horizon", {"risks": {asked: more[asked] for asked in more.keys() - known.keys()}})


def _give_plan(fleet: Fleet, today: date, give: Give) -> None:
    shared = fleet.decisions(today)
    _ = shared.scatter, shared.hours_this_week  # what every unit's answer needs
    _give(fleet, "decisions", give)
    fleet.instructions(today, lambda told: give("told", told))
    _give(fleet, "decided", give)


def _give(fleet: Fleet, piece: Piece, give: Give) -> None:
    give(piece, fleet.worked_out(KINDS[piece]))


def _step_back() -> None:
    """Let the server and the browser go first."""
    if sys.platform != "win32":
        os.nice(POLITENESS)
