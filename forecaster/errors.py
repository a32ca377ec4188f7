"""Refusals: every error that the forecaster raises on purpose.

    ForecasterError                 something the user can mend; faces print the message, never a traceback
    |-- WrongUsage                  the question itself is off (a unit that is nowhere, a negative horizon)
    |-- SourceError                 the source cannot be read at all (no such folder, not a workbook)
    |   `-- SettingsError           fleet.toml is wrong (unknown key, impossible value)
    `-- DataStopsAnswer             the records were read, but what is missing would make the answer wrong
    `-- ModelError                  the model cannot be fitted or asked this

``exit_status`` is what the command returns: 1 where the data stops the answer, 2 where the usage is wrong.
"""

from __future__ import annotations


class ForecasterError(Exception):
    """Base of all refusals. The message says where, what was expected, what came and what to do."""

    exit_status = 1

    @property
    def message(self) -> str:
        """The message as it was given: also where it keeps its days apart (``written_days.DatedText``)."""
        return str(self) if not self.args or not isinstance(self.args[0], str) else self.args[0]


class WrongUsage(ForecasterError):
    """The question is off: a unit that is nowhere, a negative number of hours, an unknown option value."""

    exit_status = 2


class SourceError(ForecasterError):
    """The source cannot be opened or is not a fleet."""


class SettingsError(SourceError):
    """fleet.toml holds a key or a value that cannot be used."""


class DataStopsAnswer(ForecasterError):
    """The records are readable, but what is missing or refused would make the answer wrong."""


class ModelError(ForecasterError):
    """The life model cannot be fitted to these lives, or cannot answer this question."""
