"""What is really so in every plot: read by tests and the bench, never by the product."""

from __future__ import annotations

from datetime import date, timedelta

from demo_fields import history, laws
from demo_fields.planting import TODAY, Plot

HORIZONS = (0, 13, 26, 52, 104)
COLUMNS = ("code", "zone", "status", "planted_on", "pace_months", "level_deg", *(f"brix_{'today' if not w else f'{w}w'}_deg" for w in HORIZONS),
           *(f"share_{'today' if not w else f'{w}w'}" for w in HORIZONS), "first_ripe_week", "planted_plants", "standing_plants", "pina_kg", "standing_t",
           *(f"standing_{w}w_t" for w in HORIZONS[1:]))


def row(plot: Plot) -> dict:
    """One line of truth.csv; values of week w are those of its Wednesday."""
    out = {"code": plot.code, "zone": plot.zone, "status": plot.status, "planted_on": plot.planted_on.isoformat(), "pace_months": f"{plot.pace_months:.1f}",
           "level_deg": f"{plot.level_deg:.2f}", "planted_plants": plot.planted}
    spread = history.spread_at(plot, TODAY)
    for weeks in HORIZONS:
        day, name = day_of(weeks), "today" if not weeks else f"{weeks}w"
        if plot.status == "standing":
            mean = plot.unpicked_mean(day)
            out[f"brix_{name}_deg"] = f"{mean + spread.mean():.2f}"
            out[f"share_{name}"] = f"{spread.above(laws.TARGET_DEG - mean):.4f}"
        standing = plot.standing(day)
        tonnes = standing * plot.pina_kg(day) / 1000
        if weeks:
            out[f"standing_{weeks}w_t"] = f"{tonnes:.1f}"
        else:
            out.update(standing_plants=round(standing), pina_kg=f"{plot.pina_kg(day):.2f}" if standing else "", standing_t=f"{tonnes:.1f}")
    out["first_ripe_week"] = first_ripe_week(plot, spread)
    return out


def day_of(weeks: int) -> date:
    return TODAY + timedelta(weeks=weeks, days=2)


def first_ripe_week(plot: Plot, spread: laws.Spread) -> str:
    """First ISO week, within ten years, in which half of the standing plants reach the target; empty for a cut plot."""
    if plot.status != "standing":
        return ""
    for weeks in range(520):
        day = day_of(weeks)
        if spread.above(laws.TARGET_DEG - plot.unpicked_mean(day)) >= 0.5:
            year, week, _ = day.isocalendar()
            return f"{year}-W{week:02d}"
    return ""


def totals(plots: list[Plot]) -> list[dict]:
    """Estate-wide truth: hectares by planting year, tonnes now, and tonnes by the year in which half a plot is first ripe."""
    lines = []

    def say(quantity, year, value, unit):
        lines.append({"quantity": quantity, "year": year, "value": f"{value:.1f}", "unit": unit})
    for year in sorted({p.planted_on.year for p in plots}):
        say("planted", year, sum(p.area_ha for p in plots if p.planted_on.year == year), "ha")
    for year in sorted({p.planted_on.year for p in plots}):
        say("planted_and_standing", year, sum(p.area_ha for p in plots if p.planted_on.year == year and p.status == "standing"), "ha")
    day = day_of(0)
    standing = [p for p in plots if p.status == "standing"]
    tonnes = {p.code: p.standing(day) * p.pina_kg(day) / 1000 for p in standing}
    share = {p.code: history.spread_at(p, TODAY).above(laws.TARGET_DEG - p.unpicked_mean(day)) for p in standing}
    say("standing", "", sum(tonnes.values()), "t")
    say("ripe", "", sum(tonnes[c] * share[c] for c in tonnes), "t")
    say("ripe_in_plots_half_ripe", "", sum(tonnes[c] * share[c] for c in tonnes if share[c] >= 0.5), "t")
    by_year: dict[int, float] = {}
    for p in standing:
        week = first_ripe_week(p, history.spread_at(p, TODAY))
        if week:
            first = date.fromisocalendar(int(week[:4]), int(week[6:]), 3)
            by_year[first.year] = by_year.get(first.year, 0.0) + p.standing(first) * p.pina_kg(first) / 1000
    for year, value in sorted(by_year.items()):
        say("first_half_ripe", year, value, "t")
    say("need", "", 280.0 * 48, "t/year")
    return lines
