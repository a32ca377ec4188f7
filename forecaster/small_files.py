"""Small files of keys and values that people keep, TOML and JSON: their content, or a plain refusal.

Neither parser of Python was made for files that are not meant well: numbers of thousands of digits, deep nesting and
chains of thousands of keys stop it with errors of other kinds, or for an hour.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any, NoReturn

from forecaster.regular_files import NotReadable, regular_content
from forecaster.shown_values import MOST_SHOWN, shortened

MOST_BYTES = 200_000  # forty times the largest that the forecaster writes; more takes the parsers seconds
MOST_POINTS = 100  # on one line outside of comments: each parts one key from the next, and time goes with their square
_TOO_DEEP = "brackets are nested too deeply. Such a file was not meant for this"
_TOO_LONG = "a whole number has thousands of digits. Correct it"


class NotUsable(ValueError):
    """Why a file cannot be used and what to do, to be said after its name."""


def read_small_text(path: str | Path) -> str:
    """A file's text. Raises NotUsable where it is no regular file, too large, cannot be opened, or is no UTF-8 text."""
    try:
        content = regular_content(path, MOST_BYTES, "No such file is so long: give the right one.")
    except NotReadable as error:
        raise NotUsable(str(error)) from error
    return small_text(content)


def small_text(content: bytes) -> str:
    """The text of a file's bytes; a byte order mark is left out. Raises NotUsable likewise."""
    if len(content) > MOST_BYTES:
        raise NotUsable(f"the file has more than {MOST_BYTES:,} bytes. No such file is so long: give the right one.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotUsable(f"byte {error.start + 1:,} is no UTF-8 text. Save the file as UTF-8.") from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise NotUsable(f"line {line:,} holds a NUL character. Save the file as UTF-8, or type that line anew.")
    return text


def read_toml(text: str) -> dict[str, Any]:
    """The keys of a TOML text. Raises NotUsable where it is none, or holds what no such file needs."""
    _refuse_long(text)
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") > MOST_POINTS and not line.lstrip().startswith("#"):
            raise NotUsable(f"line {number:,} has more than {MOST_POINTS} points. Mend that line.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise NotUsable(f"not valid TOML: {_short(error)}. Mend that line; text values need quotes.") from error
    except RecursionError:
        raise NotUsable(f"not valid TOML: {_TOO_DEEP}.") from None
    except ValueError:  # Python's limit to the digits of a number
        raise NotUsable(f"not valid TOML: {_TOO_LONG}.") from None


def read_json(text: str) -> Any:
    """What a JSON text says. Raises NotUsable where it is none, names a key twice, or holds NaN or infinity."""
    _refuse_long(text)
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
    except NotUsable:
        raise
    except json.JSONDecodeError as error:
        raise NotUsable(f"not JSON: {_short(error)}. Mend that line.") from error
    except RecursionError:
        raise NotUsable(f"not JSON: {_TOO_DEEP}.") from None
    except ValueError:
        raise NotUsable(f"not JSON: {_TOO_LONG}.") from None


def _refuse_long(text: str) -> None:
    if len(text) > MOST_BYTES:
        raise NotUsable(f"the text has more than {MOST_BYTES:,} characters. No such file is so long.")


def _short(error: ValueError) -> str:
    """What a parser says, which may repeat a key of any length; where in the file stands at its end."""
    said = str(error)
    return said if len(said) <= 3 * MOST_SHOWN else f"{said[:MOST_SHOWN]} ... {said[-MOST_SHOWN:]}"


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise NotUsable(f"{shortened(key)} is there twice. Keep one of them.")
        found[key] = value
    return found


def _no_number(text: str) -> NoReturn:
    raise NotUsable(f"{text} is not a number. Correct it.")
