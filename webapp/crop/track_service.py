"""The track record as pages and the command line see it: °Brix, piñas and sugar as said and as they came; and words made afterwards."""

from __future__ import annotations

import threading
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from .. import clock, settings
from ..database import Database, path_of
from ..land import service as land
from ..ripeness import chances, plain_rules, track
from ..ripeness import service as ripeness
from ..ripeness import track_service as said_brix
from ..ripeness.track import HORIZONS_WEEKS, Pairs
from ..sentences import Sentence
from ..solver import Progress, no_progress
from ..survey import past_service
from ..survey import service as survey
from ..tonnage import constants as masses
from ..tonnage import pina
from ..tonnage import said_service as said_mass
from . import art, cut_sugar, service, tonnes_service
from . import said_service as said_tonnes

REPLAYED_DAYS, REPLAY_WEEKS = 6, 13
LEAST_ROUNDS = 12
"""Rounds from which a past day's answer is worth making."""
SAID_NEAR_DAYS = 21
SAME_PASS_DAYS = 21
_cache: dict[str, tuple[Any, dict]] = {}
_guard = threading.Lock()


def record(db: Database, only_said: bool = False) -> dict[str, Any]:
    """The whole track record; ``only_said`` leaves out what was made afterwards. Kept in the process until records or words change."""
    this = (survey.data_version(db), settings.load(db).version, clock.of(db).today(), said_brix.mark(db), ripeness.answer(db).key, only_said)
    where = f"{path_of(db) or id(db)} {only_said}"
    with _guard:
        found = _cache.get(where)
    if found is None or found[0] != this:
        found = (this, _record(db, only_said))
        with _guard:
            _cache[where] = found
    return found[1]


def _record(db: Database, only_said: bool) -> dict[str, Any]:
    told = said_brix.told(db, cut_sugar.of_clearings(survey.loads(db), service.art_line(db)))
    brix, chance, cut, fate = told.brix, told.chances, told.cut_between, told.fate
    mass, sugar, whole = mass_pairs(db), art_pairs(db), tonnes_service.held(db)
    if only_said:
        whole = whole.only_said()
        brix, chance, mass, cut, fate = brix.at(~brix.replayed), chance.at(~chance.pairs.replayed), mass.at(~mass.replayed), cut[~cut], fate[~fate["replayed"]]
    days = [row for row in said_brix.days(db) if not only_said or row["said_from"] == "when_said"]
    by_day = {date.fromordinal(int(day)).isoformat(): track.judge(brix.at(brix.on_day == day)) for day in np.unique(brix.on_day)}
    return {"today": clock.of(db).today().isoformat(), "horizons_weeks": list(HORIZONS_WEEKS), "window_days": track.WINDOW_DAYS, "least_pairs": track.LEAST_PAIRS,
            "days": [{**row, "pairs": by_day.get(row["on_day"], {}).get("n", 0), "cover80": by_day.get(row["on_day"], {}).get("cover80")} for row in days], "cut_between": len(cut), "next_pairs_by": _next_pairs(db, days),
            "brix": _by_horizon(brix) | {"calibration": track.calibration(brix), "worst": _worst(brix), "latest": _latest(brix)},
            "chance": chances.judge(chance) | {"fate": _fate(fate)},
            "mass": _by_horizon(mass) | {"calibration": track.calibration(mass)}, "tonnes": tonnes_service.record(whole), "art": track.judge(sugar) | {"calibration": track.calibration(sugar), "line": _line(db)}}


def _fate(fate: pd.DataFrame) -> dict[str, Any]:
    """Of everything said whose week has passed or that was met before it: how many met a round or a clearing's sugar, were cut before one (and
    what chance was said of those), and the rest, with how many of these met a round after a pass."""
    cut = fate[fate["cut"]]
    return {"said": len(fate), "met": int(fate["met"].sum()), "cut": len(cut), "cut_said": float(cut["chance"].mean()) if len(cut) else None, "unseen": int((~fate["met"] & ~fate["cut"]).sum()), "passed": int(fate["passed"].sum())}


