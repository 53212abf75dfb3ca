"""What this machine reaches, as ratios against baselines measured in the same run."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any, Callable

import click

from ..bench import field_parts, map_drawing, ripeness_size, ripeness_truth, tied_truth, tonnes_truth, visits_gain
from ..cli import Edge
from ..database import Database, backup, open_estate
from ..problems import Problem

PARTS = ("receiving", "pages", "fit", "coverage", "cutting", "field")
LONG = ("truth", "tonnes", "tie", "region", "visits", "map")
"""Asked for by name only: they take tens of minutes."""
TIE_ESTATES = 40
"""Of tie, estates per correlation at the most."""
VISITS_ESTATES = 12
"""Of visits, estates per law at the most: each rule is tried on the same ones."""
RIPENESS = ("fit", "coverage", "region", "map", "visits", "truth", "tonnes", "tie")
"""Everything that is promised of ripeness and tonnes, in one run; half an hour with sixty estates a law."""
TOGETHER = {"all": PARTS, "ripeness": RIPENESS}
WITHOUT_ESTATE = ("field", *LONG)


@click.command("bench")
@click.argument("part", type=click.Choice([*PARTS, *LONG, *TOGETHER]), default="all")
@click.option("--seconds", type=click.FloatRange(5, 600), default=60.0, show_default=True, help="Para cada plan de jima / for each cutting plan.")
@click.option("--only", "only", multiple=True, type=click.Choice(field_parts.NAMES), help="De field, sólo esto / of field, only this.")
@click.option("--estates", type=click.IntRange(2, 1000), default=60, show_default=True, help="De truth, ranchos por ley / of truth, estates per law.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def bench_command(edge: Edge, part: str, seconds: float, only: tuple[str, ...], estates: int, as_json: bool) -> None:
    """Razones contra lo de comparar, medidas en una corrida / ratios against baselines, measured in one run.

    Without --estate on a demo made for the purpose; with it, on a copy of that estate. The phone (field) is
    always measured against a made-up estate of two hundred plots; the ripening model's truth (truth) and
    the tonnage's (tonnes) on estates simulated by laws that are not theirs, what joins piñas and ripeness (tie) on estates where it is known, speed (region) on a thousand and ten thousand plots,
    the map (map) on five thousand drawn. All of these that concern ripeness and tonnes, one after the other: ripeness.
    """
    given = click.get_current_context().parent.get_parameter_source("path") is not click.core.ParameterSource.DEFAULT
    with tempfile.TemporaryDirectory(prefix="pinario-bench-") as name:
        folder = Path(name)
        tell = lambda code, **params: click.echo(edge.words(f"bench.step.{code}", **params), err=True)  # noqa: E731
        db = None
        if part not in WITHOUT_ESTATE:
            tell("copy" if given else "demo")
            db = _copy(edge, folder) if given else _demo(folder)
        found: dict[str, Any] = {}
        for step in TOGETHER.get(part, (part,)):
            tell(step, seconds=seconds)
            if step == "truth":
                _statsmodels()
                found[step] = ripeness_truth.measure(estates, told=lambda law: tell("truth_law", law=law))
            elif step == "tonnes":
                found[step] = tonnes_truth.measure(estates, told=lambda law: tell("truth_law", law=law))
            elif step == "tie":
                found[step] = tied_truth.measure(min(estates, TIE_ESTATES), told=lambda correlation: tell("tie_at", correlation=correlation))
            elif step == "visits":
                found[step] = visits_gain.measure(min(estates, VISITS_ESTATES), told=lambda law: tell("truth_law", law=law))
            elif step == "region":
                _statsmodels()
                found[step] = ripeness_size.measure(lambda plots: tell("region_size", plots=plots))
            elif step == "map":
                found[step] = map_drawing.measure(folder, told=lambda what: tell(f"map_{what}"))
            elif step == "field":
                found[step] = field_parts.measure(folder, only or field_parts.NAMES, lambda name: tell(f"field_{name}"))
            else:
                found[step] = MEASURES[step](db, folder, seconds)
            if not as_json:
                for line in LINES[step](edge, found[step]):
                    click.echo(line)
        if as_json:
            edge.answer(found)
        if db is not None:
            db.conn.close()


def _copy(edge: Edge, folder: Path) -> Database:
    """A copy, so that measuring leaves the estate as it was; answered first, for pages serve stored answers."""
    source = edge.open()
    backup(source, folder / "estate.db")
    source.conn.close()
    return _answered(open_estate(folder / "estate.db"))


def _demo(folder: Path) -> Database:
    from .seeding import demo_estate

    db = open_estate(folder / "estate.db", create=True)
    demo_estate(db)
    return _answered(db)


def _answered(db: Database) -> Database:
    from ..land import service as land
    from ..work import estimates

    if not (land.plots(db)["status"] == "standing").any():
        raise Problem("bench_no_plots")
    estimates(db)
    return db


def _a_plot(db: Database) -> str:
    """The standing plot with the most readings: the heaviest page, and a place for new records."""
    from ..ripeness import service as ripeness

    about = ripeness.answer(db).meta["by_plot"]
    return max(sorted(about), key=lambda code: about[code]["n_visits"])


def _receiving(db: Database, folder: Path, seconds: float) -> dict:
    from ..bench import receiving

    scratch = folder / "receiving.db"
    backup(db, scratch)
    copy = open_estate(scratch)
    try:
        return receiving.measure(copy, folder, _a_plot(copy))
    finally:
        copy.conn.close()


def _pages(db: Database, folder: Path, seconds: float) -> dict:
    from ..bench import page_times, thousand_plots
    from ..work import cutting, outlook

    scratch = folder / "pages.db"
    backup(db, scratch)
    copy = open_estate(scratch)
    outlook(copy)
    cutting(copy, {"seconds": 5})
    thousand_plots.build(folder / "thousand.db").conn.close()
    times = page_times.measure(str(scratch), _a_plot(copy))
    copy.conn.close()
    return {"pages": times, "target_ms": page_times.TARGET_MS, **page_times.phone_weight(), **page_times.map_weight(str(folder / "thousand.db"))}


def _fit(db: Database, folder: Path, seconds: float) -> dict:
    from ..bench import against_truth, ripeness_fit
    from .seeding import FOLDER

    _statsmodels()
    return ripeness_fit.measure(db, {code: float(row["brix_today_deg"]) for code, row in against_truth.truth(db, FOLDER).items() if row["brix_today_deg"]})


def _statsmodels() -> None:
    try:
        import statsmodels  # noqa: F401
    except ImportError as error:
        raise Problem("bench_no_statsmodels") from error


def _coverage(db: Database, folder: Path, seconds: float) -> dict:
    """Of the demo alone: no other estate comes with what is really so."""
    from ..bench import against_truth
    from .seeding import FOLDER

    true = against_truth.truth(db, FOLDER)
    if not true:
        return {"intervals": {}, "faults": {}}
    return {"intervals": against_truth.coverage(db, true), "faults": against_truth.faults(db, FOLDER)}


def _cutting(db: Database, folder: Path, seconds: float) -> dict:
    from ..bench import cutting_plan

    return cutting_plan.measure(db, seconds)


def _receiving_lines(edge: Edge, m: dict):
    for name in ("batch", "record"):
        yield edge.words(f"bench.receiving.{name}", ours_ms=m[f"{name}_ms"], floor_ms=m[f"{name}_floor_ms"], ratio=m[f"{name}_ratio"], p95_ms=m[f"{name}_p95_ms"], per_s=m["records_per_s"])


def _pages_lines(edge: Edge, m: dict):
    for page, t in m["pages"].items():
        yield edge.words("bench.pages.page" if t["p95_ms"] <= m["target_ms"] else "bench.pages.slow", page=page, target_ms=m["target_ms"], **t)
    yield edge.words("bench.pages.phone", kb=m["phone_shell_kb"], target_kb=m["phone_shell_target_kb"])
    yield edge.words("bench.pages.map", plots=m["map_plots"], kb=m["map_kb"], script_kb=m["map_script_kb"], data_kb=m["map_data_kb"], target_kb=m["map_target_kb"])


def _fit_lines(edge: Edge, m: dict):
    yield edge.words("bench.fit.fit", **m)
    if "error_deg" in m:
        yield edge.words("bench.fit.error", **m)


def _coverage_lines(edge: Edge, m: dict):
    if not m["intervals"]:
        yield edge.words("bench.coverage.none")
        return
    for week, c in m["intervals"].items():
        yield edge.words("bench.coverage.week", week=int(week), **{name: 100 * c[name] for name in ("brix80", "brix95", "share80", "tonnes80", "tonnes_bias")}, brix_bias_deg=c["brix_bias_deg"])
    yield edge.words("bench.coverage.plants", plants80=100 * m["intervals"]["0"]["plants80"], plots=m["intervals"]["0"]["plots"])
    yield edge.words("bench.coverage.faults", planted=m["faults"]["planted"], found=m["faults"]["found"], missed=len(m["faults"]["missed"]), alarms=len(m["faults"]["false_alarms"]))
    yield from (f"  {line}" for line in m["faults"]["missed"] + m["faults"]["false_alarms"])


def _cutting_lines(edge: Edge, m: dict):
    yield edge.words("bench.cutting.plan", plan=m["plan_mxn"] / 1e6, seconds=m["plan_s"])
    if "bound_mxn" in m:
        yield edge.words("bench.cutting.bound", bound=m["bound_mxn"] / 1e6, room=100 * m["room_mxn"] / max(abs(m["bound_mxn"]), 1.0))
    for key, value in m.items():
        if key.startswith("better_than_"):
            how = key.removeprefix("better_than_")
            name = edge.words("bench.cutting.name_unaided") if how == "unaided" else edge.words(f"cutting.rule.{how}")
            yield edge.words("bench.cutting.against", name=name, value=m[f"{how}_mxn"] / 1e6, better=100 * value)


def _field_lines(edge: Edge, m: dict):
    """Each measurement beside its target; whether it is met is said in words."""
    for name, one in m.items():
        yield edge.words(f"bench.field.{name}", verdict=edge.words("bench.field.met" if one["met"] else "bench.field.not_met"), **one)


def _law_lines(edge: Edge, law: str, found: dict, names: tuple[str, ...]):
    horizons = list(ripeness_truth.HORIZONS)
    yield edge.words("bench.truth.law", law=law, estates=found["estates"])
    yield f"  {'':<34}" + "".join(f"{h:>15}" for h in horizons)
    for name in names:
        if name in found:
            marks = ["" if kept else "*" for kept in found["cells"].get(name, [True] * len(horizons))]
            cells = [f"{v:.3f}{mark}" + (f" ±{se:.3f}" if f"{name}_se" in found else "") for v, se, mark in zip(found[name], found.get(f"{name}_se", found[name]), marks)]
            yield f"  {edge.words(f'bench.truth.{name}'):<34}" + "".join(f"{cell:>15}" for cell in cells)


def _tonnes_lines(edge: Edge, m: dict):
    for law, found in m.items():
        yield from _law_lines(edge, law, found, tonnes_truth.TOLD)
        yield edge.words("bench.truth.ready_bias", bias=100 * found["ready_bias"], size=100 * found["ready_bias_size"])


def _tie_lines(edge: Edge, m: dict):
    for found in m.values():
        yield edge.words("bench.tie.found", **{name: found[name] for name in ("estates", "plots", "true", "found")}, held=100 * found["found_held"], level=100 * found["level_held"], pace=100 * found["pace_held"])
        for name in tied_truth.SUMS:
            for end in ("", "_apart"):
                yield edge.words(f"bench.tie.sum{end}", what=edge.words(f"bench.tie.{name}"), **{f"{kind}{i}": 100 * found[f"{name}{column}{end}"][i] for kind, column in (("held", "80"), ("bias", "_bias")) for i in range(len(tied_truth.WEEKS))})


def _truth_lines(edge: Edge, m: dict):
    """A block a law: every cell by itself, an asterisk where it leaves its band by more than two standard errors."""
    for law, found in m.items():
        yield from _law_lines(edge, law, found, ripeness_truth.TOLD)
        yield edge.words("bench.truth.first_week", weeks=found["first_week_median"], held=100 * found["first_week_held"], se=100 * found["first_week_held_se"])
        yield edge.words("bench.truth.chance", pairs=_pairs(found["chance"]))
        if "chance_best" in found:
            yield edge.words("bench.truth.first_week_best", weeks=found["first_week_median_best"])
            yield edge.words("bench.truth.chance_best", pairs=_pairs(found["chance_best"]))


def _pairs(tenths: list[list[float]]) -> str:
    return "  ".join(f"{said:.2f}→{came:.2f} ±{se:.2f} ({n})" for said, came, n, se in tenths if n)


def _visits_lines(edge: Edge, m: dict):
    """An hour's narrowing by our round and by each simple rule, and the ratio."""
    for law, found in m.items():
        yield edge.words("bench.visits.law", law=law, estates=found["estates"])
        yield edge.words("bench.visits.ours", **found["rules"]["ours"])
        for rule, times in found["times"].items():
            yield edge.words("bench.visits.rule", rule=edge.words(f"bench.visits.{rule}"), **found["rules"][rule], **{f"{name}_times": f"{t:.1f}×" if t < visits_gain.MOST_TIMES else f"> {visits_gain.MOST_TIMES:.0f}×" for name, t in times.items()})


