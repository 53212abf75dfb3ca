"""Rounds whose word does not fit what was expected of their plot without them; each proposes, nothing is dropped.

Left-one-out expectations are exact in a linear mixed model: with Q = W − T C T′ (W = V⁻¹, T = WX, C the coefficients'
covariance) a visit lies q_j / Q_jj from what all other visits of the estate say of it, with variance 1 / Q_jj of which its own
noise is one part (Christensen, Pearson & Johnson 1992, *Technometrics* 34:38–45). A round's own weight drops out of that.

Explanations are weighed by how much likelier they make what was read (log ratios), the stronger first:
- **swapped plots**: two rounds of one crew on one day that fit each other's plot far better;
- **an instrument off**: all rounds of one instrument on one day, or in one week, shifted alike;
- **a wrong ATC flag**: an instrument whose shifts follow the temperature correction that was (or was not) made;
- **far off**: nothing of these; the plot and the zero of the refractometer to look at again.

Beside them, from the readings alone: **all equal**, a round whose plants all read the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from . import ripening
from .thin import EQUAL_PLANTS

SWAP_LOG, SWAP_FITS, SWAP_FAR = 7.0, 2.5, 2.5
"""Of a day's pairs about one in a thousand may be a swap: e⁷ against it leaves it likelier than not; after it both must fit, before it one not."""
OFF_LEAST_DEG, OFF_Z, OFF_ROUNDS, OFF_ALIKE = 0.8, 3.5, 3, 3.0
ATC_LOG, ATC_ROUNDS, ATC_SAYS = 2.0, 6, 4.0
"""``ATC_SAYS``: twice the log ratio that a wrong flag would make on average; with less the rounds can't tell."""
FAR_Z, FAR_FEWEST = 4.0, 3
LEAST_SCALE, SCALED_FROM = 0.6, 30
"""Many faulty rounds make the fit think all rounds noisy, and hide each other: deviations are measured in the middle round's, if smaller."""
COLUMNS = ("i", "j", "round", "plot", "day", "crew", "instrument", "atc", "n", "mean_deg", "off_deg", "var", "noise", "flag_deg")


@dataclass(frozen=True)
class LeftOut:
    """[P, M] of each visit: ``off_deg`` seen less expected without it, ``var`` of that expectation, ``noise`` of a usual visit of its plants, °Bx²."""

    off_deg: np.ndarray
    var: np.ndarray
    noise: np.ndarray


def left_out(f: ripening.Fit, post: ripening.Posterior) -> LeftOut:
    """Everything from the stored fit's posterior; where there is no visit, zeros."""
    seen, m = post.visits, post.visits.mask
    own = np.einsum("nmm->nm", post.W) - np.einsum("nmp,pq,nmq->nm", post.T, f.cov, post.T, optimize=True)
    age = ripening.ages(seen, post.land)
    usual = np.where(m, seen.known + ripening.visit_noise(f, age, np.maximum(seen.n, 1)), 1.0)
    level = f.sd("level") ** 2 + post.pace_var[:, None] * post.z**2 + f.sd("drift") ** 2
    used = np.maximum(np.einsum("nmm->nm", post.V) - level, 0.0)  # the noise the fit gave this visit, whatever it thought of it
    own = np.maximum(own, 1e-9)
    return LeftOut(np.where(m, post.q / own, 0.0), np.where(m, np.maximum(1 / own - used, 1e-4), 0.0), np.where(m, usual, 0.0))


def find(rounds: pd.DataFrame) -> list[dict]:
    """Doubts of rounds (``COLUMNS``; ``flag_deg`` what the other ATC flag would add to the mean), as ``quality`` makes them."""
    rounds = rounds.sort_values(["day", "crew", "round"], kind="stable", na_position="last").reset_index(drop=True)
    scale = _scale(rounds) ** 2
    rounds = rounds.assign(var=rounds["var"] * scale, noise=rounds["noise"] * scale)
    out, told = [], np.zeros(len(rounds), bool)
    for step in (swapped, off_days, wrong_flags, far_off):
        for doubt, at in step(rounds, told):
            told[at] = True
            out.append(doubt)
    return out