def _by_horizon(p: Pairs) -> dict[str, Any]:
    return {"all": track.judge(p), "by_weeks": {str(w): track.judge(p.at(p.weeks == w)) for w in HORIZONS_WEEKS}}


def _worst(p: Pairs) -> list[dict]:
    low, high = p.ends()
    return [{**row, "on_day": date.fromordinal(int(p.on_day[row["last"]])).isoformat(), "day": date.fromordinal(int(p.day[row["last"]])).isoformat(), "weeks": int(p.weeks[row["last"]]),
             "said_deg": float(p.mean[row["last"]]), "low80_deg": float(low[row["last"]]), "high80_deg": float(high[row["last"]]), "seen_deg": float(p.seen[row["last"]])}
            for row in track.worst(p)]


def _latest(p: Pairs) -> dict[str, Any] | None:
    found = track.latest(p)
    return found and found | {name: date.fromordinal(found[name]).isoformat() for name in ("first", "last")}


def lately(judged: dict, latest: dict | None) -> Sentence | None:
    """What the newest days show that the verdict on all of them does not, when it is more than chance gives; None otherwise."""
    if not judged["enough"] or latest is None or latest["kind"] == "same" or (latest["kind"] == "wide" and judged["cover80"]["low"] > 0.8):
        return None
    spoken = Sentence("track.latest.days", {"n": latest["days"], "first": latest["first"], "last": latest["last"]})
    return Sentence(f"track.latest.{latest['kind']}", {"spoken": spoken, "share": 100 * latest["cover80"]["value"], "low": 100 * latest["cover80"]["low"], "high": 100 * latest["cover80"]["high"], "before": 100 * latest["before"]["value"], "n": latest["n"]})


def _line(db: Database) -> dict[str, Any]:
    line, s = service.art_line(db), settings.load(db)
    return {"art_percent_per_brix": line.slope, "sd": line.sd, "loads": line.n, "assumed": s["art_per_brix"], "by_lab": {name: list(v) for name, v in line.by_lab.items()},
            "load_sd": line.load_sd, "load_learned": line.learned, "load_assumed": art.LOAD_SD, "load_least": art.LEAST_LOADS, "load_weight": art.FREEDOM}


def _next_pairs(db: Database, days: list[dict]) -> str | None:
    """The first day on which what has been said can meet a round (ISO date), when nothing has yet."""
    return (date.fromisoformat(days[-1]["on_day"]) + timedelta(weeks=HORIZONS_WEEKS[0])).isoformat() if days else None


def mass_pairs(db: Database) -> Pairs:
    """Mass per piña as said (log kg) against what the scale gave per plant of a pass."""
    return _mass(db, said_mass.said(db, said_brix.until_week(db)), _passes(survey.loads(db)), rules=True)


def of_plot(db: Database, code: str) -> dict[str, Pairs]:
    """One plot's pairs of ``brix`` and ``mass`` (log kg per piña), as in the whole record."""
    loads = survey.loads(db)
    return {"brix": said_brix.of_plot(db, code), "mass": _mass(db, said_mass.said(db, said_brix.until_week(db), code), _passes(loads[loads["plot"] == code]), rules=False)}


def _mass(db: Database, said: list[dict], came: pd.DataFrame, rules: bool) -> Pairs:
    found = track.match(said_brix.said_frame(said), came)
    if not len(found):
        return Pairs(*(np.zeros(0) for _ in range(7)), np.zeros(0, bool))
    noise = np.sqrt(float(masses.PINA_CV) ** 2 / found["plants"] + float(masses.LOAD_LOG_SD) ** 2 + float(masses.UNLIKE_LOG_SD) ** 2).to_numpy(float)
    return Pairs(found["plot"].to_numpy(), *(found[n].to_numpy(np.int64) for n in ("on_day", "day", "weeks")), np.log(found["pina_kg"].to_numpy(float)), np.hypot(found["pina_log_sd"].to_numpy(float), noise),
                 found["log_kg"].to_numpy(float), found["replayed"].to_numpy(bool), _mass_rules(db, found, noise) if rules else {})


