"""``python -m tests.faults [--engine chromium] [--faults 1000] [--seed 7] [--sabotage all] [--everything]``."""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from functools import partial
from pathlib import Path

from playwright.sync_api import sync_playwright

from . import run, sabotage
from .phones import PHONES

SABOTAGE_KINDS = {"early_receipt": frozenset(("lost_request", "portal", "busy", "killed_in_batch")),
                  "no_digest": frozenset(("flip_request", "lost_reply", "late_replay")),
                  "not_atomic": frozenset(("killed_in_batch", "full", "lost_reply"))}
"""The faults that each spoilt build is weak against; the oracle is the same."""


def once(playwright, engine: str, faults: int, seed: int, phones: int, spoil: str = "", kinds: frozenset[str] | None = None, keep: bool = False) -> run.Report:
    folder = Path(tempfile.mkdtemp(prefix="pinario-faults-"))
    make = partial(PHONES[engine], playwright)
    report = run.execute(engine, make, faults, seed, phones, folder, kinds or (run.EVERYWHERE | PHONES[engine].can), spoil, lambda words: print(words, flush=True))
    if keep or not report.clean and not spoil:
        print(f"kept for looking: {folder}")
    else:
        shutil.rmtree(folder, ignore_errors=True)
    return report


def sabotaged(playwright, kinds, engine: str = "chromium", faults: int = 12, seed: int = 1) -> bool:
    """Whether the oracle saw each spoilt build, by the count that it is about."""
    seen = True
    for kind in kinds:
        report = once(playwright, engine, faults, seed, 1, kind, SABOTAGE_KINDS[kind])
        counts = report.verdict.counts if report.verdict else {}
        caught = any(counts.get(name) for name in sabotage.SEEN_BY[kind])
        seen &= caught
        told = ", ".join(f"{name.replace('_', ' ')} {n}" for name, n in counts.items() if n)
        print(f"{kind:<14} {'caught' if caught else 'NOT CAUGHT'}: {told or report.failure or 'nothing'} ({sum(report.happened.values())} faults, {report.seconds:.0f} s)", flush=True)
    return seen


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--engine", choices=sorted(PHONES), default="chromium")
    parser.add_argument("--faults", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--phones", type=int, default=3)
    parser.add_argument("--only", default="", help="kinds, separated by commas")
    parser.add_argument("--sabotage", choices=("all", *sabotage.KINDS))
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--everything", action="store_true", help="three engines, their proofs, and the spoilt builds")
    asked = parser.parse_args()
    if asked.everything:
        from . import engines

        return engines.main()
    with sync_playwright() as playwright:
        if asked.sabotage:
            return 0 if sabotaged(playwright, sabotage.KINDS if asked.sabotage == "all" else (asked.sabotage,), asked.engine, seed=asked.seed) else 1
        kinds = frozenset(asked.only.split(",")) if asked.only else None
        report = once(playwright, asked.engine, asked.faults, asked.seed, asked.phones, kinds=kinds, keep=asked.keep)
        print(report.text())
        return 0 if report.clean else 1


if __name__ == "__main__":
    sys.exit(main())
