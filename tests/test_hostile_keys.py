"""Files of keys and values that are not meant well: at every key of every file a good reading, or a plain refusal.

A refusal names the file, the key, the value (shortened) and what to do; nothing else is ever raised.
"""

from __future__ import annotations

import json
import math
import os
import tomllib
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecaster.errors import SettingsError, SourceError
from forecaster.experience import FORMAT, VERSION, read_experience
from forecaster.priors import PARAMETERS, Prior, read_priors
from forecaster.raw_tables import UnreadableFile
from forecaster.reading import read_fleet
from forecaster.settings import FleetSettings, read_settings, settings_of
from forecaster.settings_sheet import settings_in_rows
from forecaster.small_files import MOST_BYTES
from tests.hostile_values import CELLS, FILES, JSON, TOML, is_plain, written
from tests.small_fleet import TODAY, small_fleet_folder

Sections = dict[str, dict[str, Any]]
DEFAULTS: Sections = {name: value for name, value in FleetSettings().model_dump().items() if isinstance(value, dict)}
TOP = [name for name, value in FleetSettings().model_dump().items() if not isinstance(value, dict)]
KEYS = [("", name) for name in (*TOP, *DEFAULTS)] + [(s, key) for s, keys in DEFAULTS.items() for key in keys]
PRIORS_TEXT = resources.files("forecaster").joinpath("priors.toml").read_text("utf-8")
PRIORS: Sections = tomllib.loads(PRIORS_TEXT)
PLACES = [(s, key, part) for s, keys in PRIORS.items() for key, parts in keys.items() for part in parts]


def every_number(value: object) -> Iterator[float]:
    if isinstance(value, dict):
        for one in value.values():
            yield from every_number(one)
    elif isinstance(value, (int, float)):
        assert not isinstance(value, bool)
        yield value


# --- fleet.toml -------------------------------------------------------------------------------------------------------


def good_settings(read: Callable[[], FleetSettings], *named: str) -> None:
    """What is read is within the ranges, or the refusal names the file and, where a key is at fault, the key."""
    try:
        settings = read()
    except SettingsError as refusal:
        told = str(refusal)
        is_plain(told)
        assert told.startswith("fleet.toml: ")
        if "not valid TOML" not in told:
            assert all(name in told for name in named if name)
        return
    numbers = list(every_number(settings.model_dump()))
    assert all(math.isfinite(number) and 0 <= number <= 1e11 for number in numbers)
    assert all(math.copysign(1.0, number) == 1.0 for number in numbers)
    assert FleetSettings.model_validate(settings.model_dump(exclude_none=True)) == settings


@pytest.mark.parametrize(("section", "key"), KEYS)
def test_every_key_of_fleet_toml_with_every_hostile_value(section: str, key: str) -> None:
    for value in TOML:
        text = f"[{section}]\n{key} = {value}\n" if section else f"{key} = {value}\n"
        good_settings(lambda text=text: read_settings(text), section, key)  # type: ignore[misc]


@pytest.mark.parametrize("content", FILES, ids=range(len(FILES)))
def test_a_fleet_toml_that_is_none_stops_the_answer_in_plain_words(tmp_path: Path, content: bytes) -> None:
    folder = small_fleet_folder(tmp_path / "fleet")
    (folder / "fleet.toml").write_bytes(content)
    for problem in read_fleet(folder, TODAY).problems:
        is_plain(str(problem))
        assert problem.file == "fleet.toml"


@pytest.mark.parametrize("value", ["true", "false", '"650"', "[650]"])
def test_what_is_no_number_is_not_taken_for_one(value: str) -> None:
    with pytest.raises(SettingsError, match=r"costs\.rebuild = .*: must be an amount of money from 0 to 1,000,000,000"):
        read_settings(f"[costs]\nrebuild = {value}")
    with pytest.raises(SettingsError, match=r"stock\.kits = .*: must be a whole number of kits from 0 to 100,000"):
        read_settings(f"[stock]\nkits = {value}")


def test_a_key_of_any_length_is_shortened() -> None:
    with pytest.raises(SettingsError, match=r"^fleet.toml: x{60}\.\.\. \(50,000 characters\) is not a known key"):
        read_settings(f"{'x' * 50_000} = 1")


def test_a_currency_is_printed_on_every_page_and_so_must_be_printable() -> None:
    assert read_settings('currency = " kr "').currency == "kr"
    for text in ('"\\u202E"', '"a\\tb"', '"   "', '"\\u001B[31m"'):
        with pytest.raises(SettingsError, match=r"currency = .*: must be letters or signs that can be printed"):
            read_settings(f"currency = {text}")