def _passes(loads: pd.DataFrame) -> pd.DataFrame:
    """Loads of one plot at most three weeks apart as one outcome: plot, day (its middle), plants, log kg per plant."""
    good = loads[(loads["net_kg"] > 0) & (loads["plants"] > 0) & loads["day"].notna()]
    good = good.assign(at=[d.toordinal() for d in good["day"]]).sort_values(["plot", "at", "id"])
    new = (good["plot"] != good["plot"].shift()) | (good["at"] - good["at"].shift() > SAME_PASS_DAYS)
    sums = good.groupby(new.cumsum().to_numpy(), sort=True).agg(plot=("plot", "first"), day=("at", "median"), plants=("plants", "sum"), net_kg=("net_kg", "sum"))
    return sums.assign(day=sums["day"].astype(np.int64), log_kg=np.log(sums["net_kg"] / sums["plants"])).drop(columns="net_kg").reset_index(drop=True)


def _mass_rules(db: Database, found: pd.DataFrame, noise: np.ndarray) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """What the scale last said of the plot (else the estate's mean), as it stands and moved along the default growth curve."""
    frame, s = land.plots(db), settings.load(db)
    plots = list(frame.index)
    where = {code: i for i, code in enumerate(plots)}
    usual = float(np.median([d.toordinal() for d in frame["planted_on"] if d] or [clock.of(db).today().toordinal() - 1461]))
    planted = np.array([d.toordinal() if d else usual for d in frame["planted_on"]])
    growth = pina.Curve(s["pina_asymptote_kg"], s["pina_shape"], s["pina_rate_per_year"])
    curve = lambda plot, day: np.log(pina.gompertz_kg(np.maximum((day - planted[plot]) / 365.25, 0.1), growth))  # noqa: E731
    weighed = survey.weighings(db)
    weighed = weighed[(weighed["mass_kg"] > 0) & weighed["plot"].isin(where)]
    means = weighed.groupby(["plot", "day"], sort=True)["mass_kg"].mean().reset_index()
    seen = pd.concat([pd.DataFrame({"plot": means["plot"], "day": [d.toordinal() for d in means["day"]], "log_kg": np.log(means["mass_kg"])}), _passes(survey.loads(db))[["plot", "day", "log_kg"]]])
    seen = seen[seen["plot"].isin(where)].sort_values(["plot", "day"])
    at, day, value = seen["plot"].map(where).to_numpy(int), seen["day"].to_numpy(float), seen["log_kg"].to_numpy(float)
    want, want_day = found["plot"].map(where).to_numpy(int), found["day"].to_numpy(float)
    kind = np.array([HORIZONS_WEEKS.index(w) for w in found["weeks"]])
    out = {name: (np.zeros(len(found)), np.zeros(len(found))) for name in ("last", "practice")}
    every = plain_rules.pairs(at)
    for on_day in np.unique(found["on_day"]):
        mine, early = np.flatnonzero(found["on_day"] == on_day), day <= on_day
        among = plain_rules.pairs_before(every, early)
        for name, (mean, sd) in out.items():
            base, ahead = (curve(at[early], day[early]), curve(want[mine], want_day[mine])) if name == "practice" or not early.any() else (np.zeros(early.sum()), np.zeros(len(mine)))
            got = plain_rules.carried(plain_rules.Earlier(at[early], day[early], value[early], base), want[mine], ahead, kind[mine], len(plots), among=among)
            mean[mine], sd[mine] = got[0], np.where(np.isfinite(got[1]), got[1], float(masses.LEVEL_LOG_SD))
    return {name: (mean, np.maximum(sd, noise)) for name, (mean, sd) in out.items()}


