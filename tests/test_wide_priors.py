"""Priors far and wide: an answer or a plain refusal, and never a numerical error."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecaster.errors import ModelError, SettingsError, SourceError
from forecaster.experience import experience_of, pooled_experience, read_experience
from forecaster.learning import fit_two_stage
from forecaster.posterior import LEAST_EIGENVALUE, inverse, well_conditioned
from forecaster.priors import PARAMETERS, RANGES, on_its_scale, read_priors, within_range
from tests.bare_lives import BareLife, histories_of, theta
from tests.wide_priors import KINDS, outcome, priors_toml, small_fleet

P = len(PARAMETERS)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(20))
def test_every_prior_ends_in_an_answer_or_in_a_refusal_by_name(kind: str, seed: int, tmp_path: Path) -> None:
    outcome(kind, seed, tmp_path, thoroughly=seed == 0)


def test_a_posterior_that_could_only_be_walked_says_how_much_its_draws_are_worth() -> None:
    _, histories = small_fleet()
    wide = replace(read_priors(), covariance=np.eye(P) * 1e6)
    fit = fit_two_stage(histories, prior=wide)
    assert fit.draws.method == "Metropolis walks"
    assert fit.evidence.effective_sample < len(fit.theta)
    assert f"worth about {fit.evidence.effective_sample} independent draws" in fit.evidence.remarks[0]


def test_without_a_life_the_answer_is_the_priors_within_its_ranges() -> None:
    none = histories_of(BareLife(10.0)).select(np.array([False]))
    fit = fit_two_stage(none, prior=replace(read_priors(), covariance=np.eye(P) * 1e6))
    np.testing.assert_array_equal(within_range(fit.theta), fit.theta)
    risk = fit.chance_of_failing(histories_of(BareLife(100.0, incidents=[(50.0, "none")])), np.array([50.0]))
    assert np.isfinite(risk).all()


def test_the_medians_of_the_package_lie_far_within_the_ranges() -> None:
    prior = read_priors()
    sd = np.sqrt(np.diag(prior.covariance))
    for sign in (-1, 1):
        np.testing.assert_array_equal(within_range(prior.mean + sign * 5 * sd), prior.mean + sign * 5 * sd)
    np.testing.assert_array_equal(within_range(theta()), theta())


# --- covariances -----------------------------------------------------------------------------------------------------


def test_a_sound_covariance_is_left_as_it_is() -> None:
    covariance = np.diag([1e-6, 1.0, 1e6])
    assert well_conditioned(covariance) is covariance


def test_a_singular_covariance_can_be_inverted_and_hardly_moves() -> None:
    sd = np.array([1e-3, 1.0, 1e3])
    singular = np.outer(sd, sd)
    held = well_conditioned(singular)
    np.testing.assert_allclose(held / sd / sd[:, None], 1.0, atol=3 * LEAST_EIGENVALUE)
    np.testing.assert_allclose(inverse(held) @ held * sd[:, None] / sd, np.eye(3), atol=1e-6)


@pytest.mark.parametrize("value", [np.nan, np.inf, -1.0, 0.0])
def test_what_is_no_covariance_is_refused(value: float) -> None:
    with pytest.raises(ModelError, match="covariance"):
        well_conditioned(np.diag([1.0, value]))


# --- files -----------------------------------------------------------------------------------------------------------

Given = dict[str, Any]


def changed(section: str, key: str, **parts: object) -> Callable[[Given], Given]:
    def change(given: Given) -> Given:
        given[section][key] |= parts
        return given

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            changed("sound_to_defective", "scale_h", median=1e9),
            r"\[sound_to_defective\] scale_h: median must be between",
        ),
        (changed("sound_to_defective", "shape", spread=1000.0), "shape: spread must be between 0.001 and 5, not 1000"),
        (changed("sound_to_defective", "shape", spread=0.0), "shape: spread must be between"),
        (changed("water", "lasting_log_ratio", sd=-1.0), "lasting_log_ratio: sd must be between"),
        (changed("spin_check", "sensitivity", median=1.0), "sensitivity: median must be between"),
        (changed("spin_check", "sensitivity", median=0.0), "sensitivity: median must be between"),
        (changed("noticed", "rate_per_h", median="often"), "rate_per_h: median must be a number, not 'often'"),
        (
            changed("water", "share_untreated_if_late", value=60),
            "share_untreated_if_late: value must be between 0 and 1",
        ),
        (changed("water", "oil_water", reference_ppm=0.0), "oil_water: reference_ppm must be between"),
        (changed("water", "oil_water", tested_ppm=[25.0]), "oil_water: tested_ppm must be two numbers"),
        (changed("water", "oil_water", tested_ppm="25"), "oil_water: tested_ppm must be a list of numbers"),
        (changed("unknown_start", "ages_h", values=[]), "ages_h: values must be a list of numbers"),
        (changed("unknown_start", "ages_h", values=[-5.0]), "ages_h: values must be between 0 and"),
        (changed("unknown_covariate", "salt", value=float("nan")), "salt: value must be a number"),
        (changed("between_fleets", "spread", value=0.0), "spread: value must be between 0.01 and 5"),
        (lambda given: given | {"water": 3}, r"\[water\] .* is missing"),
    ],
)
def test_a_priors_file_out_of_range_is_refused_with_section_key_value_and_remedy(
    change: Callable[[Given], Given], told: str, tmp_path: Path
) -> None:
    given = tomllib.loads(resources.files("forecaster").joinpath("priors.toml").read_text("utf-8"))
    path = tmp_path / "mine.toml"
    path.write_text(written(change(given)), "utf-8")
    with pytest.raises(SettingsError, match=told) as refusal:
        read_priors(path)
    assert str(path) in str(refusal.value)


def written(given: Given) -> str:
    lines = []
    for section, entries in sorted(given.items(), key=lambda item: isinstance(item[1], dict)):
        if not isinstance(entries, dict):
            lines.append(f"{section} = {entries}")
            continue
        lines.append(f"[{section}]")
        for key, entry in entries.items():
            cells = (f"{part} = {json.dumps(value).replace('NaN', 'nan')}" for part, value in entry.items())
            lines.append(f"{key} = {{ {', '.join(cells)} }}")
    return "\n".join(lines)


def test_a_copy_of_the_priors_reads_as_they_are(tmp_path: Path) -> None:
    prior = read_priors()
    path = tmp_path / "mine.toml"
    path.write_text(priors_toml(prior.mean, np.sqrt(np.diag(prior.covariance))), "utf-8")
    np.testing.assert_allclose(read_priors(path).mean, prior.mean)
    np.testing.assert_allclose(read_priors(path).covariance, prior.covariance)


def test_an_experience_that_says_one_thing_of_two_parameters_is_taken(tmp_path: Path) -> None:
    _, histories = small_fleet()
    given = experience_of(fit_two_stage(histories))
    sd = np.full(P, 0.3)
    given["covariance"] = np.outer(sd, sd).tolist()
    path = tmp_path / "twins.json"
    path.write_text(json.dumps(given))
    fit = fit_two_stage(histories, prior=read_experience(path))
    assert np.isfinite(fit.theta).all()


@pytest.mark.parametrize(
    ("place", "value", "told"),
    [("mean", 40.0, "the mean of log_scale_1_h must be between"), ("variance", 400.0, "the variance of log_scale_1_h")],
)
def test_an_experience_out_of_range_is_refused_by_its_parameter(
    place: str, value: float, told: str, tmp_path: Path
) -> None:
    given = experience_of(fit_two_stage(small_fleet()[1]))
    mean, covariance = np.array(given["mean"]), np.array(given["covariance"])
    at = PARAMETERS.index("log_scale_1_h")
    if place == "mean":
        mean[at] = value
    else:
        covariance[at, at] = value
    path = tmp_path / "odd.json"
    path.write_text(json.dumps(given | {"mean": mean.tolist(), "covariance": covariance.tolist()}))
    with pytest.raises(SourceError, match=told):
        read_experience(path)


def test_experience_of_a_fleet_that_settled_a_parameter_can_be_pooled() -> None:
    fit = fit_two_stage(small_fleet()[1])
    settled = fit.theta.copy()
    settled[:, 0] = on_its_scale("log_shape_1", RANGES["log_shape_1"][1])
    pooled = pooled_experience([replace(fit, draws=replace(fit.draws, theta=settled))])
    assert np.isfinite(pooled.mean).all()
    assert np.isfinite(pooled.covariance).all()
