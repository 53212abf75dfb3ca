"""Each doubt is raised by its fault, not by ordinary spread, and its proposal mends it; a decision is not asked twice."""

from datetime import timedelta

import numpy as np
import pytest

from webapp import database
from webapp.problems import Problem
from webapp.survey import service

from .conftest import batch, record
from .test_receive import NOON, receive

A, B = "0193aaaa-0000-7000-8000-000000000001", "0193aaaa-0000-7000-8000-000000000002"


def visit(number, plot="VS-04", day=1, values=None, temp=22.0, install=A, instrument="R-01", atc="no", hour=9):
    """A round and its readings; identifiers from ``number``·100."""
    first = number * 100
    at = lambda minute: f"2026-11-{day:02d}T{hour:02d}:{minute:02d}:00-06:00"  # noqa: E731
    name = record(first)["id"]
    values = values if values is not None else np.random.default_rng(number).normal(24, 2.2, 10).round(1).tolist()
    head = record(first, kind="round", plot=plot, install=install, round=name, instrument=instrument, atc=atc, taken_at=at(0))
    return [head, *(record(first + 1 + i, plot=plot, install=install, round=name, brix_raw_deg=v, juice_temp_c=temp, taken_at=at(1 + i)) for i, v in enumerate(values))]


def told(db):
    return sorted((d["code"], d["record"]) for d in service.doubts(db))


def take(db, code):
    [found] = [d for d in service.doubts(db) if d["code"] == code]
    for language in ("es", "en"):
        assert found["what"].text(language) and found["do"].text(language)
    service.settle_doubt(db, found["id"], "take", "Ana")
    assert code not in {c for c, _ in told(db)}
    return found


def test_ordinary_spread_raises_nothing(field):
    for number in range(1, 13):
        receive(field, batch(*visit(number, plot=("VS-04", "LA-07")[number % 2], day=number, temp=18.0 + number % 7)))
    assert told(field) == []


def test_slipped_decimal(field):
    receive(field, batch(*visit(1, values=[24.0, 25.1, 2.46, 23.0, 26.2, 22.9])))
    assert take(field, "slipped_decimal")["proposal"] == {"brix_raw_deg": 24.6}
    assert sorted(service.readings(field)["brix_raw_deg"]) == [22.9, 23.0, 24.0, 24.6, 25.1, 26.2]
    assert service.readings(field)["taken_at"].is_monotonic_increasing and len(service.readings(field)) == 6


def test_a_thermometer_in_the_sun(field):
    for number in range(1, 5):
        receive(field, batch(*visit(number, day=number, temp=20.0 + number)))
    receive(field, batch(*visit(9, day=5, temp=47.0)))
    before = service.readings(field).set_index("round").loc[record(900)["id"], "brix20_sd_deg"].max()
    assert take(field, "hot_thermometer")["record"] == record(900)["id"]
    after = service.readings(field).set_index("round").loc[record(900)["id"]]
    assert after["juice_temp_c"].isna().all() and (after["brix_tag"] == "no_temp").all() and before < after["brix20_sd_deg"].min() * 3


def test_an_atc_flag_that_differs(field):
    for number in range(1, 6):
        receive(field, batch(*visit(number, day=number)))
    receive(field, batch(*visit(8, day=8, atc="yes")))
    assert told(field) == [("atc_flag", record(800)["id"])]
    take(field, "atc_flag")
    assert set(service.readings(field)["atc"]) == {"no"}


def test_a_correction_without_its_round_is_read_with_that_rounds_instrument(field):
    """Phones once sent a correction made after the round was finished without it."""
    receive(field, batch(*visit(1, values=[24.0, 25.1, 22.4], temp=31.0, atc="yes")))
    before = service.readings(field).set_index("id")
    slip, once, twice = record(102)["id"], record(190, brix_raw_deg=25.1, juice_temp_c=31.0, replaces=record(102)["id"]), record(191, brix_raw_deg=25.1, juice_temp_c=31.0, replaces=record(190)["id"])
    for correction in (once, twice):
        receive(field, batch(correction))
        after = service.readings(field).set_index("id")
        assert slip not in after.index and len(after) == 3
        assert after.loc[correction["id"], "brix20_deg"] == before.loc[slip, "brix20_deg"]
        assert [after.loc[correction["id"], name] for name in ("round", "instrument", "atc", "brix_tag")] == [before.loc[slip, name] for name in ("round", "instrument", "atc", "brix_tag")]
    assert before.loc[slip, "atc"] == "yes"


