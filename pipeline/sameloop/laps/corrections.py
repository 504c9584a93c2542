"""What the rider says about single laps: kept beside study.toml, honoured by every command."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import tomlkit

from sameloop.errors import SameloopError
from sameloop.files import alone, cannot_write, check_unchanged, read_small, write_file
from sameloop.laps.lap import BY_HAND, Lap, LapSet
from sameloop.study import Study
from sameloop.study_file import CORRECTIONS_FILE
from sameloop.toml_keys import Choice, Key, Text, Time, TomlSource, Whole, show

LEAVE_OUT, ASSIGN = "leave_out", "assign"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One thing said about one lap.

    Parameters
    ----------
    ride : str
        File, as in study.toml.
    lap : int
        Its number when it was corrected, for those who read the file.
    at : float
        A time inside the lap [s, Unix]. Laps are found by it, because numbers move when rides are
        added or a start line shifts.
    action : str
        ``leave_out`` or ``assign``.
    setup : str or None
        Setup id to assign.
    reason : str
        The rider's own words.
    made : float
        When it was said [s, Unix].
    """

    ride: str
    lap: int
    at: float
    action: str
    reason: str
    made: float
    setup: str | None = None


_KEYS = {
    "ride": Key("ride", Text(), missing="name the ride file"),
    "lap": Key("lap", Whole(), missing="write the number of the lap"),
    "at": Key("at", Time(), missing="write a time inside the lap"),
    "action": Key("action", Choice((LEAVE_OUT, ASSIGN)), missing="write leave_out or assign"),
    "setup": Key("setup", Text()),
    "reason": Key("reason", Text(), missing="say why"),
    "made": Key("made", Time(), missing="write when this was decided"),
}


def read_corrections(folder: Path) -> tuple[Correction, ...]:
    """Read the corrections beside a study.toml; none where there is no such file.

    Raises
    ------
    StudyError
        The file is not TOML, or a value in it cannot be used.
    """
    path = folder / CORRECTIONS_FILE
    source = TomlSource(str(path))
    try:
        raw = tomllib.loads(read_small(path))
    except FileNotFoundError:
        return ()
    except (OSError, ValueError, RecursionError) as wrong:
        raise source.error("text", f"it cannot be read ({wrong})", "mend or remove it") from None
    source.known_only(raw, ("corrections",), "")
    corrections = []
    for place, table in source.tables(
        raw.get("corrections", []), "[[corrections]]", "[[corrections]] before each"
    ):
        source.known_only(table, _KEYS, place)
        correction = Correction(**source.values(table, _KEYS, Correction, place))
        if (correction.action == ASSIGN) != (correction.setup is not None):
            raise source.error(
                place, "assign needs a setup and leave_out has none", "name or remove the setup"
            )
        corrections.append(correction)
    return tuple(corrections)


def write_corrections(
    folder: Path, corrections: Sequence[Correction], *, seen: str | None = None
) -> None:
    """Write all corrections of a study; without any, the file goes.

    Parameters
    ----------
    folder : Path
    corrections : sequence of Correction
    seen : str, optional
        `sameloop.files.mark` of the file that the user looked at.

    Raises
    ------
    SameloopError
        The folder cannot be written, or the file is no longer what was `seen`.
    """
    path = folder / CORRECTIONS_FILE
    with alone(folder):
        if seen is not None:
            check_unchanged(path, seen)
        try:
            if corrections:
                write_file(path, _text(corrections))
            else:
                path.unlink(missing_ok=True)
        except OSError as error:
            raise cannot_write(path, error, "check the folder's permissions") from None


def correct_laps(lapset: LapSet, study: Study, corrections: Sequence[Correction]) -> LapSet:
    """Apply what the rider said; the last word about a lap counts.

    Each correction that took effect is told in `LapSet.by_hand`, each whose lap is no more in
    `LapSet.lost`.

    Raises
    ------
    SameloopError
        A correction names a setup that the study does not have.
    """
    rides = [ride.file for ride in study.rides]
    laps = list(lapset.laps)
    by_hand, lost = [], []
    for correction in _last_words(lapset, rides, corrections):
        index = _place(lapset, rides, correction)
        if index is None:
            lost.append(_lost(correction))
            continue
        laps[index] = _corrected(laps[index], study, correction)
        by_hand.append(_said(laps[index], correction))
    return replace(lapset, laps=tuple(laps), by_hand=tuple(by_hand), lost=tuple(lost))


def correction_for(
    lap: Lap, study: Study, *, reason: str, setup: str | None, made: float
) -> Correction:
    """Say of a lap that it belongs to `setup`, or with None that it is to be left out."""
    return Correction(
        ride=study.rides[lap.ride].file,
        lap=max(lap.number, 1),
        at=(lap.start + lap.end) / 2,
        action=LEAVE_OUT if setup is None else ASSIGN,
        setup=setup,
        reason=" ".join(reason.split()),
        made=made,
    )


def _last_words(
    lapset: LapSet, rides: list[str], corrections: Sequence[Correction]
) -> list[Correction]:
    words: dict[object, Correction] = {}
    for correction in corrections:
        key = _place(lapset, rides, correction)
        words[(correction.ride, correction.at) if key is None else key] = correction
    return list(words.values())


def _place(lapset: LapSet, rides: list[str], correction: Correction) -> int | None:
    for index, lap in enumerate(lapset.laps):
        inside = lap.start <= correction.at < lap.end
        if rides[lap.ride] == correction.ride and inside and lap.number > 0:
            return index
    return None


def _corrected(lap: Lap, study: Study, correction: Correction) -> Lap:
    if correction.action == LEAVE_OUT:
        return replace(lap, used=False, reason=f"{BY_HAND}: {correction.reason}")
    if all(setup.id != correction.setup for setup in study.setups):
        raise SameloopError(
            f"{study.folder / CORRECTIONS_FILE}: lap {correction.lap} of {correction.ride} is "
            f"assigned to setup {show(correction.setup)}, which study.toml does not have; undo it."
        )
    # A lap that is no good for the balance stays out, whatever setup it had.
    had_none = lap.setup is None and not lap.used and lap.number > 0 and _on_road(lap)
    used = lap.used or had_none
    return replace(lap, setup=correction.setup, used=used, reason="" if used else lap.reason)


def _on_road(lap: Lap) -> bool:
    return bool((lap.station == lap.station).all())


def _lost(correction: Correction) -> str:
    return (
        f"no full lap of {correction.ride} lies at the time that was corrected as its lap "
        f"{correction.lap} ({correction.reason})"
    )


def _said(lap: Lap, correction: Correction) -> str:
    what = "left out" if correction.action == LEAVE_OUT else f"taken as setup {correction.setup}"
    return f"{correction.ride} lap {lap.number} is {what} ({correction.reason})"


def _text(corrections: Sequence[Correction]) -> str:
    document = tomlkit.document()
    document.add(tomlkit.comment("What you said about single laps. Remove an entry to undo it."))
    entries = tomlkit.aot()
    for correction in corrections:
        table = tomlkit.table()
        table.add("ride", correction.ride)
        table.add("lap", correction.lap)
        table.add("at", _iso(correction.at))
        table.add("action", correction.action)
        if correction.setup is not None:
            table.add("setup", correction.setup)
        table.add("reason", correction.reason)
        table.add("made", _iso(correction.made))
        entries.append(table)
    document.add("corrections", entries)
    return tomlkit.dumps(document)


def _iso(time: float) -> str:
    return datetime.fromtimestamp(round(time), UTC).isoformat().replace("+00:00", "Z")
