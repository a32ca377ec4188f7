"""Experience files: what one fleet taught, carried to another without its records."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from forecaster.errors import SourceError
from forecaster.experience import experience_of, pooled_experience, read_experience, save_experience
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.priors import PARAMETERS, read_priors
from tests.calibration import drawn_fleet


@pytest.fixture(scope="module")
def fit() -> TwoStageFit:
    _, histories = drawn_fleet(np.random.default_rng(3), read_priors(), 60)
    return fit_two_stage(histories)


@pytest.fixture
def saved(fit: TwoStageFit, tmp_path: Path) -> Path:
    path = tmp_path / "bench.json"
    save_experience(fit, path)
    return path


def test_a_saved_experience_comes_back_as_the_posterior_widened_by_the_spread_between_fleets(
    fit: TwoStageFit, saved: Path
) -> None:
    prior = read_experience(saved)
    np.testing.assert_allclose(prior.mean, fit.theta.mean(axis=0))
    own = np.cov(fit.theta, rowvar=False)
    np.testing.assert_allclose(prior.covariance, own + 0.25**2 * np.eye(len(PARAMETERS)))


def test_no_craft_owner_or_date_is_in_it(fit: TwoStageFit) -> None:
    given = experience_of(fit)
    assert set(given) == {"format", "version", "lives", "failures", "parameters", "mean", "covariance"}
    text = json.dumps({k: v for k, v in given.items() if k not in ("parameters", "format")})
    assert not any(
        letter.isalpha()
        for letter in text.replace("version", "")
        .replace("lives", "")
        .replace("failures", "")
        .replace("mean", "")
        .replace("covariance", "")
        .replace("e-", "")
    )


def test_experience_narrows_what_a_fleet_without_lives_is_told(fit: TwoStageFit, saved: Path) -> None:
    _, histories = drawn_fleet(np.random.default_rng(3), read_priors(), 1)
    none = histories.select(np.array([False]))
    general, taught = fit_two_stage(none), fit_two_stage(none, prior=read_experience(saved))
    assert taught.theta[:, 1].std() < general.theta[:, 1].std()


def test_pooling_no_fleet_is_the_general_prior() -> None:
    np.testing.assert_array_equal(pooled_experience([]).mean, read_priors().mean)


def test_pooling_more_fleets_narrows_but_never_below_the_spread_between_fleets(fit: TwoStageFit) -> None:
    one, three = pooled_experience([fit]), pooled_experience([fit, fit, fit])
    assert (np.diag(three.covariance) <= np.diag(one.covariance) + 1e-9).all()
    assert (np.diag(three.covariance) >= 0.25**2).all()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda given: given | {"format": "something else"}, "not an experience file"),
        (lambda given: given | {"version": 99}, "version 99"),
        (lambda given: given | {"parameters": ["a"]}, "parameters"),
        (lambda given: given | {"mean": given["mean"][:-1]}, "13 numbers"),
        (lambda given: given | {"mean": ["x"] * 13}, "not a number"),
        (lambda given: given | {"covariance": (-np.eye(13)).tolist()}, "the variance of log_shape_1 must be between"),
        (lambda given: given | {"covariance": (2 * np.eye(13) - np.ones((13, 13))).tolist()}, "negative"),
    ],
)
def test_a_damaged_file_is_refused_with_its_reason(saved: Path, change, told: str) -> None:  # type: ignore[no-untyped-def]
    saved.write_text(json.dumps(change(json.loads(saved.read_text()))))
    with pytest.raises(SourceError, match=told):
        read_experience(saved)


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe\x00", b"[1, 2]"])
def test_what_is_no_experience_at_all_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.json"
    path.write_bytes(content)
    with pytest.raises(SourceError, match=r"x\.json"):
        read_experience(path)


def test_a_file_that_is_nowhere_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="cannot be opened"):
        read_experience(tmp_path / "nowhere.json")


def test_it_is_written_into_a_folder_that_is_made(fit: TwoStageFit, tmp_path: Path) -> None:
    save_experience(fit, tmp_path / "new" / "bench.json")
    assert read_experience(tmp_path / "new" / "bench.json")


def test_a_place_below_a_file_cannot_be_written(fit: TwoStageFit, saved: Path) -> None:
    with pytest.raises(SourceError, match="cannot be written"):
        save_experience(fit, saved / "bench.json")
