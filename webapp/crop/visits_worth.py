"""What one more visit to each plot would tell: weeks of its cutting window, ripe tonnes of the next half year.

Preposterior analysis by the variance screen (Raiffa & Schlaifer 1961, *Applied Statistical Decision Theory*): a visit of n
plants today moves the forecast of week w by k_w·ξ, ξ ~ N(0, 1), k_w = √(sd² − sd_after²), and leaves sd_after. All of it
is in the stored ripeness answer, so that no page can follow another rule. Gains are counted as of a normal of the same sd: a visit tells nothing of
what seldom comes (``ripeness.rare``), so of weeks far ahead a plot's page shows more narrowed than is counted here for the order of the list.

- **Window, its beginning**: first ripe week W as a function of the path mean_w + k_w ξ + sd_after,w·z; before the visit ξ and z are both
  open, after it ξ is known. Narrowing = sd(W) − E sd(W | ξ), never below 0 (law of total variance), times 2 × 1.28.
- **Window, its end**: the week E in which the loss past the peak reaches its limit follows the plot's age, so what is not known of it is the plot's
  pace: E = e + √(s² − s_after²) ξ + s_after z weeks (``ripeness.plot_effects.ends``), between today and a year ahead, narrowed by the same rule. A
  reading says little of it where the curve is flat, and nothing where the end is years away.
- **Tonnes**: T = mean over 26 weeks of ripe share × mass; the visit takes (Σ mass · slope · k)² off its variance, a count of
  rows takes the plants' part. What the visit says of the estate's coefficients tells the other plots too.

A plot far from the target keeps W beyond the year ahead whatever is read: nothing to gain there, however little is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..ripeness import picked
from ..ripeness.plot_effects import Ends
from ..ripeness.readiness import Z80, likely_steps
from ..tonnage import constants as tonnage_constants

TONNES_WEEKS, WINDOW_WEEKS = 26, 53
"""Windows farther off than a year count as a year off: they can be narrowed later, and are by then narrower anyway."""
NODES, MOST_DEG, HALVINGS = 11, 60.0, 14
COUNT_ROWS = 5
SAMPLE, COUNT, BOTH = 0, 1, 2
WORK = ("sample", "count", "both")


@dataclass(frozen=True)
class Known:
    """What is known today, [P, W] by week from today's: ``mean_deg``, ``sd_deg``, ``sd_after_deg``, ``plant_sd_deg``, ``share_sd``
    (of the ripe share), ``share``, ``mass_t``. [P]: ``mass_log_sd`` (all of it), ``plants_log_sd`` (plants' part), ``rows`` of the plot.
    ``taken`` and ``ready`` [P, W]: share that passes took as the ripest, share of capones that are ready (see ``ripeness.picked``).
    ``ends`` when the window ends; None leaves it out."""

    mean_deg: np.ndarray
    sd_deg: np.ndarray
    sd_after_deg: np.ndarray
    plant_sd_deg: np.ndarray
    share: np.ndarray
    share_sd: np.ndarray
    mass_t: np.ndarray
    mass_log_sd: np.ndarray
    plants_log_sd: np.ndarray
    rows: np.ndarray
    taken: np.ndarray | None = None
    ready: np.ndarray | None = None
    ends: Ends | None = None


@dataclass(frozen=True)
class Worth:
    """[P] 80 % widths: ``weeks`` of the first ripe week and ``weeks_gain`` by a sample; ``tonnes`` of T, and [P, 3] ``tonnes_gain`` by
    a sample, a count, both. ``load`` [P] t: how far T moves per sd of what a sample would say. ``end_weeks`` and ``end_gain`` of the week in which the
    window ends."""

    weeks: np.ndarray
    weeks_gain: np.ndarray
    tonnes: np.ndarray
    tonnes_gain: np.ndarray
    load: np.ndarray
    end_weeks: np.ndarray
    end_gain: np.ndarray

    @property
    def both_weeks(self) -> np.ndarray:
        """Widths of both ends of the window together."""
        return self.weeks + self.end_weeks

    @property
    def both_gain(self) -> np.ndarray:
        return self.weeks_gain + self.end_gain


def needed_distance(residuals: np.ndarray, share: float) -> float:
    """(target − mean)/σ_plant at which ``share`` of the plants are ripe (see ``readiness.plants_above``)."""
    points = np.sort(np.asarray(residuals, float))
    if not len(points):
        return 0.0
    level = 1 - (np.arange(len(points)) + 0.5) / len(points)
    return float(np.interp(-share, np.r_[-1.0, -level, 0.0], np.r_[points[0] - 0.75, points, points[-1] + 0.75]))


def needed_deg(known: Known, residuals: np.ndarray, target: float, share: float) -> np.ndarray:
    """[P, W] mean °Bx of the standing plants at which ``share`` of them are ripe; where passes have taken the ripest, or capones are
    ready, by halving an interval of the same rule that makes the share."""
    plant = known.plant_sd_deg[:, :WINDOW_WEEKS].astype(float)
    out = target - needed_distance(residuals, share) * plant
    if known.taken is None or known.ready is None or not len(np.asarray(residuals)):
        return out
    taken, ready = (a[:, :WINDOW_WEEKS].astype(float) for a in (known.taken, known.ready))
    at = np.flatnonzero((taken > 0).any(axis=1) | (ready > 0).any(axis=1))
    low, high = np.zeros((len(at), plant.shape[1])), np.full((len(at), plant.shape[1]), MOST_DEG)
    for _ in range(HALVINGS if len(at) else 0):
        middle = (low + high) / 2
        uncut = middle - plant[at] * picked.shift(taken[at])
        ripe = picked.with_ready(picked.above((target - uncut) / np.maximum(plant[at], 0.05), residuals, taken[at]), ready[at]) >= share
        low, high = np.where(ripe, low, middle), np.where(ripe, middle, high)
    out[at] = high
    return out


def nodes(n: int = NODES) -> np.ndarray:
    """``n`` equally likely values of a standard normal, scaled to variance 1."""
    return likely_steps(n)


def first_weeks(mean: np.ndarray, moved: np.ndarray, left: np.ndarray, needed: np.ndarray) -> np.ndarray:
    """[P, ξ, z] first week in which the plot is ripe, ``WINDOW_WEEKS`` when not within them; arguments [P, W] °Bx."""
    steps, P = nodes(), len(mean)
    out = np.full((P, NODES, NODES), float(mean.shape[1]))
    lack = needed - mean
    for i, xi in enumerate(steps):
        for j, z in enumerate(steps):
            ripe = moved * xi + left * z >= lack
            out[:, i, j] = np.where(ripe.any(axis=1), ripe.argmax(axis=1), mean.shape[1])
    return out


def window(known: Known, needed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """([P] 80 % width of the first ripe week, [P] how many weeks narrower a sample would make it), as if normal; ``needed`` [P, W] °Bx."""
    mean, sd, after = (a[:, :WINDOW_WEEKS].astype(float) for a in (known.mean_deg, known.sd_deg, known.sd_after_deg))
    if not mean.size:
        return np.zeros(len(mean)), np.zeros(len(mean))
    return _narrowed(first_weeks(mean, np.sqrt(np.maximum(sd**2 - after**2, 0.0)), after, needed))


def _narrowed(weeks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(80 % width, narrowing) [P] of a week at the nodes of what a visit says and of what it leaves [P, ξ, z]."""
    before, then = weeks.reshape(len(weeks), -1).std(axis=1), weeks.std(axis=2).mean(axis=1)
    return 2 * Z80 * before, 2 * Z80 * np.maximum(before - then, 0.0)


def window_end(ends: Ends | None, plots: int) -> tuple[np.ndarray, np.ndarray]:
    """The same of the week in which the window ends."""
    if ends is None or not plots:
        return np.zeros(plots), np.zeros(plots)
    steps = nodes()
    said = np.sqrt(np.maximum(ends.sd**2 - ends.after**2, 0.0))
    return _narrowed(np.clip(ends.week[:, None, None] + said[:, None, None] * steps[:, None] + ends.after[:, None, None] * steps, 0.0, WINDOW_WEEKS))


def counted_log_var(rows: np.ndarray, n: int = COUNT_ROWS) -> np.ndarray:
    """Variance of log plants of a fresh count of ``n`` rows at random of ``rows``: s²(1 − n/N)/n with the usual spread between rows."""
    N = np.maximum(np.where(np.isfinite(rows), rows, 100.0), n + 1.0)
    return float(tonnage_constants.ROW_CV) ** 2 * (1 - n / N) / n


def worth(known: Known, residuals: np.ndarray, target: float, share_to_cut: float) -> Worth:
    """Every plot's own gain in closed form. Finite for any finite input; no plots, no rows."""
    weeks, weeks_gain = window(known, needed_deg(known, residuals, target, share_to_cut))
    sd, after, share_sd, mass, share = (a[:, :TONNES_WEEKS].astype(float) for a in (known.sd_deg, known.sd_after_deg, known.share_sd, known.mass_t, known.share))
    part = np.sqrt(np.clip(1 - (after / np.maximum(sd, 1e-9)) ** 2, 0.0, 1.0))
    spread, load = (mass * share_sd).mean(axis=1), (mass * share_sd * part).mean(axis=1)
    width, gain = _tonnes(spread, load, (mass * share).mean(axis=1), known)
    return Worth(weeks, weeks_gain, width, gain, load, *window_end(known.ends, len(weeks)))


def by_week(known: Known) -> tuple[np.ndarray, np.ndarray]:
    """Of the ripe tonnes of each of the next 26 weeks alone: [P, W] 80 % width, t, and [P, W, 3] how much narrower a sample, a count or both
    would make it today. It is wide where a plot turns ripe about that week, so the visits that count are those near its window."""
    sd, after, share_sd, mass, share = (a[:, :TONNES_WEEKS].astype(float) for a in (known.sd_deg, known.sd_after_deg, known.share_sd, known.mass_t, known.share))
    return _tonnes(mass * share_sd, mass * share_sd * np.sqrt(np.clip(1 - (after / np.maximum(sd, 1e-9)) ** 2, 0.0, 1.0)), mass * share, known)


def _tonnes(spread: np.ndarray, load: np.ndarray, ripe: np.ndarray, known: Known) -> tuple[np.ndarray, np.ndarray]:
    """(80 % width of ripe tonnes, [..., 3] its narrowing by a sample, a count, both), t; ``spread`` [P, …] of it by the share, ``load`` what a sample says of that, ``ripe`` the tonnes."""
    of_plot = (slice(None), *[None] * (ripe.ndim - 1))
    now, counted, mass_sd = (a[of_plot] for a in (known.plants_log_sd**2, counted_log_var(known.rows), np.maximum(known.mass_log_sd, known.plants_log_sd)))
    var = spread**2 + (ripe * mass_sd) ** 2
    less = np.stack([load**2, ripe**2 * now**2 / np.maximum(now + counted, 1e-12)], axis=-1)
    less = np.concatenate([less, less.sum(axis=-1, keepdims=True)], axis=-1)
    gain = 2 * Z80 * (np.sqrt(var)[..., None] - np.sqrt(np.maximum(var[..., None] - less, 0.0)))
    return 2 * Z80 * np.sqrt(var), np.maximum(gain, 0.0)


@dataclass(frozen=True)
class Shared:
    """What plots have in common: ``cov`` [p, p] of the estate's coefficients; ``along`` [P, p] how each moves today's mean of a plot;
    ``says`` [P] variance of what a sample there would read; ``tonnes`` [p, p] = Σ b b′/(2 sd) over plots, b how the coefficients move T."""

    cov: np.ndarray
    along: np.ndarray
    says: np.ndarray
    tonnes: np.ndarray

    def others(self, i: int) -> float:
        """Narrowing of the 80 % widths of all T together through the coefficients, t, by a sample of plot ``i``."""
        x = self.cov @ self.along[i]
        return 2 * Z80 * float(x @ self.tonnes @ x) / float(self.says[i])

    def all_others(self) -> np.ndarray:
        """[P] the same of every plot."""
        x = self.along @ self.cov
        return 2 * Z80 * ((x @ self.tonnes) * x).sum(axis=1) / self.says

    def after(self, i: int) -> "Shared":
        """Once plot ``i`` has been sampled: A⁻¹ − A⁻¹d d′A⁻¹ / Var(reading); a next visit tells less of the same."""
        x = self.cov @ self.along[i]
        return Shared(self.cov - np.outer(x, x) / self.says[i], self.along, self.says, self.tonnes)


@dataclass(frozen=True)
class Doubt:
    """How weeks and tonnes become one number: shares of the estate's whole 80 % width of each, weighed by ``window_weight`` (0…1)."""

    weeks: float
    tonnes: float
    window_weight: float

    def part(self, weeks: np.ndarray | float, tonnes: np.ndarray | float) -> np.ndarray | float:
        """Part of what the estate does not know, 0…1."""
        return self.window_weight * weeks / max(self.weeks, 1e-9) + (1 - self.window_weight) * tonnes / max(self.tonnes, 1e-9)


def doubt_of(w: Worth, window_weight: float) -> Doubt:
    return Doubt(float(w.both_weeks.sum()), float(w.tonnes.sum()), window_weight)


def gains(w: Worth, doubt: Doubt, others_t: np.ndarray) -> np.ndarray:
    """[P, 3] gain of a sample, a count and both, in parts of the estate's doubt."""
    weeks = np.stack([w.both_gain, np.zeros(len(w.weeks)), w.both_gain], axis=1)
    more = np.stack([others_t, np.zeros(len(w.weeks)), others_t], axis=1)
    return np.asarray(doubt.part(weeks, w.tonnes_gain + more))
