"""Commands that write, killed while they do: what they leave, and what the same command makes of it afterwards.

Each is killed at its acts on the disk (a file opened for writing, brought to the disk, moved, deleted), and at moments
drawn at random while it runs. What lies there then is as it was before, or whole; or a notice says that it is neither;
or it is half, and nobody is told. Then the same words are given again, and nothing may be left over. And each is given
a disk that takes no more than half of its largest file.

    python -m tests.kill_round --kills 150              the figures that DEVELOPERS.md gives

Reading and learning come first and are kept: what is killed is the writing. Needs a system that can fork.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

from forecaster import fleet as fleet_room
from forecaster import reading, report_command, simulate
from forecaster.commands import COMMANDS, main
from forecaster.report_command import PAPER_KINDS
from tests.small_fleet import TODAY, add_row, set_cell, small_fleet_folder

ACTS = ("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.chmod")
NOTHING, WHOLE, TOLD, HALF = "nothing new", "whole", "announced", "half"
Before = dict[str, bytes]


@dataclass(frozen=True)
class Scene:
    """A command that writes below a folder, and what lies there before it does."""

    name: str
    words: tuple[str, ...]  # {} stands for the folder
    before: Before

    def words_in(self, folder: Path) -> tuple[str, ...]:
        """The command's words; without --force where it does not know that."""
        known = {name for argument in COMMANDS.by_name[self.words[0]].arguments for name in argument.names}
        return tuple(word.format(folder) for word in self.words if word != "--force" or word in known)

    def lay(self, folder: Path) -> None:
        """What was there before."""
        for name, content in self.before.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)


@dataclass(frozen=True)
class Kept:
    """What reading, learning and setting out gave, so that only the writing is left to do."""

    fleet: Any
    reading: Any
    papers: tuple[Any, ...]
    invented: Any


def kept(folder: Path, craft: int) -> Kept:
    """The small fleet with some rows at fault, what it taught, papers that stand for its own; an invented fleet."""
    source = small_fleet_folder(folder / "small")
    fleet = fleet_room.open_fleet(source, TODAY)
    fleet.two_stage(TODAY)
    files = {kind: f"a {kind} ".encode() * 5_000 for kind in PAPER_KINDS}
    content = SimpleNamespace(owner=None, units=(), as_of=TODAY)
    paper = SimpleNamespace(name=f"{fleet.name}-{TODAY}", answer="Rebuild 1.", content=content, file=files.get)
    set_cell(source / "hours.csv", 5, "meter", "=120 h")
    add_row(source / "craft.csv", craft_id="C001", name="Otter again")
    set_cell(source / "rebuilds.csv", 3, "bearing", "sond")
    return Kept(fleet, reading.read_fleet(source, TODAY), (paper,), simulate.simulate_fleet(craft, 3, 5))


@contextmanager
def given(what: Kept) -> Iterator[None]:
    """Commands take what is kept instead of working it out."""
    with (
        patch.object(report_command, "opened", lambda asked: (what.fleet, TODAY)),
        patch.object(type(what.fleet), "reports", lambda *_, **__: what.papers),
        patch.object(fleet_room, "open_fleet", lambda *_: what.fleet),
        patch.object(reading, "read_fleet", lambda *_: what.reading),
        patch.object(simulate, "simulate_fleet", lambda **_: what.invented),
    ):
        yield


