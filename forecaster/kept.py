"""Answers that took long, kept for when they are asked for again: so many, and the one asked for least lately goes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Question = TypeVar("Question", bound=Hashable)
Answer = TypeVar("Answer")


class Kept(Generic[Question, Answer]):
    """At most `most` answers, each by its question; any number of threads may ask.

    Threads that ask the same at once may each work it out: none waits for another, which may be broken off. All are
    given the answer that was there first.
    """

    def __init__(self, most: int) -> None:
        """Keep nothing yet."""
        self._most = most
        self._answers: OrderedDict[Question, Answer] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        """How many answers are kept."""
        return len(self._answers)

    def get(self, question: Question, work_out: Callable[[], Answer]) -> Answer:
        """The answer to a question: the one kept, else the one that `work_out` gives, which is kept unless it raises.

        `work_out` may itself ask, here too.
        """
        with self._lock:
            if question in self._answers:
                self._answers.move_to_end(question)
                return self._answers[question]
        answer = work_out()
        with self._lock:
            answer = self._answers.setdefault(question, answer)
            self._answers.move_to_end(question)
            while len(self._answers) > self._most:
                self._answers.popitem(last=False)
        return answer
