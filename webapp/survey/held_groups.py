"""Held records that share one reason, so that a person decides once: which belong together, and where a run of them belongs in time."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Iterable

from . import record as rec

OF_PLOTS = frozenset(("unknown_plot", "no_plot"))
OF_TIME = frozenset(("future", "before_planting"))
NEAR = timedelta(days=3)
"""A phone's records before and after a run whose clock was off place it only when they lie this near each other."""


@dataclass(frozen=True)
class Group:
    """Records (rows of ``held``) under a ``key`` that stays while any of them waits; ``kinds`` how many of each kind, the most first."""

    key: str
    rows: list[dict]

    @property
    def first(self) -> dict:
        return self.rows[0]

    @property
    def kinds(self) -> list[tuple[str, int]]:
        return Counter(row["kind"] for row in self.rows).most_common()

    @property
    def proposed(self) -> int:
        """How many of them have a proposal."""
        return sum(bool(row["proposal"]) for row in self.rows)

    @property
    def may_accept(self) -> bool:
        return all(row["may_accept"] for row in self.rows)

    @property
    def may_name(self) -> bool:
        """Whether writing one plot's code mends them all."""
        return self.first["code"] in OF_PLOTS

    @property
    def may_move(self) -> bool:
        """Whether telling when the first was taken mends them all."""
        return self.first["code"] in OF_TIME and all(row["taken"] for row in self.rows)

    @property
    def begins(self) -> datetime | None:
        return min((row["taken"] for row in self.rows if row["taken"]), default=None)


def key_of(code: str, kind: str, plot: Any, round_: str | None, install: str | None, day: str, record: str) -> str:
    """What records of one reason share: the plot that is not known, the round, or a phone's day at a plot; twelve hexadecimal digits."""
    if code == "same_id_other_bytes":
        shared = [record]
    elif code in OF_PLOTS and plot:
        shared = [str(plot)]
    elif round_:
        shared = [round_, install or ""]
    else:
        shared = [kind, str(plot or ""), install or "", day]
    return rec.digest("\n".join([code, *shared]).encode())[-12:]


def grouped(rows: Iterable[dict]) -> list[Group]:
    """In the order in which the first of each came."""
    found: dict[str, list[dict]] = {}
    for row in rows:
        found.setdefault(row["group"], []).append(row)
    return [Group(key, members) for key, members in found.items()]


def moved(rows: list[dict], begins: datetime) -> dict[str, str]:
    """Identifier → time (ISO 8601) when the earliest of the rows was taken at ``begins`` and the others as long after it as they say."""
    first = min(row["taken"] for row in rows)
    return {row["id"]: (begins + (row["taken"] - first)).isoformat(timespec="seconds") for row in rows}


def between(before: datetime | None, after: datetime | None, length: timedelta) -> datetime | None:
    """When a run of so long began that a phone noted between two moments: in the middle; None where these don't tell."""
    if before is None or after is None or not length <= after - before <= NEAR:
        return None
    return before + (after - before - length) / 2
