"""One cutting problem as plain arrays: what stands, how ripe, what it is worth, what limits a week.

Units: tonnes (t), thousand pesos (kMXN), weeks counted from 0 = this week. P plots, W weeks, Z zones.
Amounts to cut are kept in *week-0 tonnes*, so that growth and loss stay linear and exact: x tonnes of
today's standing mass cut in week w deliver ``keep[p, w] * x`` tonnes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

OPEN, STOP, ROAD, RAIN, LEASE, LABOR, REST = range(7)
CLOSED_BY = ("open", "stop", "road", "rain", "lease", "labor", "rest")
"""Why a plot can't be cut in a week: factory stop, closed road, rain, lease over, labor interval, rest after a pass."""


@dataclass(frozen=True)
class Rules:
    """How passes are made. Shares are of a plot's standing tonnes; blend in t of ART per t."""

    least_pass_share: float = 0.25
    longest_pass_weeks: int = 3
    idle_weeks: int = 4
    most_passes: int = 2
    blend_low: float = 0.205
    blend_high: float = 0.30


@dataclass(frozen=True)
class Costs:
    """Fixed costs and prices of missing a soft rule, all in kMXN."""

    move_in: float = 12.0
    plot_week: float = 3.0
    zone_week: float = 5.0
    short_t: float = 6.0
    blend_t: float = 20.0


@dataclass(frozen=True)
class CuttingProblem:
    """Everything a plan rests on. Arrays are [P], [W] or [P, W]; see the names' units.

    ``share`` is the ripe share expected in the week; ``ripe`` its running maximum, the monotone hull
    that the cumulative cut is held to (the season makes the share dip in the rains; a plant that
    reached the target before them still can't be cut in a week whose own share is smaller, hence both).
    """

    plots: tuple[str, ...]
    names: tuple[str, ...]
    zones: tuple[str, ...]
    weeks: tuple[str, ...]
    zone_of: np.ndarray
    stand_t: np.ndarray
    share: np.ndarray
    keep: np.ndarray
    sugar: np.ndarray             # t ART per delivered t
    value: np.ndarray             # kMXN per delivered t, net of cutting and hauling
    end_value: np.ndarray         # kMXN per week-0 t left standing after the horizon
    closed: np.ndarray            # int8 index into CLOSED_BY
    need_low: np.ndarray          # t, soft
    need_high: np.ndarray         # t, hard
    crew_t: np.ndarray            # t that all crews can cut
    trips: np.ndarray             # truck trips
    trips_per_t: np.ndarray
    active_plots: int
    age_months: np.ndarray
    brix_deg: np.ndarray
    haul_km: np.ndarray
    last_week: np.ndarray         # last week allowed by the lease (W when none)
    running: np.ndarray           # weeks a pass that is under way has lasted
    rest_until: np.ndarray        # first week in which a new pass may begin
    rules: Rules = Rules()
    costs: Costs = Costs()
    held_weeks: int = 0
    held: np.ndarray | None = None  # [P, W] week-0 t already ordered in weeks < held_weeks
    gave_way: tuple[dict, ...] = field(default=())

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.plots), len(self.weeks)

    @property
    def ripe(self) -> np.ndarray:
        return np.maximum.accumulate(self.share, axis=1)

    @property
    def cap(self) -> np.ndarray:
        """[P, W] week-0 t that may be cut in one week at most; a week already ordered keeps its order."""
        cap = np.where(self.closed == OPEN, self.share, 0.0) * self.stand_t[:, None]
        if self.held_weeks:
            cap[:, : self.held_weeks] = self.held[:, : self.held_weeks]
        return cap

    @property
    def standing_value(self) -> float:
        """kMXN of leaving everything standing: what the incremental value is counted from."""
        return float(self.end_value @ self.stand_t)

    def gain(self) -> np.ndarray:
        """[P, W] kMXN gained per week-0 t cut in the week instead of left standing."""
        return self.keep * self.value - self.end_value[:, None]

    def with_changes(self, **changes) -> "CuttingProblem":
        return replace(self, **changes)


def to_arrays(problem: CuttingProblem) -> tuple[dict[str, np.ndarray], dict]:
    """Arrays and JSON-able rest, for storing a plan's inputs."""
    arrays = {name: value for name, value in vars(problem).items() if isinstance(value, np.ndarray)}
    rest = {name: value for name, value in vars(problem).items() if not isinstance(value, np.ndarray) and value is not None}
    rest |= {"rules": vars(problem.rules), "costs": vars(problem.costs)}
    return arrays, rest


def from_arrays(arrays: dict[str, np.ndarray], rest: dict) -> CuttingProblem:
    tuples = {name: tuple(rest[name]) for name in ("plots", "names", "zones", "weeks", "gave_way")}
    return CuttingProblem(**{**rest, **tuples, **arrays, "rules": Rules(**rest["rules"]), "costs": Costs(**rest["costs"])})