def all_equal(readings: pd.DataFrame) -> list[dict]:
    """Rounds of five plants and more that all read the same (readings without a round: of a plot and day): a mean noted many times, or an instrument that stuck.

    Proposed: that the first reading count and the others stay in the log without counting; the mean may be right, the plants' spread is not.
    """
    there = readings[readings["brix_raw_deg"].notna()].sort_values(["taken_at", "id"], kind="stable")
    visit = there["round"].where(there["round"].notna(), there["plot"] + " " + there["day"].astype(str))
    out = []
    for _, part in there.groupby([there["plot"], visit], sort=True):
        if len(part) >= EQUAL_PLANTS and part["brix_raw_deg"].max() - part["brix_raw_deg"].min() < 1e-9:
            name, first = part["round"].iloc[0], part.iloc[0]
            out.append(_doubt("all_equal", name if isinstance(name, str) else first["id"], {"void_records": list(part["id"].iloc[1:])}, plot=first["plot"], day=first["day"].isoformat(), n=len(part), value=float(first["brix_raw_deg"])))
    return out


def _scale(rounds: pd.DataFrame) -> float:
    """Sd of the standardised deviations as the middle half of the rounds shows it, 1 at the most."""
    if len(rounds) < SCALED_FROM:
        return 1.0
    z = rounds["off_deg"].to_numpy(float) / np.sqrt((rounds["var"] + rounds["noise"]).to_numpy(float))
    return float(np.clip(1.4826 * np.median(np.abs(z)), LEAST_SCALE, 1.0))


def _doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}


def swapped(rounds: pd.DataFrame, told: np.ndarray) -> list[tuple[dict, list[int]]]:
    """Pairs of one crew and day; the likelier pairs first, a round in one pair only."""
    off, var, noise, mean = (rounds[name].to_numpy(float) for name in ("off_deg", "var", "noise", "mean_deg"))
    said = mean - off
    pairs = []
    for _, part in rounds[rounds["crew"].notna()].groupby(["day", "crew"], sort=True):
        at = [i for i in part.index if not told[i]]
        for k, i in enumerate(at):
            for j in at[k + 1:]:
                if rounds["plot"].iat[i] == rounds["plot"].iat[j]:
                    continue
                as_is = off[i] ** 2 / (var[i] + noise[i]) + off[j] ** 2 / (var[j] + noise[j])
                turned = np.array([(mean[j] - said[i]) / np.sqrt(var[i] + noise[j]), (mean[i] - said[j]) / np.sqrt(var[j] + noise[i])])
                far = max(abs(off[i]) / np.sqrt(var[i] + noise[i]), abs(off[j]) / np.sqrt(var[j] + noise[j]))
                gain = 0.5 * (as_is - (turned**2).sum())
                if gain > SWAP_LOG and np.abs(turned).max() < SWAP_FITS and far > SWAP_FAR:
                    pairs.append((-gain, i, j))
    out, used = [], set()
    for gain, i, j in sorted(pairs):
        if not {i, j} & used:
            used |= {i, j}
            a, b = rounds.iloc[i], rounds.iloc[j]
            params = {"plot": a["plot"], "other": b["plot"], "day": a["day"].isoformat(), "crew": a["crew"], "seen": mean[i], "expected": said[i], "other_seen": mean[j], "other_expected": said[j]}
            out.append((_doubt("swapped_plots", a["round"], {"swap_with": b["round"]}, **params, second=b["round"]), [i, j]))
    return out