def art_pairs(db: Database) -> Pairs:
    """The laboratory's ART of a load (% of fresh mass) against what its plot's °Brix said by the line, plot and laboratory of the loads known the month before."""
    s, ripe = settings.load(db), ripeness.answer(db)
    used = sorted(service.art_loads(db, ripe, s), key=lambda u: (u["day"], u["plot"], u["art_percent"]))
    if not used:
        return Pairs(*(np.zeros(0) for _ in range(7)), np.zeros(0, bool))
    day, known = (np.array([(u[name] or u["day"]).toordinal() for u in used]) for name in ("day", "lab_day"))
    brix, percent, lab = (np.array([u[name] for u in used]) for name in ("brix_deg", "art_percent", "lab"))
    month = np.array([u["day"].replace(day=1).toordinal() for u in used])
    plot = np.array([u["plot"] for u in used], object)
    ratio, sd, mean_before = np.zeros(len(used)), np.zeros(len(used)), np.full(len(used), np.nan)
    for start in np.unique(month):
        before, mine = known < start, month == start
        line = art.fit(brix[before], percent[before], list(lab[before]), s["art_per_brix"], s["art_per_brix_sd"], list(plot[before]))
        ratio[mine], sd[mine] = art.of_load(line, lab[mine], plot[mine])
        if before.sum() >= 2:
            mean_before[mine] = percent[before].mean()
    spread = np.array([percent[known < start].std() if (known < start).sum() >= 2 else np.nan for start in month])
    assumed = (brix * s["art_per_brix"], brix * np.hypot(s["art_per_brix_sd"], art.LOAD_SD))
    rules = {"assumed": assumed, "last": (np.where(np.isnan(mean_before), assumed[0], mean_before), np.where(np.isnan(spread), assumed[1], np.maximum(spread, 0.1)))}
    return Pairs(plot, month, day, np.zeros(len(used), int), brix * ratio, brix * sd, percent, np.zeros(len(used), bool), rules)


def replay(db: Database, progress: Progress = no_progress, count: int = REPLAYED_DAYS) -> dict[str, Any]:
    """Make what would have been said on ``count`` days a quarter apart, from the records taken up to each: stored as made afterwards.

    A day near one on which something was really said is left alone, and so is one with hardly a round before it.
    The same records give the same words; stopping keeps the days already made.
    """
    wanted = replay_days(db, count)
    made: list[dict] = []
    said_brix.forget_replayed(db, [day.isoformat() for day in wanted])
    said_mass.forget_replayed(db, [day.isoformat() for day in wanted])
    said_tonnes.forget_replayed(db, [day.isoformat() for day in wanted])
    if wanted:
        with past_service.past(db) as back_to:
            for i, day in enumerate(wanted):
                if not progress(i / len(wanted), "work.replay"):
                    break
                copy, stood = back_to(day)
                words = said_brix.say_again(db, copy, day) + said_mass.say_again(db, copy, day)
                service.say_tonnes(copy)
                made.append({"on_day": day.isoformat(), "plots": len(stood), "words": words + said_tonnes.repeat(db, copy, day)})
    progress(1.0, "work.done")
    return {"days": made}


def replay_days(db: Database, count: int = REPLAYED_DAYS) -> list[date]:
    """The days to replay, newest first."""
    today = clock.of(db).today()
    spoken = [date.fromisoformat(row["on_day"]) for row in said_brix.days(db) if row["said_from"] == "when_said"]
    readings = survey.readings(db)
    rounds = np.sort([d.toordinal() for d in readings.drop_duplicates(["plot", "round", "day"])["day"]])
    days = [today - timedelta(weeks=REPLAY_WEEKS * k) for k in range(1, count + 1)]
    return [d for d in days if np.searchsorted(rounds, d.toordinal(), "right") >= LEAST_ROUNDS and not any(abs((d - other).days) <= SAID_NEAR_DAYS for other in spoken)]
