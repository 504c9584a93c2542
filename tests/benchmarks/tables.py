"""Tables of what the estimators found, for the documentation."""

from __future__ import annotations

from typing import Any

import numpy as np
from cells import CELLS
from scipy import stats


def pooled(rows: list[dict[str, Any]]) -> str:
    """Return a Markdown table, one line for each estimator over all cells."""
    answered = [r for r in rows if "answers" in r]
    lines = [
        "| estimator | n | bias [W] | spread [W] | error / bound | covers | width [W] | time [s] |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    bound = np.array([r["bound"]["known"] for r in answered])
    for name in answered[0]["answers"]:
        error, covered, width, seconds = _of(answered, name)
        lines.append(
            f"| {name} | {len(answered)} | {error.mean():.1f} | {error.std(ddof=1):.1f} "
            f"| {_root_mean(error**2 / bound**2)} | {covered.mean():.2f} | {np.median(width):.1f} "
            f"| {np.median(seconds):.2f} |"
        )
    return "\n".join(lines)


def table(rows: list[dict[str, Any]]) -> str:
    """Return a Markdown table: bias ± spread, share covered, width [W], s of each by cell."""
    lines: list[str] = []
    for cell in CELLS:
        mine = [r for r in rows if r["cell"] == cell and "answers" in r]
        if len(mine) < 2:
            continue
        names = list(mine[0]["answers"])
        if not lines:
            lines = [f"| cell | n | {' | '.join(names)} |", "| --- " * (2 + len(names)) + "|"]
        shown = []
        for name in names:
            error, covered, width, seconds = _of(mine, name)
            shown.append(
                f"{error.mean():+.1f} ± {error.std(ddof=1):.1f}, {covered.mean():.2f}, "
                f"{_watts(np.median(width))}, {np.median(seconds):.2f}"
            )
        lines.append(f"| {cell} | {len(mine)} | {' | '.join(shown)} |")
    return "\n".join(lines)


def _watts(width: float) -> str:
    """Whole watts; with hardly a degree of freedom left an interval holds everything."""
    return f"{width:.0f}" if width < 1000 else "endless"


def _of(rows: list[dict[str, Any]], name: str) -> tuple[np.ndarray, ...]:
    kinds = ("error", "covered", "width", "seconds")
    return tuple(np.array([r["answers"][name][what] for r in rows]) for what in kinds)


def ratios(rows: list[dict[str, Any]]) -> str:
    """Return a Markdown table of the bound, and of spread and claims beside it.

    The oracle knows all covariances and sees the same studies. What an estimator errs beyond it is
    unrelated to the oracle's own error, so ``sqrt(1 + mean((error - oracle)^2 / bound^2))`` is
    spread over bound with much less chance in it than the spread itself.
    """
    lines = [
        "| cell | n | bound [W] | shelter unknown [W] | oracle / bound | spread / bound "
        "| through the oracle | shelter unknown | claimed / bound | claims below |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for cell in [*CELLS, "all"]:
        mine = [r for r in rows if cell in (r["cell"], "all") and "answers" in r]
        if len(mine) > 1:
            lines.append(_ratio_line(cell, mine))
    return "\n".join(lines)


def narrower(rows: list[dict[str, Any]]) -> str:
    """Say how many of the package's intervals are narrower than the bound's own."""
    mine = [r for r in rows if "answers" in r]
    _, _, width, _ = _of(mine, "sameloop")
    bound = 2 * stats.norm.ppf(0.975) * np.array([r["bound"]["known"] for r in mine])
    below = np.sort((1 - width / bound)[width < bound])
    by = ", ".join(f"{100 * one:.1f} %" for one in below)
    return (
        f"{len(below)} of {len(mine)} intervals are narrower than the bound's own: {by or 'none'}"
    )


def _ratio_line(cell: str, mine: list[dict[str, Any]]) -> str:
    known, blind = (np.array([r["bound"][k] for r in mine]) for k in ("known", "blind"))
    oracle, groping = (np.array([r["oracle"][k] for r in mine]) for k in ("known", "blind"))
    error = np.array([r["answers"]["sameloop"]["error"] for r in mine])
    claimed = np.array([r["claimed"] for r in mine])
    return " | ".join(
        [
            f"| {cell} | {len(mine)}", f"{np.median(known):.1f}", f"{np.median(blind):.1f}",
            _root_mean(oracle**2 / known**2), _root_mean(error**2 / known**2),
            _root_mean(1 + (error - oracle) ** 2 / known**2),
            _root_mean(1 + (error - groping) ** 2 / blind**2),
            f"{np.median(claimed / known):.2f}", f"{(claimed < known).sum()} |",
        ]
    )  # fmt: skip


def _root_mean(values: np.ndarray) -> str:
    """Root of a mean and its standard error."""
    root = np.sqrt(values.mean())
    return f"{root:.2f} ± {values.std(ddof=1) / np.sqrt(len(values)) / (2 * root):.2f}"
