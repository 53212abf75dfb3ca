"""°Brix that no agave juice has makes a doubt even where the whole estate agrees on it; readings of nothing are told as such, once."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from webapp.ripeness import doubts_service, inputs_service
from webapp.ripeness import service as ripeness
from webapp.survey import quality_range, service
from webapp.survey import constants as k

from .conftest import batch, record
from .test_quality import take, told, visit
from .test_receive import receive


def of_code(db, code):
    return [d for d in service.doubts(db) if d["code"] == code]


def test_an_estate_that_reads_nothing_but_56_is_doubted_round_by_round(field):
    """Two plots, every round at 56 °Bx: no other round to differ from, and still each is doubted."""
    for number, plot in ((1, "VS-04"), (2, "LA-07"), (3, "VS-04")):
        receive(field, batch(*visit(number, plot=plot, day=number, values=[56.0, 55.6, 56.3, 56.1, 55.9, 56.2])))
    found = of_code(field, quality_range.TOO_HIGH)
    assert {d["record"] for d in found} == {record(n * 100)["id"] for n in (1, 2, 3)} and all(d["is_record"] for d in found)
    assert "56." in found[0]["what"].text("es") and f"{float(k.BRIX_MOST_DEG):g}" in found[0]["what"].text("en")
    assert len(service.readings(field)) == 18, "nothing is dropped by itself"
    service.settle_doubt(field, found[0]["id"], "take", "Ana")
    assert len(service.readings(field)) == 12 and len(service.rounds(field)) == 3, "its readings are out of use, the visit stays"


@pytest.mark.parametrize("scale, code, back", [(0.1, quality_range.TOO_LOW, True), (0.4, quality_range.TOO_LOW, False), (2.0, quality_range.TOO_HIGH, False)])
def test_a_scale_read_wrong_in_every_round(field, scale, code, back):
    """The point slipped in all of a round is proposed put right; of another scale the readings are proposed out of use."""
    values = (np.array([24.0, 25.0, 23.0, 24.5, 23.5, 26.0]) * scale).round(2).tolist()
    receive(field, batch(*visit(1, day=1, values=values), *visit(2, day=2, values=values)))
    assert [c for c, _ in told(field)] == [code, code]
    one = of_code(field, code)[0]
    for language in ("es", "en"):
        assert all("–" not in one[part].text(language) for part in ("what", "do"))
    service.settle_doubt(field, one["id"], "take", "Ana")
    mended = service.readings(field)
    mended = mended[mended["round"] == one["record"]]
    assert (sorted(mended["brix_raw_deg"]) == [23.0, 23.5, 24.0, 24.5, 25.0, 26.0]) if back else mended.empty


@pytest.mark.parametrize("months", (3, 14, 26, 38, 50, 62, 74, 100))
def test_what_is_usual_raises_nothing_at_any_age(months):
    """Rounds a tenth below the least usual of their age, plants 1.5 °Bx apart."""
    day = date(2026, 11, 20)
    middle = float(np.interp(months, *zip(*k.BRIX_USUAL_LOW)))
    value = np.random.default_rng(months).normal(0.9 * middle, 1.5, 12).clip(1.5)
    seen = pd.DataFrame({"id": [f"r{i}" for i in range(12)], "plot": "A", "round": "v", "day": day, "taken_at": range(12), "confirmed": False, "brix_raw_deg": value, "brix20_deg": value})
    plots = pd.DataFrame({"status": "standing", "planted_on": [day - timedelta(days=months * 30.44)]}, index=["A"])
    assert quality_range.all_doubts(seen, plots, set()) == []
    assert quality_range.all_doubts(seen.assign(brix20_deg=value * 0.3), plots, set())[0]["code"] == quality_range.TOO_LOW


def test_a_plot_without_a_date_is_held_against_plants_just_planted(field):
    assert quality_range.usual_low_deg(None) == k.BRIX_USUAL_LOW[0][1] and quality_range.usual_low_deg(1000.0) == k.BRIX_USUAL_LOW[-1][1]


def test_a_round_of_all_zeros_is_one_doubt_that_keeps_none(field):
    receive(field, batch(*visit(1, day=1), *visit(2, day=2, values=[0.0] * 6), record(290, kind="row_count", round=record(200)["id"], row=4, plants_standing=80, taken_at="2026-11-02T09:40:00-06:00", brix_raw_deg=None)))
    ripeness.fit(field)
    doubts_service.review(field)
    assert [c for c, r in told(field) if r == record(200)["id"]] == [quality_range.READ_NOTHING]
    assert "all_equal" not in {c for c, _ in told(field)}
    found = take(field, quality_range.READ_NOTHING)
    assert "6" in found["what"].text("es") and len(found["proposal"]["void_records"]) == 6
    assert (service.readings(field)["brix_raw_deg"] > 0).all() and len(service.table(field, "row_count")) == 1, "its counts stay"
    doubts_service.review(field)
    assert not [c for c, r in told(field) if r == record(200)["id"]]


def test_some_zeros_among_readings_go_alone(field):
    receive(field, batch(*visit(1, values=[24.0, 0.0, 23.0, 25.0, 0.2, 24.5])))
    found = take(field, quality_range.SOME_NOTHING)
    assert found["params"]["n"] == 2 and sorted(service.readings(field)["brix_raw_deg"]) == [23.0, 24.0, 24.5, 25.0]


def test_one_plant_beyond_what_plants_read(field):
    receive(field, batch(*visit(1, values=[24.0, 41.0, 23.0, 25.0])))
    assert take(field, quality_range.PLANT_TOO_HIGH)["params"]["value"] == 41.0 and len(service.readings(field)) == 3


def test_a_round_left_as_it_is_counts_in_full_and_is_not_asked_again(field):
    receive(field, batch(*visit(1, values=[56.0, 55.0, 57.0])))
    [one] = of_code(field, quality_range.TOO_HIGH)
    before = service.data_version(field)
    service.settle_doubt(field, one["id"], "leave", "Ana")
    assert service.far_rounds_left(field) == {one["record"]} and service.data_version(field) != before
    service.review(field)
    doubts_service.review(field)
    assert told(field) == []


def test_readings_without_a_round_are_one_visit_a_day(field):
    receive(field, batch(*(record(10 + i, round=None, plot="VS-04", brix_raw_deg=0.0, taken_at=f"2026-11-02T09:{i:02d}:00-06:00") for i in range(6))))
    ripeness.fit(field)
    doubts_service.review(field)
    assert [c for c, _ in told(field)] == [quality_range.READ_NOTHING]
    assert inputs_service.seen(field, ["VS-04"]).sure.sum() == 0
    service.settle_doubt(field, service.doubts(field)[0]["id"], "leave", "Ana")
    seen = inputs_service.seen(field, ["VS-04"])
    assert seen.sure.sum() == 1 and seen.known.max() < 1, "whoever left it has looked at the whole visit"


def test_until_somebody_looks_such_rounds_move_nothing_and_left_they_count(field):
    """An estate that reads nothing but 56 stays by what plots of its age usually have; with the rounds left as they are it follows them."""
    for number, plot in ((1, "VS-04"), (2, "LA-07"), (3, "VS-04")):
        receive(field, batch(*visit(number, plot=plot, day=number, values=[56.0, 55.6, 56.3, 56.1])))
    ripeness.fit(field)
    assert (ripeness.answer(field).arrays["mean_deg"][:, 0] < 30).all()
    for one in of_code(field, quality_range.TOO_HIGH):
        service.settle_doubt(field, one["id"], "leave", "Ana")
    ripeness.fit(field)
    assert (ripeness.answer(field).arrays["mean_deg"][:, 0] > 40).all()
