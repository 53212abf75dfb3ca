"""What was said of one plot and what came: the pairs of the estate's track record, of this plot alone."""

from __future__ import annotations

from datetime import date
from math import exp
from typing import Any

from ..ripeness.track import Pairs


def rows(pairs: Pairs, log: bool = False) -> list[dict[str, Any]]:
    """Newest first, one entry an outcome: {day, seen, said: [{weeks, on, mean, low, high (80 %), off, inside, replayed}]}.

    ``log`` pairs come out as they were before the logarithm, ``off`` then as a share of what was said.
    """
    plain = exp if log else float
    halves, inside = pairs.half80, pairs.inside80
    out: dict[int, dict[str, Any]] = {}
    for i in sorted(range(len(pairs)), key=lambda i: (-pairs.day[i], pairs.weeks[i])):
        mean, half, seen = float(pairs.mean[i]), float(halves[i]), float(pairs.seen[i])
        entry = out.setdefault(int(pairs.day[i]), {"day": date.fromordinal(int(pairs.day[i])), "seen": plain(seen), "said": []})
        entry["said"].append({"weeks": int(pairs.weeks[i]), "on": date.fromordinal(int(pairs.on_day[i])), "mean": plain(mean), "low": plain(mean - half), "high": plain(mean + half),
                              "off": exp(seen - mean) - 1 if log else seen - mean, "inside": bool(inside[i]), "replayed": bool(pairs.replayed[i])})
    return list(out.values())
