"""A small fixed number of faults in a real Chromium, and one spoilt build that the oracle must see."""

from __future__ import annotations

from functools import partial

import pytest

from tests.browsers import needed

from . import run, sabotage
from .__main__ import SABOTAGE_KINDS
from .phones import PHONES

pytestmark = pytest.mark.browser
FAULTS, SEED = 40, 7


@pytest.fixture()
def execute(playwright, tmp_path):
    needed()
    make = partial(PHONES["chromium"], playwright)
    return lambda faults, seed, phones, kinds, spoil="": run.execute("chromium", make, faults, seed, phones, tmp_path, kinds, spoil)


def test_nothing_acknowledged_is_lost_doubled_or_changed(execute):
    kinds = run.EVERYWHERE | PHONES["chromium"].can
    report = execute(FAULTS, SEED, 2, kinds)
    assert report.clean, report.text()
    came_about = {kind for kind in kinds if report.happened[kind]}
    assert len(came_about) >= len(kinds) - 3, f"not tried: {kinds - came_about}\n{report.text()}"
    assert report.verdict.acked > 100


def test_the_oracle_sees_a_phone_that_acknowledges_too_early(execute):
    report = execute(4, 1, 1, SABOTAGE_KINDS["early_receipt"], "early_receipt")
    assert not report.failure, report.text()
    assert any(report.verdict.counts[name] for name in sabotage.SEEN_BY["early_receipt"]), report.text()