def off_days(rounds: pd.DataFrame, told: np.ndarray) -> list[tuple[dict, list[int]]]:
    """An instrument whose rounds of a day, or of a week, all lie off by about the same."""
    out, done = [], set()
    named = rounds[rounds["instrument"].notna()]
    weeks = [d.isocalendar()[:2] for d in named["day"]]
    for spans in (list(named["day"]), weeks):
        for (instrument, _), part in named.assign(span=[str(s) for s in spans]).groupby(["instrument", "span"], sort=True):
            at = [i for i in part.index if not told[i] and i not in done]
            shift, z, alike = _common_shift(rounds, at)
            if len(at) >= OFF_ROUNDS and abs(z) > OFF_Z and abs(shift) > OFF_LEAST_DEG and alike < OFF_ALIKE:
                done |= set(at)
                days = rounds["day"].iloc[at]
                names = [rounds["round"].iat[i] for i in at]
                out.append((_doubt("instrument_off", names[0], {"void_readings_of": names}, instrument=instrument, day=min(days).isoformat(), last=max(days).isoformat(), n=len(at), shift=float(shift)), at))
    return out


def _common_shift(rounds: pd.DataFrame, at: list[int]) -> tuple[float, float, float]:
    """(mean shift °Bx, its z against 0, how unlike the rounds are: mean squared z about the shift)."""
    if not at:
        return 0.0, 0.0, 0.0
    part = rounds.iloc[at]
    weight, off = 1 / (part["var"] + part["noise"]).to_numpy(float), part["off_deg"].to_numpy(float)
    shift = float((weight * off).sum() / weight.sum())
    return shift, shift * float(np.sqrt(weight.sum())), float((weight * (off - shift) ** 2).mean())


def wrong_flags(rounds: pd.DataFrame, told: np.ndarray) -> list[tuple[dict, list[int]]]:
    """An instrument and flag whose shifts are those of the other flag: off = −flag_deg instead of 0, all its rounds together.

    The shift's own level is left free, since plots and season have taken up its mean: only what moves with temperature tells.
    """
    out = []
    noted = rounds[rounds["instrument"].notna() & rounds["atc"].isin(["yes", "no"]) & rounds["flag_deg"].notna()]
    for (instrument, flag), part in noted.groupby(["instrument", "atc"], sort=True):
        at = [i for i in part.index if not told[i]]
        if len(at) < ATC_ROUNDS:
            continue
        some = rounds.iloc[at]
        weight, off, add = 1 / (some["var"] + some["noise"]).to_numpy(float), some["off_deg"].to_numpy(float), -some["flag_deg"].to_numpy(float)
        centred = lambda v: v - (weight * v).sum() / weight.sum()  # noqa: E731
        gain = 0.5 * float((weight * centred(off) ** 2).sum() - (weight * centred(off - add) ** 2).sum())
        if gain > ATC_LOG and float((weight * centred(add) ** 2).sum()) > ATC_SAYS:
            other, names = "no" if flag == "yes" else "yes", [rounds["round"].iat[i] for i in at]
            out.append((_doubt(f"atc_said_{flag}", names[0], {"atc": other, "of_rounds": names}, instrument=instrument, n=len(at)), at))
    return out


def far_off(rounds: pd.DataFrame, told: np.ndarray) -> list[tuple[dict, list[int]]]:
    """The farthest round of a plot where it is far from everything expected.

    A plot with a round already explained is left out: what the others are held against rests on that round.
    """
    z = np.abs((rounds["off_deg"] / np.sqrt(rounds["var"] + rounds["noise"])).to_numpy(float))
    clean = ~rounds["plot"].isin(set(rounds["plot"][told])).to_numpy() & (rounds["n"].to_numpy() >= FAR_FEWEST)
    out = []
    for _, part in rounds[(z > FAR_Z) & clean].groupby("plot", sort=True):
        i = max(part.index, key=lambda at: (z[at], -at))
        row = rounds.iloc[i]
        out.append((_doubt("round_far_off", row["round"], {"void_round": row["round"]}, plot=row["plot"], day=row["day"].isoformat(), seen=float(row["mean_deg"]), expected=float(row["mean_deg"] - row["off_deg"]), times=float(z[i])), [i]))
    return out