def test_one_tally_from_two_phones(field):
    values = [24.0, 25.1, 22.4, 23.0, 26.2, 22.9, 24.4]
    count = lambda n, r, i: record(n, kind="row_count", row=4, plants_standing=180, gaps=3, install=i, round=record(r)["id"])  # noqa: E731
    receive(field, batch(*visit(1, values=values), count(50, 100, A)))
    receive(field, batch(*visit(2, values=values[::-1], install=B, hour=11), count(60, 200, B)))
    assert told(field) == [("double_tally", record(200)["id"])], "its row counts go with it"
    take(field, "double_tally")
    assert len(service.readings(field)) == 7 and len(service.row_counts(field)) == 1 and len(service.rounds(field)) == 1
    service.review(field)
    assert told(field) == []


def test_the_same_row_counted_twice(field):
    receive(field, batch(record(1, kind="row_count", row=4, plants_standing=180, gaps=3), record(2, kind="row_count", row=4, plants_standing=180, gaps=3, install=B), record(3, kind="row_count", row=5, plants_standing=180, gaps=3, install=B)))
    assert take(field, "double_count")["proposal"] == {"void": True}
    assert service.row_counts(field)["row"].tolist() == [4.0, 5.0]


def test_pieces_written_as_plants(field):
    loads = [record(n, kind="load", net_kg=20000, plants=plants, ticket=str(n)) for n, plants in enumerate([440, 455, 470, 850], 1)]
    receive(field, batch(*loads))
    found = take(field, "pieces_as_plants")
    assert found["record"] == record(4)["id"] and found["proposal"]["pieces"] == 850 and 430 <= found["proposal"]["plants"] <= 470
    assert service.loads(field)["plants"].max() < 480
    weighed = [record(100 + n, kind="weighing", plot="LA-07", mass_kg=44.0 + n % 5) for n in range(8)]
    receive(field, batch(*weighed, record(50, kind="load", plot="LA-07", net_kg=20000, plants=860)))
    assert take(field, "pieces_as_plants")["record"] == record(50)["id"], "a plot's only load against its weighed piñas"


def test_planting_dates(field):
    with database.atomic(field):
        field.execute("UPDATE plot SET planted_on = NULL WHERE code = 'LA-07'")
        field.execute("UPDATE version_count SET n = n + 1 WHERE domain = 'land'")
    checks = [record(1, kind="age_check", plot="LA-07", planting_year=2021), record(2, kind="age_check", planting_year=2021), record(3, kind="age_check", planting_year=2021)]
    receive(field, batch(*checks))
    assert told(field) == [("age_differs", "plot:VS-04"), ("no_planting_date", "plot:LA-07")]
    assert take(field, "age_differs")["proposal"] == {"planted_on": "2021-07-01"}
    assert take(field, "no_planting_date")["proposal"]["planted_on"].startswith("2021")


def test_a_wrong_clock(field):
    fast = NOON + timedelta(hours=5)
    receive(field, batch(record(1), sent_at=fast.isoformat()))
    assert told(field) == [("clock_repaired", A)] and not service.doubts(field)[0]["is_record"]
    receive(field, batch(*(record(10 + n, install=B, taken_at=f"2026-11-20T23:{n:02d}:00-06:00", brix_raw_deg=20.0 + n) for n in range(9))))
    assert ("night_clock", B) in told(field)


def test_two_corrections_are_both_shown(field):
    receive(field, batch(record(1), *(record(n, brix_raw_deg=20.0 + n, replaces=record(1)["id"], taken_at=f"2026-11-20T1{n}:00:00-06:00", install=i) for n, i in ((2, A), (3, B)))))
    assert told(field) == [("two_corrections", record(1)["id"])]
    steps = [s["step"] for s in service.record_history(field, record(1)["id"])]
    assert steps == ["came", "replaced", "replaced"]


def test_more_cut_than_registered(field):
    receive(field, batch(*(record(n, kind="load", net_kg=90.0 * 4800 / 8, plants=4800, ticket=str(n)) for n in range(1, 7))))
    assert told(field) == []
    receive(field, batch(record(7, kind="load", net_kg=90.0 * 4800 / 8, plants=4800, ticket="7")))
    assert [code for code, _ in told(field)] == ["beyond_registered"]


def test_a_decision_is_not_asked_again(field):
    receive(field, batch(*visit(1, values=[24.0, 25.1, 2.46, 23.0, 26.2, 22.9])))
    [found] = service.doubts(field)
    with pytest.raises(Problem, match="duda"):
        service.settle_doubt(field, found["id"] + 1, "leave", "Ana")
    service.settle_doubt(field, found["id"], "leave", "Ana")
    service.review(field)
    assert told(field) == [] and 2.46 in service.readings(field)["brix_raw_deg"].tolist()


def test_doubts_of_a_corrected_record_go_away(field):
    receive(field, batch(*visit(1, values=[24.0, 25.1, 2.46, 23.0, 26.2, 22.9])))
    assert len(told(field)) == 1
    receive(field, batch(record(150, round=record(100)["id"], brix_raw_deg=24.6, replaces=record(103)["id"])))
    assert told(field) == []
