"""Several files of one logger joined by time, every overlap told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dryslate.app.logger_heat import LoggerReadings
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem

SAME_C = 1e-6
"""Two readings that differ by less are one, written twice."""
ONE_SECOND = np.timedelta64(1, "s")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerPart:
    """
    One file of a logger.

    Parameters
    ----------
    name : str
        For messages.
    read : LoggerReadings
        Without problems.
    """

    name: str
    read: LoggerReadings


def join_parts(parts: Sequence[LoggerPart]) -> tuple[LoggerReadings, tuple[Problem, ...]]:
    """
    Join the files of one logger by time.

    Parameters
    ----------
    parts : sequence of LoggerPart
        In any order.

    Returns
    -------
    (LoggerReadings, tuple of Problem)
        A time that stands in two files counts once. Notes are those of the files, and
        ``logger-files-overlap`` for every two files
        that overlap; a warning where one of them has readings there at times that the other lacks.

    Raises
    ------
    InputError
        ``logger-files-zones``; ``logger-files-differ`` where two files read otherwise at the same
        time; ``heat-readings-unusable`` where times of a file do not rise.
    """
    said = tuple(note for one in parts for note in one.read.notes)
    if len(parts) == 1:
        return parts[0].read, said
    for one in parts:
        back = np.flatnonzero(np.diff(one.read.times) < ONE_SECOND)
        if back.size:
            time = one.read.times[back[0] + 1]
            raise InputError(
                "heat-readings-unusable",
                f"{one.name}: reading {back[0] + 2}, {time} UTC, does not come after the one "
                "before it.",
                "Give one temperature in °C for each time, in the order they were read.",
            )
    parts = sorted((one for one in parts if one.read.times.size), key=lambda one: one.read.times[0])
    zones = {one.read.zone for one in parts}
    if len(zones) > 1:
        raise InputError(
            "logger-files-zones",
            "The clocks of these files stand in different zones.",
            "State the zone whose midnight parts the days, for example --zone +10:00.",
        )
    notes = tuple(note for a, b in pairwise(parts) for note in _overlap(a, b))
    times = np.concatenate([one.read.times for one in parts])
    readings = np.concatenate([one.read.readings_c for one in parts])
    order = np.lexsort((np.isnan(readings), times))  # of one time, what was read before a blank
    times, readings = times[order], readings[order]
    again = np.diff(times) < ONE_SECOND
    apart = again & (np.abs(np.diff(readings)) > SAME_C)
    if apart.any():
        k = int(np.flatnonzero(apart)[0])
        raise InputError(
            "logger-files-differ",
            f"At {times[k]} UTC one file reads {readings[k]:g} °C and another {readings[k + 1]:g} "
            f"°C; so do {int(apart.sum())} readings in all.",
            "Give files of one logger only, with clocks in the zones that are stated.",
        )
    kept = np.concatenate([[True], ~again])
    joined = LoggerReadings(
        times=times[kept], readings_c=readings[kept], zone=parts[0].read.zone, problems=()
    )
    return joined, said + notes


def _overlap(first: LoggerPart, second: LoggerPart) -> list[Problem]:
    """Tell where two files overlap."""
    start = second.read.times[0]
    end = min(first.read.times[-1], second.read.times[-1])
    if start > end:
        return []
    here = [
        one.read.times[(one.read.times >= start) & (one.read.times <= end)]
        for one in (first, second)
    ]
    n_both = np.intersect1d(*here).size
    n_lone = here[0].size + here[1].size - 2 * n_both
    return [
        Problem(
            slug="logger-files-overlap",
            severity="warning" if n_lone else "note",
            place=f"{first.name}, {second.name}",
            message=f"both have readings from {start} to {end} UTC: {n_both} stand in both and "
            f"count once, {n_lone} in one only",
            fix="Nothing, if both are of one logger that was read out twice.",
        )
    ]