# --- the sheet fleet of a workbook ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("section", "key"), KEYS)
def test_every_key_of_the_sheet_fleet_with_every_hostile_cell(section: str, key: str) -> None:
    name = f"{section}.{key}" if section else key
    for cell in CELLS:
        given, _ = settings_in_rows([["key", "value"], [name, cell]])
        good_settings(lambda given=given: settings_of(given), section, key)  # type: ignore[misc]


def test_numbers_typed_as_texts_count_in_a_sheet_and_true_does_not() -> None:
    given, _ = settings_in_rows([["costs.rebuild", "650.5"], ["currency", "123"]])
    settings = settings_of(given)
    assert (settings.costs.rebuild, settings.currency) == (650.5, "123")
    with pytest.raises(SettingsError, match="must be an amount of money"):
        settings_of(settings_in_rows([["costs.rebuild", True]])[0])


@pytest.mark.parametrize("rows", [[["costs", 5], ["costs.rebuild", 5]], [["costs.rebuild", 5], ["costs", 5]]])
def test_a_section_that_is_a_key_too_is_refused_with_its_row(rows: list[list[object]]) -> None:
    with pytest.raises(UnreadableFile, match=r"row 2: costs.*a section and a key"):
        settings_in_rows(rows)


# --- priors -----------------------------------------------------------------------------------------------------------


def priors_with(section: str, key: str, part: str, value: str) -> str:
    """The package's priors.toml with one part of one entry written otherwise."""
    lines = []
    for name, entries in PRIORS.items():
        lines.append(f"[{name}]")
        for entry, parts in entries.items():
            told = ", ".join(
                f"{p} = {value if (name, entry, p) == (section, key, part) else json.dumps(v)}"
                for p, v in parts.items()
            )
            lines.append(f"{entry} = {{ {told} }}")
    return "\n".join(lines)


def good_prior(read: Callable[[], Prior], file: Path, *named: str) -> None:
    try:
        prior = read()
    except (SettingsError, SourceError) as refusal:
        told = str(refusal)
        is_plain(told.replace(str(file), file.name))
        assert told.startswith(f"{file}: ")
        if "not valid TOML" not in told:
            assert all(name in told for name in named)
        return
    for numbers in (prior.mean, prior.covariance, prior.starting_ages_h, list(prior.unknown_share.values())):
        assert np.isfinite(numbers).all()
    assert all(0 <= share <= 1 for share in (*prior.unknown_share.values(), *prior.untreated_share.values()))
    assert np.linalg.eigvalsh(prior.covariance)[0] > 0


@pytest.mark.parametrize(("section", "key", "part"), PLACES)
def test_every_number_of_priors_toml_with_every_hostile_value(
    section: str, key: str, part: str, tmp_path: Path
) -> None:
    for value in TOML:
        file = written(tmp_path / "mine.toml", priors_with(section, key, part, value).encode())
        good_prior(lambda file=file: read_priors(file), file, section, key)  # type: ignore[misc]


@pytest.mark.parametrize(("section", "key"), [(s, key) for s, keys in PRIORS.items() for key in keys])
@pytest.mark.parametrize("value", ["true", "5", "[]", "{}", '"x"', "nan", None])
def test_every_entry_of_priors_toml_may_be_anything_or_nothing(
    section: str, key: str, value: str | None, tmp_path: Path
) -> None:
    lines = []
    for name, entries in PRIORS.items():
        lines.append(f"[{name}]")
        for entry, parts in entries.items():
            told = f"{{ {', '.join(f'{p} = {json.dumps(v)}' for p, v in parts.items())} }}"
            if (name, entry) == (section, key):
                lines += [] if value is None else [f"{entry} = {value}"]
            else:
                lines.append(f"{entry} = {told}")
    with pytest.raises(SettingsError, match=rf"\[{section}\] {key}.*copy that line from the package's priors.toml"):
        read_priors(written(tmp_path / "mine.toml", "\n".join(lines).encode()))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[watre]\n", "watre is not a known key. The nearest known key is water"),
        ("[water]\njump = { median = 1 }\n", r"\[water\] jump is not a known key"),
        ("[noticed]\nrate_per_h = { mean = 1 }\n", r"\[noticed\] rate_per_h: mean is not a known key.*median"),
    ],
)
def test_a_slip_of_the_pen_in_priors_toml_is_not_passed_over(text: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=told):
        read_priors(written(tmp_path / "mine.toml", text.encode()))


