"""No fleet is refused for its meter readings: a few of the drawn fleets of ``usage_study``, which asks 2,000."""

from __future__ import annotations

import numpy as np
import pytest

from tests.usage_study import ODD, READ, SEASONS, drawn_kind, one_fleet


@pytest.mark.parametrize("first", [10_000, 10_010, 10_020, 10_030])
def test_no_drawn_fleet_is_refused_and_all_numbers_make_sense(first: int) -> None:
    for seed in range(first, first + 10):
        _, kind, wrong, _ = one_fleet(seed)
        assert wrong == [], f"fleet {seed}, {', '.join(kind)}"


def test_the_study_draws_every_kind_of_season_reading_and_oddity() -> None:
    kinds = [drawn_kind(np.random.default_rng(seed)) for seed in range(300)]
    for place, every in enumerate((SEASONS, READ, ODD)):
        assert {kind[place] for kind in kinds} == set(every)
