"""The bench on a demo: each part gives finite ratios, leaves a given estate as it was, and finds the planted faults."""

import hashlib
import json
import math
from concurrent.futures import ThreadPoolExecutor

import pytest
from click.testing import CliRunner

from webapp.cli import main_group


def bench(path, *words, language="es"):
    before = ["--estate", str(path)] if path else []
    return CliRunner().invoke(main_group, [*before, "--lang", language, "bench", *words])


def apart(work, *given):
    """``work(*given)`` in a thread of its own: Playwright starts once a thread, and a browser test of the same run may have started it in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(work, *given).result()


def digest(path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_receiving_against_bare_inserts_on_a_copy(demo_path):
    before = digest(demo_path)
    done = bench(demo_path, "receiving", "--json")
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)["receiving"]
    assert all(math.isfinite(v) and v > 0 for v in found.values())
    assert 1 < found["batch_ratio"] < 40 and found["batch_ms"] < 50 * found["record_ms"], "fifty in one batch cost less than fifty alone"
    assert digest(demo_path) == before, "an estate that is measured stays as it was"
    assert "SQLite" in bench(demo_path, "receiving", language="en").stdout


def test_coverage_and_planted_faults(demo_path):
    done = bench(demo_path, "coverage", "--json")
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)["coverage"]
    assert list(found["intervals"]) == ["0", "13", "26", "52", "104"]
    today = found["intervals"]["0"]
    assert today["plots"] > 130 and today["brix80"] < today["brix95"] <= 1
    for week, c in found["intervals"].items():
        assert 0.68 <= c["brix80"] <= 0.95 and 0.85 <= c["brix95"] <= 1 and 0.68 <= c["tonnes80"] <= 0.95 and c["share80"] >= 0.75, (week, c)
        assert abs(c["brix_bias_deg"]) < 0.5 and abs(c["tonnes_bias"]) < 0.08, (week, c)
    assert 0.68 <= today["plants80"] <= 0.95
    assert found["faults"]["planted"] == found["faults"]["found"] > 10 and found["faults"]["false_alarms"] == []


def test_ripeness_against_a_mixed_model(demo_path):
    pytest.importorskip("statsmodels")
    found = json.loads(bench(demo_path, "fit", "--json").stdout)["fit"]
    assert found["readings"] > 8000 and found["ratio"] == pytest.approx(found["fit_s"] / found["mixedlm_s"])
    assert found["error_deg"] < found["mixedlm_error_deg"], "what the longer fit is for"


def test_coverage_needs_a_truth_and_plots(tmp_path):
    from webapp.database import open_estate
    from webapp.people import service as people

    db = open_estate(tmp_path / "e.db", create=True)
    people.setup(db, "Vacío", "America/Mexico_City")
    done = bench(tmp_path / "e.db", "coverage")
    assert done.exception is not None and done.exception.code == "bench_no_plots"


def test_a_thousand_plots_and_the_phone_keep_to_their_weight(tmp_path):
    """Measured on 250 plots: the data grow with their number, the scripts do not (the bench itself weighs the thousand)."""
    from webapp.bench import page_times, thousand_plots

    thousand_plots.build(tmp_path / "tablas.db", 250).conn.close()
    found = page_times.map_weight(str(tmp_path / "tablas.db"))
    assert found["map_plots"] == 250 and found["map_kb"] == pytest.approx(found["map_script_kb"] + found["map_data_kb"])
    assert found["map_script_kb"] + 4 * found["map_data_kb"] <= found["map_target_kb"]
    weight = page_times.phone_weight()
    assert 20 < weight["phone_shell_kb"] <= weight["phone_shell_target_kb"] == 90


def test_page_times_are_of_pages_that_answer(demo_path):
    from webapp.bench import page_times

    found = page_times.measure(str(demo_path), "VS-04", requests=2)
    assert {"/today", "/map", "/outlook", "/plots/VS-04"} <= set(found)
    assert all(0 < t["median_ms"] <= t["p95_ms"] for t in found.values())


def test_cutting_is_measured_against_every_rule(demo_path):
    from webapp.bench import cutting_plan
    from webapp.database import open_estate

    found = cutting_plan.measure(open_estate(demo_path), seconds=5)
    against = {name: v for name, v in found.items() if name.startswith("better_than_") and name != "better_than_unaided"}
    assert len(against) >= 4 and all(v >= -1e-9 for v in against.values()), "never worse than what people do"


def test_the_phone_keeps_to_its_weights_and_asks_again_for_nothing():
    """The cheap ones of ``bench field``; what takes a browser and a quiet machine is measured by the command."""
    done = bench(None, "field", "--only", "pack", "--json", language="en")
    assert done.exit_code == 0, done.stderr
    pack = json.loads(done.stdout)["field"]["pack"]
    assert pack["met"] and pack["plots"] == 200 and pack["orders"] == 12 and 10 < pack["pack_kb"] <= pack["target_kb"] == 60
    assert pack["unchanged_status"] == 304 and pack["unchanged_bytes"] < 1024 and pack["unchanged_ms"] > 0


def test_a_few_phones_at_once_each_get_their_receipts(tmp_path):
    """The crowd in small: its client, its checks and its floor; the ratio of so few says nothing."""
    from webapp.bench import field_crowd, thousand_plots

    thousand_plots.build(tmp_path / "e.db", 3).conn.close()
    found = field_crowd.measure(tmp_path / "e.db", tmp_path, repeats=1, phones=6)
    assert found["phones"] == 6 and found["most_at_once"] >= 1 and 0 < found["floor_s"] and found["ratio"] == pytest.approx(found["last_s"] / found["floor_s"])


@pytest.mark.browser
def test_a_first_visit_weighs_on_the_wire_what_it_may(tmp_path):
    from tests.browsers import needed
    from webapp.bench import field_shell, thousand_plots

    needed()
    thousand_plots.build(tmp_path / "e.db", 3).conn.close()
    found = apart(field_shell.measure, tmp_path / "e.db", tmp_path)
    assert found["files_kb"] < found["wire_kb"] <= found["target_kb"] == 90, found
    assert found["requests"] <= 15


def test_without_playwright_it_says_what_to_install(monkeypatch, tmp_path):
    import sys

    from webapp.bench import field_shell
    from webapp.problems import Problem

    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    with pytest.raises(Problem) as told:
        field_shell.measure(tmp_path / "none.db", tmp_path)
    assert told.value.code == "bench_no_playwright" and "pinario[bench]" in told.value.do("es")


@pytest.mark.parametrize("language, says", [("es", "NO CUMPLE"), ("en", "NOT MET")])
def test_lines_say_the_target_and_whether_it_is_met(language, says):
    from webapp.cli import Edge
    from webapp.commands.bench import _field_lines

    one = {"met": False, "plots": 200.0, "orders": 12.0, "pack_kb": 61.0, "plain_kb": 300.0, "pack_ms": 90.0, "unchanged_status": 304.0, "unchanged_bytes": 700.0, "unchanged_ms": 9.0, "manifest_ms": 2.0, "target_kb": 60.0}
    [line] = _field_lines(Edge("", language), {"pack": one})
    assert says in line and "61.0 KB" in line and "60)" in line
