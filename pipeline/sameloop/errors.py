"""Errors that are the user's to mend; each is one clear sentence and exit code 2.

::

    SameloopError
     ├── RideFileError        a ride file cannot be read
     ├── StudyError           study.toml is wrong
     ├── WeatherError         a weather log, METAR or value is wrong
     ├── LapMatchError        no loop or no laps can be found
     └── NotEnoughDataError   the laps are too few to answer

Mistakes of a programmer calling the package stay ``ValueError`` and ``TypeError``.
"""

from __future__ import annotations

from sameloop.plain_text import plain

_LONGEST = 500


class SameloopError(Exception):
    """Base of all errors that the user can mend: what was found, where, and what to do.

    What a file says may stand in the message, so that only plain letters get through: neither
    a line break nor the codes that command a terminal.
    """

    def __init__(self, message: str) -> None:
        super().__init__(plain(" ".join(message.split())))


def _brief(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


class RideFileError(SameloopError):
    """A ride file cannot be read.

    Parameters
    ----------
    file : str
        The file as the user named it.
    problem : str
        What is wrong and where in the file.
    remedy : str
        What to do about it.
    """

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {_brief(problem)}; {_brief(remedy)}.")
        self.file, self.problem, self.remedy = file, problem, remedy


class StudyError(SameloopError):
    """study.toml is wrong: names the file, the key, what is wrong and what to do."""

    def __init__(self, file: str, place: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {place}: {_brief(problem)}; {_brief(remedy)}.")
        self.file, self.place, self.problem, self.remedy = file, place, problem, remedy


class WeatherError(SameloopError):
    """A weather log, METAR text or weather value is wrong."""

    def __init__(self, file: str, place: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {place}: {_brief(problem)}; {_brief(remedy)}.")
        self.file, self.place, self.problem, self.remedy = file, place, problem, remedy


class LapMatchError(SameloopError):
    """No loop, or no full lap of it, can be found in the rides."""


class NotEnoughDataError(SameloopError):
    """The laps left are too few for an answer.

    Parameters
    ----------
    message : str
        One sentence.
    laps, needed : int
        Laps found and laps needed.
    """

    def __init__(self, message: str, *, laps: int, needed: int) -> None:
        super().__init__(message)
        self.laps, self.needed = laps, needed
