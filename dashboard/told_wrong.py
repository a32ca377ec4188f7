"""What was told wrong, by a link or in a field: said where it is seen, and never answered with in silence.

What a link tells that cannot be is said at the top of the page, above the answer, wherever it is noticed: the form that
asks for it may be folded. A number that cannot be used is said beneath its field; a screen that asks for numbers gives
no answer while there is one (``refusal``), and its link goes on telling what was typed (``in_link``).

Held for the run that draws the page, as in ``days``: nothing that one viewer told wrong reaches another.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import NoReturn

import streamlit as st

import forecaster
from words import plain

NO_ANSWER = "No answer yet: a number cannot be used"
TO_UNFOLD = "form to unfold"  # in the session: what the next run opens
SAID = "said at the top"  # in the session: what this run, or the last one, said
AGAIN = "say it again"  # in the session: the program itself draws the page anew, before anybody can have read it


class NumbersRefused(forecaster.WrongUsage):
    """Numbers were typed, or told by the link, that cannot be used; the message names each field and its remedy."""


@dataclass(frozen=True)
class _Refused:
    """What stands in a field that cannot be used: the field's label, its text, why and what to write instead."""

    asks: str
    typed: str
    why: str


@dataclass
class _Run:
    """What was told wrong so far in the run that draws this page."""

    top: st.delta_generator.DeltaGenerator
    said: list[str] = field(default_factory=list)
    refused: dict[str, _Refused] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many things were told wrong."""
        return len(self.said) + len(self.refused)


_run: ContextVar[_Run] = ContextVar("told wrong")


def begin() -> None:
    """Nothing is wrong so far, and here is the top of the page: for the router, before it runs a screen."""
    if (form := st.session_state.pop(TO_UNFOLD, None)) is not None:
        st.session_state[form] = True
    said = st.session_state.get(SAID, []) if st.session_state.pop(AGAIN, False) else []
    run = _Run(st.container())
    _run.set(run)
    st.session_state[SAID] = run.said
    for sentence in said:
        say_at_top(sentence)


def say_at_top(sentence: str) -> None:
    """Say what the link tells wrong, in Markdown, above the answer; once, however often it is noticed."""
    run = _run.get()
    if sentence not in run.said:
        run.said.append(sentence)
        run.top.warning(sentence)


def refuse_field(name: str, asks: str, typed: str, why: str) -> None:
    """Keep in mind that a field cannot be used. `name`: in the link; `asks`: its label; `why`: with the remedy."""
    _run.get().refused[name] = _Refused(asks, typed, why)


def refusal() -> NumbersRefused | None:
    """Why there can be no answer, field by field; None where every number can be used."""
    refused = _run.get().refused.values()
    return NumbersRefused(" ".join(f"{one.asks}: {one.why}" for one in refused)) if refused else None


def in_link() -> dict[str, list[str]]:
    """The fields that cannot be used as the link tells them: as typed, so that they are refused there too."""
    return {name: [one.typed] for name, one in _run.get().refused.items()}


def show_refusal(place: st.delta_generator.DeltaGenerator, refused: forecaster.WrongUsage) -> None:
    """Say in the answer's place why there is none."""
    with place:
        st.title(NO_ANSWER, anchor=False)
        st.error(plain(refused), icon=":material/info:")


@contextmanager
def unfolding(form: str) -> Iterator[None]:
    """Unfold a form in which something is found to be wrong. `form`: the session's name for whether it is open."""
    before = _run.get().count
    try:
        yield
    finally:
        if _run.get().count > before:
            unfold(form)


def unfold(form: str) -> None:
    """Draw the page anew with the form open, where it is not."""
    if not st.session_state.get(form, False):
        st.session_state[TO_UNFOLD] = form
        draw_anew()


def draw_anew() -> NoReturn:
    """Draw the page anew where no viewer asked for it: what is said at its top goes on being said."""
    st.session_state[AGAIN] = True
    st.rerun()