def test_starting_ages_are_so_many_at_most(tmp_path: Path) -> None:
    text = priors_with("unknown_start", "ages_h", "values", str([1.0] * 21))
    with pytest.raises(SettingsError, match="must be a list of numbers, 1 to 20 of them"):
        read_priors(written(tmp_path / "mine.toml", text.encode()))


# --- experience -------------------------------------------------------------------------------------------------------

P = len(PARAMETERS)
GOOD: dict[str, Any] = {
    "format": FORMAT,
    "version": VERSION,
    "lives": 40,
    "failures": 20,
    "parameters": list(PARAMETERS),
    "mean": read_priors().mean.tolist(),
    "covariance": np.diag(np.full(P, 0.04)).tolist(),
}


def experience_with(value: str, *place: str | int) -> str:
    """A good file as text, with what stands at a place written otherwise."""
    given = json.loads(json.dumps(GOOD))
    inner = given
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = "HERE"
    return json.dumps(given).replace('"HERE"', value)


@pytest.mark.parametrize(
    "place", [*((key,) for key in GOOD), ("mean", 3), ("covariance", 2), ("covariance", 2, 2), ("covariance", 2, 4)]
)
def test_every_place_of_an_experience_file_with_every_hostile_value(
    place: tuple[str | int, ...], tmp_path: Path
) -> None:
    for value in JSON:
        file = written(tmp_path / "bench.json", experience_with(value, *place).encode())
        good_prior(lambda file=file: read_experience(file), file)  # type: ignore[misc]


@pytest.mark.parametrize("key", GOOD)
def test_a_key_that_is_missing_from_an_experience_file_is_named_or_its_kind_is(key: str, tmp_path: Path) -> None:
    file = written(tmp_path / "bench.json", json.dumps({k: v for k, v in GOOD.items() if k != key}).encode())
    with pytest.raises(SourceError, match="not an experience file" if key == "format" else key):
        read_experience(file)


@pytest.mark.parametrize(
    ("value", "place", "told"),
    [
        ("true", ("mean", 0), "true is not a number that can stand there"),
        ('"1.5"', ("mean", 0), "'1.5' is not a number"),
        ("true", ("version",), "version true of the format"),
        ("true", ("lives",), "lives must be a whole number of lives"),
        ("41", ("failures",), "failures must be at most the lives, 40, not 41"),
        ("1e300", ("covariance", 2, 4), "1e[+]300 is not a number that can stand there"),
        ("50", ("covariance", 2, 4), "not symmetric, or negative"),
        ("9" * 400, ("mean", 1), "a whole number of some 400 digits is not a number"),
        ("NaN", ("mean", 1), "NaN is not a number. Correct it"),
        ('{"lives": 1, "lives": 2}', ("lives",), "lives is there twice"),
    ],
)
def test_an_impossible_experience_is_refused_with_its_reason(
    value: str, place: tuple[str | int, ...], told: str, tmp_path: Path
) -> None:
    with pytest.raises(SourceError, match=told):
        read_experience(written(tmp_path / "bench.json", experience_with(value, *place).encode()))


# --- whole files ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("read", [read_priors, read_experience])
@pytest.mark.parametrize("content", FILES, ids=range(len(FILES)))
def test_a_file_that_is_none_is_refused_by_name(read: Callable[[Path], Prior], content: bytes, tmp_path: Path) -> None:
    file = written(tmp_path / "mine", content)
    with pytest.raises(SourceError) as refused:
        read(file)
    assert str(refused.value).startswith(f"{file}: ")
    is_plain(str(refused.value).replace(str(file), "mine"))


@pytest.mark.parametrize("read", [read_priors, read_experience])
def test_what_is_no_file_is_refused_at_once(read: Callable[[Path], Prior], tmp_path: Path) -> None:
    places = [tmp_path, tmp_path / "nowhere", Path("mine\0"), tmp_path / ("x" * 5_000)]
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")  # a reader would wait for ever
        places += [tmp_path / "pipe", Path(os.devnull)]
    for place in places:
        with pytest.raises(SourceError, match="cannot be opened"):
            read(place)


@pytest.mark.parametrize("read", [read_priors, read_experience])
def test_a_file_that_is_too_large_is_not_read_to_its_end(read: Callable[[Path], Prior], tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=f"at most {MOST_BYTES:,} bytes are read"):
        read(written(tmp_path / "mine", b"#" * (MOST_BYTES + 1)))


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    bom = b"\xef\xbb\xbf"
    mine = read_priors(written(tmp_path / "mine.toml", bom + PRIORS_TEXT.encode()))
    np.testing.assert_array_equal(mine.mean, read_priors().mean)
    read_experience(written(tmp_path / "bench.json", bom + json.dumps(GOOD).encode()))
