"""What was said of the plots' °Brix, held against the rounds that came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from .. import clock, settings
from ..database import Database, atomic
from ..land import service as land
from ..survey import service as survey
from ..weeks import monday_of, week_of
from . import constants as k
from . import chances, curve, plain_rules, rare, service, store
from . import inputs_service as inputs
from .chances import Chances
from .track import HORIZONS_WEEKS, WINDOW_DAYS, Pairs, match

LEAST_EARLIER, LEAST_SPAN_DAYS = 60, 365
"""Visits, and days between the first and the last, from which a pooled curve of age and season can be fitted; before, that rule keeps to the practice curve."""
NOTHING_SEEN_SD_DEG = float(k.LEVEL_SD_DEG)


def mark(db: Database) -> str:
    """Changes whenever something is said."""
    return store.said_mark(db)


def days(db: Database) -> list[dict]:
    """Days on which something was said: {on_day, said_from, plots}."""
    return store.said_days(db)


def said_frame(rows: list[dict]) -> pd.DataFrame:
    """Stored words as a table: plot, on_day, target (ordinals), weeks ahead, replayed, and the rest as stored."""
    frame = pd.DataFrame(rows)
    if not len(frame):
        return pd.DataFrame(columns=["plot", "on_day", "target", "weeks", "replayed"])
    mondays = {week: monday_of(week).toordinal() for week in set(frame["week"])}
    spoken = {day: date.fromisoformat(day).toordinal() for day in set(frame["on_day"])}
    on_day, monday = frame["on_day"].map(spoken).astype(np.int64), frame["week"].map(mondays).astype(np.int64)
    return frame.assign(on_day=on_day, target=monday + 3, weeks=(monday - (on_day - (on_day + 6) % 7)) // 7, replayed=frame["said_from"] == "replayed")


def until_week(db: Database) -> str:
    """The last week whose outcome may already be there."""
    return week_of(clock.of(db).today() + timedelta(days=WINDOW_DAYS))


def cut_since(db: Database, pairs: pd.DataFrame) -> np.ndarray:
    """[N] whether a selective pass came between what was said and what was seen: the plants left are not those spoken of."""
    loads = survey.loads(db)
    passes = {code: np.sort([d.toordinal() for d in part]) for code, part in loads[(loads["clearing"] != 1) & loads["day"].notna()].groupby("plot")["day"]}
    none = np.zeros(0, int)
    return np.array([np.searchsorted(passes.get(p, none), day, "right") > np.searchsorted(passes.get(p, none), on, "right") for p, on, day in zip(pairs["plot"], pairs["on_day"], pairs["day"])], bool)


@dataclass(frozen=True)
class Told:
    """``brix`` pairs of said and seen °Brix of a round's mean, with plain rules; ``chances`` the same rounds against the chance ripe;
    ``cut_between`` [C] of the pairs left out because a pass came between, whether made afterwards; ``fate`` of everything said whose
    week has passed or that was met before it: replayed, chance, met, cut (taken by a clearing before anything could tell), passed (met only by
    a round after a pass), a row each."""

    brix: Pairs
    chances: Chances
    cut_between: np.ndarray
    fate: pd.DataFrame


def told(db: Database, cleared: pd.DataFrame | None = None) -> Told:
    """Everything that was said of °Brix and ripeness and has met its round. ``cleared``: plot, day, seen, noise_deg of what clearings showed,
    read for the chances alone where no round was.
    """
    plots = sorted(set(land.plots(db).index))
    said = said_frame(store.SAID.about(db, until_week(db)))
    found, came, between = _found(db, said, plots)
    mean, sd, noise = _forecast(db, found) if len(found) else (np.zeros(0),) * 3
    rules = _rules(db, found, came, plots, noise) if len(found) else {}
    spoke_of = _targets(said, float(settings.load(db)["target_brix_deg"]))
    target = np.array([spoke_of[day] for day in found["on_day"]], float)
    brix = _as_pairs(found, mean, sd, rules)
    rounds = Chances(brix, np.sqrt(np.maximum(sd**2 - noise**2, 0.0)), target, np.zeros(len(brix), bool))
    cuts, keys = _cuts(db, said, found, cleared, spoke_of)
    return Told(brix, chances.joined(rounds, cuts), between["replayed"].to_numpy(bool), _fate(db, said, _keys(found) | keys, _keys(between)))


def _keys(found: pd.DataFrame) -> set[tuple]:
    return set(zip(found["plot"], found["on_day"], found["weeks"]))


def _cuts(db: Database, said: pd.DataFrame, found: pd.DataFrame, cleared: pd.DataFrame | None, spoke_of: dict[int, float]) -> tuple[Chances | None, set[tuple]]:
    """What clearings showed of words that met no round, and which words those are."""
    if cleared is None or not len(cleared):
        return None, set()
    met, cut = _keys(found), match(said, cleared)
    cut = cut[[key not in met for key in zip(cut["plot"], cut["on_day"], cut["weeks"])]] if len(cut) else cut
    cut = cut[~cut_since(db, cut)].reset_index(drop=True) if len(cut) else cut
    if not len(cut):
        return None, set()
    own = cut["sd_deg"].to_numpy(float)
    p = _as_pairs(cut, _moved(cut), np.hypot(own, cut["noise_deg"].to_numpy(float)), {})
    return Chances(p, own, np.array([spoke_of[day] for day in cut["on_day"]], float), np.ones(len(p), bool)), _keys(cut)


def pairs(db: Database) -> tuple[Pairs, np.ndarray]:
    """(pairs of said and seen °Brix of a round's mean; of those left out because a pass came between, whether made afterwards)."""
    all_told = told(db)
    return all_told.brix, all_told.cut_between


def _targets(said: pd.DataFrame, now_deg: float) -> dict[int, float]:
    """Day → the target °Bx that what was said then spoke of: chance = P(mean ≥ target), turned round, where the chance is neither 0 nor 1."""
    if not len(said):
        return {}
    chance, mean, sd = (said[name].to_numpy(float) for name in ("chance", "mean_deg", "sd_deg"))
    open_ = (chance > 1e-4) & (chance < 1 - 1e-4)
    part, of = _rare(said[open_])
    then = pd.Series(mean[open_] + sd[open_] * rare.place(1 - chance[open_], part, of)).groupby(said["on_day"].to_numpy()[open_]).median()
    return {int(day): float(then.get(day, now_deg)) for day in np.unique(said["on_day"])}


def _fate(db: Database, said: pd.DataFrame, keys: set[tuple], between: set[tuple]) -> pd.DataFrame:
    """What became of everything said whose week has passed, and of what met its round before it: every comparison of the page is in it."""
    every = [key in keys or key in between for key in zip(said["plot"], said["on_day"], said["weeks"])]
    past = said[(said["target"] <= clock.of(db).today().toordinal()) | np.array(every, bool)]
    if not len(past):
        return pd.DataFrame({"replayed": np.zeros(0, bool), "chance": np.zeros(0), **{name: np.zeros(0, bool) for name in ("met", "cut", "passed")}})
    met, passed = (np.array([key in among for key in zip(past["plot"], past["on_day"], past["weeks"])], bool) for among in (keys, between))
    loads = survey.loads(db)
    gone = {code: min(d.toordinal() for d in part) for code, part in loads[(loads["clearing"] == 1) & loads["day"].notna()].groupby("plot")["day"]}
    cut = np.array([on < gone.get(code, 10**7) <= target + WINDOW_DAYS for code, on, target in zip(past["plot"], past["on_day"], past["target"])], bool)
    return pd.DataFrame({"replayed": past["replayed"].to_numpy(bool), "chance": past["chance"].to_numpy(float), "met": met, "cut": cut & ~met, "passed": passed & ~met & ~cut})


def of_plot(db: Database, code: str) -> Pairs:
    """The same pairs of one plot, without the plain rules."""
    found, _, _ = _found(db, said_frame(store.SAID.about(db, until_week(db), plot=code)), [code])
    return _as_pairs(found, *(_forecast(db, found)[:2] if len(found) else (np.zeros(0), np.zeros(0))), {})


def _found(db: Database, said: pd.DataFrame, plots: list[str]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """(pairs with no pass between, rounds that came, pairs with one)."""
    seen = inputs.seen(db, plots)
    at, m = np.nonzero(seen.mask)
    came = pd.DataFrame({"plot": np.array(plots, object)[at], "day": seen.day[at, m].astype(np.int64), "seen": seen.mean[at, m], "n": seen.n[at, m], "known": seen.known[at, m]})
    found = match(said, came)
    between = cut_since(db, found)
    return found[~between].reset_index(drop=True), came, found[between]


def _forecast(db: Database, found: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(mean on the day of the round, sd of what such a round reads, sd of a round's own error) of every pair, °Bx."""
    fit = service.answer(db).meta["fit"]  # of words stored without the noise of a round: today's
    noise = found["visit_sd_deg"].astype(float).fillna(fit["visit_deg"]) ** 2 + found["plant_sd_deg"].astype(float).fillna(fit["plant_deg"]) ** 2 / found["n"] + found["known"]
    return _moved(found), np.sqrt(found["sd_deg"] ** 2 + noise).to_numpy(float), np.sqrt(noise).to_numpy(float)


def _moved(found: pd.DataFrame) -> np.ndarray:
    """[N] °Bx as said, on the day of what was seen."""
    return (found["mean_deg"] + found["rate_deg_week"].astype(float).fillna(0.0) * (found["day"] - found["target"]) / 7).to_numpy(float)


def _as_pairs(found: pd.DataFrame, mean: np.ndarray, sd: np.ndarray, rules: dict) -> Pairs:
    columns = [found[name].to_numpy() if name in found else np.zeros(0) for name in ("plot", "on_day", "day", "weeks")]
    part, of = _rare(found) if len(found) else (np.zeros(0), rare.kind())
    return Pairs(columns[0], *(c.astype(np.int64) for c in columns[1:]), mean, sd, found["seen"].to_numpy(float) if len(found) else np.zeros(0), found["replayed"].to_numpy(bool) if len(found) else np.zeros(0, bool), rules,
                 rare.thinned(part, found["sd_deg"].to_numpy(float), sd) if len(found) else part, of)


def _rare(said: pd.DataFrame) -> tuple[np.ndarray, rare.Kind]:
    """[N] part and kind as said; no part where it was said before there was one."""
    now = rare.kind()
    part, chance, up = (said[name].astype(float).fillna(usual).to_numpy() for name, usual in (("rare_part", 0.0), ("rare_chance", now.chance), ("rare_up", now.up)))
    return part, rare.Kind(chance, up)


def _rules(db: Database, found: pd.DataFrame, came: pd.DataFrame, plots: list[str], noise: np.ndarray) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Plain rules' (mean, sd) for every pair, each made only of the rounds up to the day on which ours was said."""
    peak = float(settings.load(db)["peak_age_months"])
    planted_on = land.plots(db)["planted_on"]
    usual = float(np.median([d.toordinal() for d in planted_on if d] or [clock.of(db).today().toordinal() - 48 * 30.4375]))
    planted = np.array([planted_on[code].toordinal() if planted_on[code] else usual for code in plots])
    where = {code: i for i, code in enumerate(plots)}
    rounds = came.sort_values(["plot", "day"])
    at, day, value = rounds["plot"].map(where).to_numpy(int), rounds["day"].to_numpy(float), rounds["seen"].to_numpy(float)
    want, want_day = found["plot"].map(where).to_numpy(int), found["day"].to_numpy(float)
    kind = np.array([HORIZONS_WEEKS.index(w) for w in found["weeks"]])
    practice = lambda plot, when: curve.practice((when - planted[plot]) / 30.4375, peak) + curve.season(when) @ curve.season_practice()  # noqa: E731
    out = {name: (np.zeros(len(found)), np.zeros(len(found))) for name in ("last", "practice", "pooled")}
    every = plain_rules.pairs(at)
    for on_day in np.unique(found["on_day"]):
        mine, early = np.flatnonzero(found["on_day"] == on_day), day <= on_day
        among = plain_rules.pairs_before(every, early)
        for name, (mean, sd) in out.items():
            if early.sum() < 2:
                mean[mine], sd[mine] = practice(want[mine], want_day[mine]), NOTHING_SEEN_SD_DEG
                continue
            if name == "last":
                base, ahead = np.zeros(early.sum()), np.zeros(len(mine))
            elif name == "practice" or early.sum() < LEAST_EARLIER or np.ptp(day[early]) < LEAST_SPAN_DAYS:
                base, ahead = practice(at[early], day[early]), practice(want[mine], want_day[mine])
            else:
                seen_at = (day[early] - planted[at[early]]) / 30.4375
                age = lambda plot, when: np.clip((when - planted[plot]) / 30.4375, seen_at.min(), seen_at.max())  # noqa: E731, B023
                beta = plain_rules.pooled_curve(seen_at, day[early], value[early])
                base, ahead = (plain_rules.age_and_season(age(p, d), d) @ beta for p, d in ((at[early], day[early]), (want[mine], want_day[mine])))
            mean[mine], sd[mine] = plain_rules.carried(plain_rules.Earlier(at[early], day[early], value[early], base), want[mine], ahead, kind[mine], len(plots), among=among)
    return {name: (mean, np.maximum(sd, noise)) for name, (mean, sd) in out.items()}


def say_again(db: Database, copy: Database, on_day: date) -> int:
    """Fit the copy of a past day and keep what it says as made afterwards; how many words."""
    service.fit(copy)
    with atomic(db):
        return store.SAID.repeat(db, copy, on_day.isoformat())


def forget_replayed(db: Database, but: list[str]) -> None:
    """Words made afterwards on other days than these."""
    with atomic(db):
        store.SAID.drop_replayed(db, but)
