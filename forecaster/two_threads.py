"""Array work in two threads: numpy's loops let another thread run, and every machine that this is for has two cores."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Done = TypeVar("Done")
Part = TypeVar("Part")


def in_two_threads(work: Callable[[Part], Done], parts: Iterable[Part], worth_it: bool = True) -> list[Done]:
    """The work done on all parts, in their order; one after another where two threads are not `worth_it`."""
    if not worth_it:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, parts))