def scenes(folder: Path) -> list[Scene]:
    """Every command that writes a set or a file of its own: where nothing was, and over what an earlier run wrote."""
    source = str(folder / "small")
    report = ("report", source, "--as-of", TODAY.isoformat(), "--out", "{}/out")
    earlier_papers = {f"out/small-{TODAY}.{kind}": f"an earlier {kind}".encode() * 200 for kind in PAPER_KINDS}
    learn = ("experience", "save", source, "{}/bench.json")
    refused = ("validate", source, "--refused", "{}/out")
    earlier_lists = {
        f"out/refused_{name}.csv": b"refused in,refused row\nmended by hand" for name in ("craft", "water")
    }
    draw = ("simulate", "{}/out")
    drawn = folder / "drawn"
    simulate.write_simulated(simulate.simulate_fleet(3, 1, 2), drawn, truth=True)
    earlier_fleet = {f"out/{file.name}": file.read_bytes() for file in drawn.iterdir()}
    return [
        Scene("report, new folder", report, {}),
        Scene("report, beside other files", report, {"out/notes.txt": b"mine"}),
        Scene("report --force", (*report, "--force"), {**earlier_papers, "out/notes.txt": b"mine"}),
        Scene("experience save", learn, {}),
        Scene("experience save --force", (*learn, "--force"), {"bench.json": b"what was learned before"}),
        Scene("validate --refused", refused, {}),
        Scene("validate --refused --force", (*refused, "--force"), earlier_lists),
        Scene("simulate", draw, {}),
        Scene("simulate --force", (*draw, "--force"), earlier_fleet),
    ]


# --- one command in a process of its own ------------------------------------------------------------------------------


def unarmed() -> None:
    """Nothing ends the process before its time."""


def asked(words: tuple[str, ...], arm: Callable[[], None] = unarmed, seconds: float | None = None) -> tuple[int, str]:
    """Run a command in a fork: its exit status (-9: killed) and what it told.

    `arm` is called there first; so many `seconds` later it is killed.
    """
    ours, theirs = os.pipe()
    child = os.fork()
    if not child:
        status = 70
        try:
            with redirect_stdout(StringIO()), redirect_stderr(StringIO()) as told:
                arm()
                status = main(words)
            os.write(theirs, told.getvalue().encode()[:4000])
        finally:
            os._exit(status)
    os.close(theirs)
    if seconds is not None:
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)  # not waited for yet: nobody else can have its number
    _, ended = os.waitpid(child, 0)
    told_of = os.read(ours, 4000).decode()
    os.close(ours)
    return os.waitstatus_to_exitcode(ended), told_of


def on_each_act(act: Callable[[], None]) -> None:
    """Call `act` before each act on the disk of this process from now on."""

    def seen(event: str, arguments: tuple[Any, ...]) -> None:
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if writes or event in ACTS:
            act()

    fsync = os.fsync

    def watched(opened: int) -> None:
        act()
        fsync(opened)

    os.fsync = watched
    sys.addaudithook(seen)


def acts_of(words: tuple[str, ...]) -> int:
    """How many acts on the disk a command comes to."""
    ours, theirs = os.pipe()
    asked(words, lambda: on_each_act(lambda: os.write(theirs, b".") and None))
    os.close(theirs)
    count = len(os.read(ours, 65536))
    os.close(ours)
    return count


def killed_at(act: int) -> Callable[[], None]:
    """Kills the process just before its act of this number (from 0)."""
    left = [act]

    def one() -> None:
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left[0] -= 1

    return lambda: on_each_act(one)


def no_file_beyond(size: int) -> Callable[[], None]:
    """A disk that takes no file beyond `size` bytes."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


# --- what lies there --------------------------------------------------------------------------------------------------


def lying(folder: Path) -> Before:
    """Every file that a person sees there, by name; notices are none of them."""
    files = {str(f.relative_to(folder)): f for f in sorted(folder.rglob("*")) if f.is_file()}
    return {n: f.read_bytes() for n, f in files.items() if not any(part.startswith(".") for part in Path(n).parts)
            and not f.name.startswith("unfinished-forecaster-")}  # fmt: skip


def left_over(folder: Path) -> list[str]:
    """Notices, and what lies there unseen."""
    return [f.name for f in folder.rglob("*") if f.name.startswith((".", "unfinished-forecaster-"))]


def told_of_half(folder: Path) -> bool:
    """Whether a notice tells that something is not whole."""
    return any(folder.rglob("unfinished-forecaster-*"))


@dataclass(frozen=True)
class Left:
    """What a killed command left, and what the same command made of it."""

    kind: str
    killed: bool
    mended: bool


def killed(scene: Scene, whole: Before, arm: Callable[[], None] = unarmed, seconds: float | None = None) -> Left:
    """Kill a command, look, and run it again."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        scene.lay(folder)
        words = scene.words_in(folder)
        status, _ = asked(words, arm, seconds)
        there = lying(folder)
        kind = NOTHING if there == scene.before else WHOLE if there == whole else TOLD if told_of_half(folder) else HALF
        again, _ = asked(words)
        mended = lying(folder) == whole and not left_over(folder) and (again in (0, 1) or kind == WHOLE)
        return Left(kind, status == -signal.SIGKILL, mended)