def _region_lines(edge: Edge, m: dict):
    """The fit and the forecasts at the size of a region, each figure beside its target."""
    for name, one in m.items():
        if name not in ("growth", "mixed"):
            full = name.endswith("_full")
            yield edge.words("bench.region.full" if full else "bench.region.sample", target_s=ripeness_size.TARGETS["full_fit_s" if full else "fit_s"], forecast_target_s=ripeness_size.TARGETS["forecast_s"],
                             rss_target_mb=ripeness_size.TARGETS["rss_mb"], one_visit_target_ms=ripeness_size.TARGETS["one_visit_ms"], **one)
    yield edge.words("bench.region.growth", target=ripeness_size.TARGETS["growth"], **m["growth"])
    yield edge.words("bench.region.mixed", target=ripeness_size.TARGETS["mixed_times"], far_target=ripeness_size.TARGETS["mixed_times_far"], **m["mixed"])


def _map_lines(edge: Edge, m: dict):
    """Bytes, picture and step of the map of a region, each beside its target and folium's own layer of the same run."""
    t = map_drawing.TARGETS
    for name, field in (("kb", "kb"), ("draw", "draw_s"), ("step", "step_ms")):
        yield edge.words(f"bench.map.{name}", ours=m["ours"][field], plain=m["plain"][field], ratio=m[f"{name}_ratio"], target=t[field], aim=t["draw_aim_s"], plots=m["plots"], corners=m["corners"], files=m["ours"]["files"], best=m["ours"]["draw_best_s"],
                         worst=m["ours"]["step_worst_ms"], steps=map_drawing.STEPS, requests=m["ours"]["requests"], verdict=edge.words("bench.field.met" if m["met"][name] else "bench.field.not_met"))


MEASURES: dict[str, Callable[[Database, Path, float], dict]] = {"receiving": _receiving, "pages": _pages, "fit": _fit, "coverage": _coverage, "cutting": _cutting}
LINES: dict[str, Callable] = {"receiving": _receiving_lines, "pages": _pages_lines, "fit": _fit_lines, "coverage": _coverage_lines, "cutting": _cutting_lines, "field": _field_lines, "truth": _truth_lines, "tonnes": _tonnes_lines, "tie": _tie_lines, "region": _region_lines, "visits": _visits_lines, "map": _map_lines}
