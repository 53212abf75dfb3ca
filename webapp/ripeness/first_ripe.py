"""How well the first ripe week is known: where either end of the ripe share's interval first reaches the share from which is cut."""

from __future__ import annotations

import numpy as np

from ..sentences import Sentence

NEVER = -1


def weeks(share: np.ndarray, least: float) -> np.ndarray:
    """[...] place of the first week of ``share`` [..., W] that reaches ``least``; ``NEVER`` where none does."""
    enough = np.asarray(share) >= least
    return np.where(enough.any(axis=-1), np.argmax(enough, axis=-1), NEVER)


def interval(share_lo: np.ndarray, share_hi: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """(earliest, latest) place of the first ripe week at the level of the shares' ends [..., W]; the high end is ripe the earliest."""
    return weeks(share_hi, least), weeks(share_lo, least)


def sentence(early: int, late: int, names: list[str]) -> Sentence:
    """The 80 % interval of the first ripe week in words; week 0 is *already*, what lies beyond the weeks shown is said as such."""
    if early == NEVER:
        return Sentence("ripeness.first.beyond", {"last": names[-1]})
    if late == 0:
        return Sentence("ripeness.first.already", {})
    if late == NEVER:
        return Sentence("ripeness.first.maybe_now" if early == 0 else "ripeness.first.not_before", {"early": names[early], "last": names[-1]})
    if early == late:
        return Sentence("ripeness.first.exact", {"early": names[early]})
    return Sentence("ripeness.first.by" if early == 0 else "ripeness.first.between", {"early": names[early], "late": names[late]})


def short(early: int, late: int, names: list[str]) -> Sentence:
    """The same for a cell of a list: two weeks, *already*, *beyond*."""
    at = lambda place: Sentence("ripeness.first.now", {}) if place == 0 else Sentence("ripeness.first.late", {}) if place == NEVER else names[place]  # noqa: E731
    return Sentence("ripeness.first.one" if early == late else "ripeness.first.two", {"early": at(early), "late": at(late)})
