"""Answers that took long, kept for when they are asked for again: so many, and the one asked for least lately goes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Sequence
from threading import Lock
from typing import Any, Generic, TypeVar

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

    def __getstate__(self) -> dict[str, Any]:
        """What another process is given: the answers, without the lock."""
        with self._lock:
            return {"_most": self._most, "_answers": self._answers.copy()}

    def __setstate__(self, state: dict[str, Any]) -> None:
        """The same answers, with a lock of its own."""
        self.__dict__ |= state
        self._lock = Lock()

    def keep(self, question: Question, answer: Answer) -> None:
        """Keep an answer that was worked out elsewhere, in place of one that is kept."""
        with self._lock:
            self._answers.pop(question, None)
            self._keep(question, answer)

    def all(self) -> dict[Question, Answer]:
        """Every answer that is kept."""
        with self._lock:
            return dict(self._answers)

    def get(self, question: Question, work_out: Callable[[], Answer]) -> Answer:
        """The answer to a question: the one kept, else the one that `work_out` gives, which is kept unless it raises.

        `work_out` may itself ask, here too.
        """
        return self.get_all([question], lambda _: [work_out()])[0]

    def get_all(
        self, questions: Sequence[Question], work_out: Callable[[list[Question]], Iterable[Answer]]
    ) -> list[Answer]:
        """The answers to several questions; `work_out` is given those that are not kept, each once, all together."""
        with self._lock:
            found = {question: self._latest(question) for question in questions if question in self._answers}
        missing = [question for question in dict.fromkeys(questions) if question not in found]
        if missing:
            answers = dict(zip(missing, work_out(missing), strict=True))
            with self._lock:
                found |= {question: self._keep(question, answer) for question, answer in answers.items()}
        return [found[question] for question in questions]

    def _latest(self, question: Question) -> Answer:
        """The answer that is kept; it was asked for just now."""
        self._answers.move_to_end(question)
        return self._answers[question]

    def _keep(self, question: Question, answer: Answer) -> Answer:
        """Keep an answer unless another thread was first, whose own it then is."""
        self._answers.setdefault(question, answer)
        kept = self._latest(question)
        while len(self._answers) > self._most:
            self._answers.popitem(last=False)
        return kept
