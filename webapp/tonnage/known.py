"""What the records say of a plot beside its age that moves its mean piña: the style of cutting, what passes took before, field work, capón.

Each is a column of the growth model (``pina.EXTRAS``) with an assumed effect that the estate's own weighings and loads correct.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

PRUNED_DAYS, FERTILISED_DAYS, MOST_FERTILISED = 365, 730, 2.0
MOST_TAKEN = 0.75


@dataclass(frozen=True)
class Known:
    """``usual_style`` of the estate's cuts; by plot the days of field work, (day, plants) of selective cuts, (day, share) of capón
    counted, and of plants with quiote or capón; ``plants`` planted by plot."""

    usual_style: str = "short"
    pruned: dict[str, list[date]] = field(default_factory=dict)
    fertilised: dict[str, list[date]] = field(default_factory=dict)
    picked: dict[str, list[tuple[date, float]]] = field(default_factory=dict)
    capon: dict[str, list[tuple[date, float]]] = field(default_factory=dict)
    quiotes: dict[str, list[tuple[date, float]]] = field(default_factory=dict)
    plants: dict[str, float] = field(default_factory=dict)

    def row(self, plot: str, day: date, style: str | None, clearing: Any, weighed: bool = False) -> tuple[float, ...]:
        """One row of ``pina.EXTRAS``: of a weighing, of a load (``clearing`` 0 or 1; nothing = not said) or, with neither, of the plot as it stands."""
        long, shaved = ((float((style or self.usual_style) == name) - float(self.usual_style == name)) for name in ("long", "shaved"))
        taken = min(sum(n for d, n in self.picked.get(plot, ()) if d < day) / max(self.plants.get(plot, 0.0), 1.0), MOST_TAKEN)
        selective = float(clearing is not None and clearing == 0) - taken / (1 - taken)  # what a pass of bigger plants leaves is smaller by as much as it took
        pruned = float(any(0 <= (day - d).days <= PRUNED_DAYS for d in self.pruned.get(plot, ())))
        fed = min(sum(0 <= (day - d).days <= FERTILISED_DAYS for d in self.fertilised.get(plot, ())), MOST_FERTILISED)
        capon = [share for d, share in self.capon.get(plot, ()) if d <= day]
        return long, shaved, selective, float(weighed), pruned, float(fed), capon[-1] if capon else 0.0


def gather(plants: dict[str, float], weighings: dict[str, list], loads: dict[str, list], labors: dict[str, list], counts: dict[str, list]) -> Known:
    """From the survey's lines by plot; the order of records does not matter."""
    told: dict[str, int] = {}
    for rows in (*loads.values(), *weighings.values()):
        for row in rows:
            if row.cut_style:
                told[row.cut_style] = told.get(row.cut_style, 0) + 1
    usual = min(told, key=lambda name: (-told[name], name)) if told else "short"

    def days(labor: str) -> dict[str, list[date]]:
        return {plot: [row.day for row in rows if row.labor == labor] for plot, rows in labors.items()}

    picked = {plot: [(row.day, float(row.plants)) for row in rows if row.clearing == 0 and row.plants] for plot, rows in loads.items()}
    capon, quiotes = _counted(counts, ("capon",)), _counted(counts, ("quiote", "capon"))
    return Known(usual, days("leaf_pruning"), days("fertilising"), picked, capon, quiotes, plants)


def _counted(counts: dict[str, list], names: tuple[str, ...]) -> dict[str, list[tuple[date, float]]]:
    """By plot the days on which these were counted, and their share of the plants standing."""
    out = {}
    for plot, rows in counts.items():
        seen: dict[date, list[float]] = {}
        for row in rows:
            told = [getattr(row, name) for name in names if getattr(row, name) is not None]
            if told and row.plants_standing:
                both = seen.setdefault(row.day, [0.0, 0.0])
                both[0] += float(sum(told))
                both[1] += float(row.plants_standing)
        if seen:
            out[plot] = [(day, min(some / every, 1.0)) for day, (some, every) in sorted(seen.items())]
    return out
