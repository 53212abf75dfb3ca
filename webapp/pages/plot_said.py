"""What was said of one plot and what came: the pairs of the estate's track record, of this plot alone."""

from __future__ import annotations

from datetime import date
from itertools import takewhile
from math import exp
from typing import Any

from ..ripeness.track import Z80, Pairs


def rows(pairs: Pairs, log: bool = False) -> list[dict[str, Any]]:
    """Newest first, one entry an outcome: {day, seen, said: [{weeks, on, mean, low, high (80 %), off, inside, replayed}]}.

    ``log`` pairs come out as they were before the logarithm, ``off`` then as a share of what was said.
    """
    plain = exp if log else float
    (low, high), inside = pairs.ends(), pairs.inside()
    out: dict[int, dict[str, Any]] = {}
    for i in sorted(range(len(pairs)), key=lambda i: (-pairs.day[i], pairs.weeks[i])):
        mean, seen, least = float(pairs.mean[i]), float(pairs.seen[i]), float(low[i]) if log else max(float(low[i]), 0.0)  # no juice has less than nought
        entry = out.setdefault(int(pairs.day[i]), {"day": date.fromordinal(int(pairs.day[i])), "seen": plain(seen), "said": []})
        entry["said"].append({"weeks": int(pairs.weeks[i]), "on": date.fromordinal(int(pairs.on_day[i])), "mean": plain(mean), "low": plain(least), "high": plain(float(high[i])),
                              "off": exp(seen - mean) - 1 if log else seen - mean, "inside": bool(inside[i]), "replayed": bool(pairs.replayed[i])})
    return list(out.values())


LEAST_RUN, CLEARLY_Z = 3, 2.0
"""So many outcomes in a row, and so many sds of their mean, before a run to one side is spoken of. Common practice."""


def leaning(found: list[dict[str, Any]]) -> dict[str, float] | None:
    """{n, mean} of the newest outcomes that all came out on the same side of what was said last before them, when it is more than chance; else None."""
    nearest = [min(one["said"], key=lambda said: said["weeks"]) for one in found]
    run = list(takewhile(lambda said: said["off"] * nearest[0]["off"] > 0, nearest))
    if len(run) < LEAST_RUN:
        return None
    mean = sum(said["off"] for said in run) / len(run)
    sd = sum(((said["high"] - said["low"]) / 2 / Z80) ** 2 for said in run) ** 0.5 / len(run)
    return {"n": len(run), "mean": mean} if abs(mean) > CLEARLY_Z * sd else None
