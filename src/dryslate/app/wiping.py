"""May the memory card be wiped: only when every file was read back from two different drives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dryslate.app.intake import Drive

MAY_BE_WIPED = "memory card may be wiped"
DO_NOT_WIPE = "one copy: do not wipe"


@dataclass(frozen=True, slots=True, kw_only=True)
class CopiesSeen:
    """
    What is known of the copies after taking in.

    Parameters
    ----------
    n_files : int
        Files on the sources.
    n_not_kept : int
        Files, folders or links that could not be taken in.
    n_proved_first, n_proved_second : int
        Files whose copy was read back from the drive of the project, of the second folder.
    first, second : Drive
        `second` is None without a second folder.
    sources : sequence of Drive
    is_whole : bool
        Whether folders were given, not single files.
    is_sent : bool
        Whether a browser sent the files, so that nobody saw the card.
    """

    n_files: int
    n_not_kept: int
    n_proved_first: int
    n_proved_second: int
    first: Drive
    second: Drive | None
    sources: Sequence[Drive]
    is_whole: bool
    is_sent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WipeVerdict:
    """Whether the memory card may be wiped, in the words to show, and the reasons if not."""

    may_wipe: bool
    words: str
    reasons: tuple[str, ...]


def judge_wiping(seen: CopiesSeen) -> WipeVerdict:
    """
    Judge whether the memory card may be wiped.

    Parameters
    ----------
    seen : CopiesSeen

    Returns
    -------
    WipeVerdict
        With every reason that stands against it. Anything not known counts against it.
    """
    reasons: list[str] = []
    if seen.n_files == 0:
        reasons.append("there was no file to take in")
    if seen.n_not_kept:
        reasons.append(f"{seen.n_not_kept} of the things on it could not be taken in")
    if seen.is_sent:
        reasons.append("a browser sent the photos, so what else is on the card is not known")
    elif not seen.is_whole:
        reasons.append("single files were given, so what else is on the card is not known")
    reasons += _against(seen.first, seen.n_files - seen.n_proved_first, "the project", seen)
    if seen.second is None:
        reasons.append("there is no second copy (give a second folder)")
    else:
        missing = seen.n_files - seen.n_proved_second
        reasons += _against(seen.second, missing, "the second folder", seen)
        shared = sorted(seen.first.disks & seen.second.disks)
        if shared:
            reasons.append(f"project and second folder lie on one drive ({', '.join(shared)})")
    if reasons:
        return WipeVerdict(may_wipe=False, words=DO_NOT_WIPE, reasons=tuple(reasons))
    return WipeVerdict(may_wipe=True, words=MAY_BE_WIPED, reasons=())


def _against(drive: Drive, n_missing: int, what: str, seen: CopiesSeen) -> list[str]:
    """List what stands against counting one folder as a copy on a drive of its own."""
    reasons = []
    if not drive.disks:
        reasons.append(f"{what} counts for no drive: {drive.why_not}")
    elif n_missing > 0:
        reasons.append(f"{n_missing} of {seen.n_files} copies in {what} are not proved")
    if any(drive.disks & source.disks for source in seen.sources):
        reasons.append(f"{what} lies on the same drive as the memory card")
    return reasons