def whole_of(scene: Scene) -> tuple[Before, int, float]:
    """What a command writes when nothing stops it, its acts on the disk, and the seconds that it takes."""
    with tempfile.TemporaryDirectory() as place:
        scene.lay(Path(place))
        with redirect_stdout(StringIO()), redirect_stderr(StringIO()):
            main(scene.words_in(Path(place)))  # in this process: what it imports need not be imported in each fork
        written = lying(Path(place))
    with tempfile.TemporaryDirectory() as place:
        scene.lay(Path(place))
        begun = time.monotonic()
        acts = acts_of(scene.words_in(Path(place)))
        return written, acts, time.monotonic() - begun


def full_disk(scene: Scene, whole: Before) -> dict[str, Any]:
    """Run a command where its largest file has no room."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        scene.lay(folder)
        largest = max(len(content) for name, content in whole.items() if content != scene.before.get(name))
        status, told = asked(scene.words_in(folder), no_file_beyond(largest // 2))
        return {
            "status": status,
            "told": told.replace(place, ""),
            "as_before": lying(folder) == scene.before,
            "left_over": left_over(folder),
        }


def spread(count: int, most: int) -> Iterable[int]:
    """At most so many whole numbers below `count`, spread evenly."""
    return sorted({min(count - 1, round((at + 0.5) * count / most)) for at in range(most)})


def rounds(at_acts: int, at_random: int, craft: int, seed: int = 1) -> dict[str, dict[str, Any]]:
    """For each scene: how many kills left what, how many were mended by the same command, and how a full disk ends."""
    drawn = random.Random(seed)
    found: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as place:
        what, all_scenes = kept(Path(place), craft), scenes(Path(place))
        with given(what):
            for scene in all_scenes:
                whole, acts, took = whole_of(scene)
                tried = [killed(scene, whole, killed_at(act)) for act in spread(acts, at_acts)]
                tried += [killed(scene, whole, seconds=drawn.uniform(0.0, took)) for _ in range(at_random)]
                left = [one for one in tried if one.killed]  # the others had come to their end before
                found[scene.name] = {
                    "acts": acts,
                    "kills": len(left),
                    **Counter(one.kind for one in left),
                    "not mended": sum(not one.mended for one in left),
                    "full disk": full_disk(scene, whole),
                }
    return found


def run() -> None:
    """Print the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--kills", type=int, default=150, help="of each scene at random moments, beside one at each act"
    )
    parser.add_argument("--acts", type=int, default=1000, help="acts at which to kill, at most")
    parser.add_argument("--craft", type=int, default=40, help="of the invented fleet")
    parser.add_argument("--json", action="store_true")
    told = parser.parse_args()
    found = rounds(told.acts, told.kills, told.craft)
    if told.json:
        print(json.dumps(found))
        return
    print("| command | kills | nothing new | whole | announced | half | not mended | full disk |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, one in found.items():
        full = one["full disk"]
        disk = f"exit {full['status']}, {'as before' if full['as_before'] and not full['left_over'] else 'half left'}"
        counts = [one.get(kind, 0) for kind in ("kills", NOTHING, WHOLE, TOLD, HALF, "not mended")]
        print(f"| {name} | {' | '.join(map(str, counts))} | {disk} |")


if __name__ == "__main__":
    run()
