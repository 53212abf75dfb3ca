"""What was said against what came, on the command line."""

from __future__ import annotations

import sys
import time

import click

from ..cli import Edge
from ..crop import track_service as service
from ..sentences import Sentence

OUTCOMES = {"brix": "rounds", "mass": "passes", "t": "plots", "ART": "loads"}
"""What was said is held against, by the kind of line."""


@click.command("track")
@click.option("--replay", is_flag=True, help="Dice otra vez, con los registros de entonces / say it again from the records of then.")
@click.option("--said-only", is_flag=True, help="Solo lo dicho en su momento / only what was said at the time.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def track_command(edge: Edge, replay: bool, said_only: bool, as_json: bool) -> None:
    """Lo dicho contra lo visto / what was said against what came."""
    db = edge.open()
    if replay:
        started = time.monotonic()
        with click.progressbar(length=100, label=edge.words("work.replay"), file=sys.stderr) as bar:
            made = service.replay(db, progress=lambda done, code: bar.update(int(100 * done) - bar.pos) or True)
        click.echo(edge.words("track.replay_done", n=len(made["days"]), seconds=time.monotonic() - started), err=True)
    found = service.record(db, only_said=said_only)
    if as_json:
        return edge.answer(found)
    whole = found["brix"]["all"]
    if whole["enough"]:
        edge.say("track.head", share=whole["cover80"]["value"], low=whole["cover80"]["low"], high=whole["cover80"]["high"], n=whole["n"], days=whole["days"], replayed=whole["n_replayed"])
    else:
        edge.say("track.head_few", n=whole["outcomes"], needed=whole["needed"])
    lately = service.lately(whole, found["brix"]["latest"])
    if lately:
        click.echo(edge.words(lately.code, **lately.params))
    edge.say("track.columns")
    for what, unit in (("brix", "°Bx"), ("mass", "log kg")):
        for weeks, judged in found[what]["by_weeks"].items():
            _line(edge, what, weeks, judged, unit)
    for weeks, judged in found["tonnes"]["by_weeks"].items():
        _line(edge, "t", weeks, judged, "log t")
    _line(edge, "ART", "–", found["art"], "%")
    chance = found["chance"]
    if not chance["enough"]:
        return edge.say("pages.track.chance_few", n=chance["n"], needed=chance["needed"])
    edge.say("track.chance_head", held=chance["held"], judged=chance["judged"], n=chance["n"])
    for weeks, told in chance["by_weeks"].items():
        if told["enough"]:
            edge.say("track.chance_line", weeks=weeks, **{name: told[name] for name in ("n", "said", "share", "low", "high")})


def _line(edge: Edge, what: str, weeks: str, judged: dict, unit: str) -> None:
    start = f"{what:<8} {weeks:>7} {judged['n']:>7}  "
    if not judged["enough"]:
        return click.echo(start + edge.words("pages.track.few", n=judged["needed"] - judged["outcomes"], comparisons=judged["n"], **{name: Sentence(f"count.{OUTCOMES[what]}", {"n": judged[name]}) for name in ("outcomes", "needed")}))
    share = lambda part: f"{part['value']:4.0%} ({part['low']:.0%}–{part['high']:.0%})"  # noqa: E731
    rule, best = min(judged["rules"].items(), key=lambda item: item[1]["crps"])
    bias = judged["bias"]
    click.echo(f"{start}{share(judged['cover80']):<18} {share(judged['cover95']):<18} {bias['value']:+.2f} ({bias['low']:+.2f}–{bias['high']:+.2f}) {unit:<7} {judged['crps']:5.2f}  "
               f"{best['ratio']['value']:.2f} ({best['ratio']['low']:.2f}–{best['ratio']['high']:.2f}) {rule}")
