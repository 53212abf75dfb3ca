"""Python and JavaScript say the same: one table of cases, each evaluated in a real page.

``tests/survey`` holds Python to the same table; there it is checked against printed values.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from webapp.survey import sampling

from .hand import run

pytestmark = pytest.mark.browser
CASES = json.loads((Path(__file__).parent.parent / "reference" / "shared_cases.json").read_text())


def test_sampling_stand(modules):
    for case in CASES["stand"]:
        found = run(modules, "sampling.js", "(m, c) => m.stand(c.prior, c.values_deg, c.narrowing_deg)", case)
        assert found["mean_deg"] == pytest.approx(case["mean_deg"], abs=1e-9), case["why"]
        assert found["sd_deg"] == pytest.approx(case["sd_deg"], abs=1e-9), case["why"]
        assert found["more"] == case["more"], case["why"]
        assert found["off_deg"] == pytest.approx(case["off_deg"], abs=1e-9) and found["surprise"] == case["surprise"], case["why"]


def test_temperature_correction(modules):
    for case in CASES["correction"]:
        found = run(modules, "brix.js", "async (m, c) => { await m.loadTable(); return m.correct(c.raw_deg, c.temp_c, c.atc, c.atc_low_c, c.atc_high_c); }", case)
        assert found["brix20_deg"] == pytest.approx(case["brix20_deg"], abs=1e-9), case["why"]
        assert found["sd_deg"] == pytest.approx(case["sd_deg"], abs=1e-9), case["why"]
        assert found["tag"] == case["tag"], case["why"]


def test_sample_size(modules):
    for case in CASES["sample_size"]:
        assert run(modules, "sampling.js", "(m, c) => m.sampleSize(c.sd, c.error, c.population)", case) == case["n"], case["why"]


def test_rows_counted_so_far(modules):
    for case in CASES["rows_stand"]:
        found = run(modules, "sampling.js", "(m, c) => m.rowsStand(c.counts, c.rows_in_plot, c.share)", case)
        assert {name: found[name] if found[name] is None else pytest.approx(found[name], abs=1e-9) for name in ("mean", "low", "high", "more")} == {name: case[name] for name in ("mean", "low", "high", "more")}, case["why"]


def test_rows_to_count_are_spread_and_none_comes_twice_in_a_pass(modules):
    for rows, n in ((57, 8), (9, 8), (5, 5), (200, 8)):
        for draw in (0.0, 0.37, 0.99):
            found = run(modules, "sampling.js", "(m, c) => Array.from({ length: 2 * c.n }, (_, i) => m.rowToCount(c, i))", {"rows": rows, "n": n, "row_draw": draw})
            assert all(1 <= row <= rows for row in found) and len(set(found[:n])) == n and len(set(found[n:])) == n
            assert max(b - a for a, b in zip(found, found[1:n])) - min(b - a for a, b in zip(found, found[1:n])) <= 1, "equal steps"


@pytest.mark.parametrize("population, n, start", [(57, 6, 4), (80, 12, 1.9), (5, 9, 1), (400, 20, 13.37)])
def test_systematic_start(modules, population, n, start):
    assert run(modules, "sampling.js", "(m, c) => m.systematic(...c)", [population, n, start]) == sampling.systematic(population, n, start)


def test_a_walk_stays_in_the_plot_and_visits_each_row_once_per_pass(modules):
    walk = {"rows": 83, "plants": 140, "n": 14, "row_draw": 0.37, "plant_draw": 0.81}
    places = run(modules, "sampling.js", "(m, walk) => Array.from({length: 28}, (_, i) => m.placeOf(walk, i))", walk)
    assert all(1 <= p["row"] <= 83 and 1 <= p["plant"] <= 140 for p in places)
    assert len({p["row"] for p in places[:14]}) == 14 and not {p["row"] for p in places[:14]} & {p["row"] for p in places[14:]}


@pytest.mark.parametrize("text, value", [("24.2", 24.2), ("24,2", 24.2), (" 1,420.5 ", 1420.5), ("18,640", 18640), ("0,250", 0.25), (",5", 0.5), ("−3", -3), ("12.", 12), ("", None), ("🌵", None), ("1.2.3", None), ("NaN", None), ("1e5", None)])
def test_numbers_take_comma_or_point(modules, text, value):
    assert run(modules, "words.js", "(m, text) => m.typed(text)", text) == value


def test_ids_are_version_7_and_in_order_whatever_the_clock_does(modules):
    ids = run(modules, "uuid7.js", "(m, times) => times.map((t) => m.uuid7(t))", [1_800_000_000_000] * 300 + [1_700_000_000_000] * 5000 + [1_800_000_000_500])
    assert ids == sorted(ids) and len(set(ids)) == len(ids)
    assert all(i[14] == "7" and i[19] in "89ab" and len(i) == 36 for i in ids)


def test_retry_after_is_understood_and_capped(modules):
    found = run(modules, "sender.js", "(m) => [m.wait('120'), m.wait('Wed, 25 Nov 2026 12:00:30 GMT', Date.parse('2026-11-25T12:00:00Z')), m.wait('soon'), m.wait(null), m.wait('999999'), m.ceiling(0), m.ceiling(3), m.ceiling(99)]", None)
    assert found == [120, 30, None, None, 86400, 5, 40, 900]


CHAINS = [
    ("nothing happened", [("a", "reading", None), ("b", "reading", None)], "ab"),
    ("erased", [("a", "reading", None), ("v", "void", "a")], ""),
    ("erased and brought back", [("a", "reading", None), ("v", "void", "a"), ("w", "void", "v")], "a"),
    ("erased, back, erased again", [("a", "reading", None), ("v", "void", "a"), ("w", "void", "v"), ("x", "void", "a")], ""),
    ("corrected", [("a", "reading", None), ("c", "reading", "a")], "c"),
    ("corrected twice, one after the other", [("a", "reading", None), ("c", "reading", "a"), ("d", "reading", "c")], "d"),
    ("corrected twice, both of the first", [("a", "reading", None), ("c", "reading", "a"), ("d", "reading", "a")], "d"),
    ("correction erased", [("a", "reading", None), ("c", "reading", "a"), ("v", "void", "c")], "a"),
]


@pytest.mark.parametrize("why, log, counts", CHAINS, ids=[c[0] for c in CHAINS])
def test_what_counts_after_corrections_and_erasures(modules, why, log, counts):
    from webapp.survey import chain

    entries = [{"id": i, "kind": kind, "replaces": replaces, "seq": n, "taken_fixed": f"2026-11-23T08:{n:02d}:00Z"} for n, (i, kind, replaces) in enumerate(log)]
    assert sorted(run(modules, "outbox.js", "(m, entries) => m.current(entries).map((e) => e.id)", entries)) == list(counts)
    assert sorted(chain.in_force(entries)) == list(counts)
