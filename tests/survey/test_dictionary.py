"""One table feeds phone, check, headings and manual."""

import pytest

from webapp import dictionary

KINDS = "round reading row_count weighing age_check outline marking labor loss load lab order_done remark photo void".split()


def test_the_kinds_of_the_contract():
    assert list(dictionary.kinds()) == KINDS


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_is_whole(kind):
    assert dictionary.kinds()[kind].label["es"] and dictionary.kinds()[kind].label["en"]
    for f in dictionary.fields(kind):
        assert f.label["es"] and f.label["en"] and bool(f.help["es"]) == bool(f.help["en"]), f.name
        assert f.type in ("number", "whole", "text", "choice", "yes_no", "outline"), f.name
        if f.type in ("number", "whole"):
            assert None not in (f.low, f.high) and f.low < f.high, f.name
            assert f.usual_low is None or f.low <= f.usual_low <= f.usual_high <= f.high, f.name
        assert (f.type == "choice") == bool(f.choices) and f.name not in dictionary.ENVELOPE, f.name
        assert f.only_if is None or f.only_if["field"] in {g.name for g in dictionary.fields(kind)}, f.name


def test_one_source_for_all_readers():
    for kind in KINDS:
        names = [f.name for f in dictionary.fields(kind)]
        assert dictionary.csv_headings(kind) == [*dictionary.ENVELOPE, *names]
        assert [f["name"] for k in dictionary.for_phone()["kinds"] if k["kind"] == kind for f in k["fields"]] == names
        for language in ("es", "en"):
            assert all(f"  {name}" in dictionary.manual(language) for name in names)


@pytest.mark.parametrize("value, guess", [(260, 26.0), (2.4, 24.0), (2400, 24.0), (1000, 10.0), (0.001, None)])
def test_the_likely_value(value, guess):
    [field] = [f for f in dictionary.fields("reading") if f.name == "brix_raw_deg"]
    assert dictionary.likely(field, value) == guess


@pytest.mark.parametrize("kind, values, codes", [
    ("reading", {"brix_raw_deg": 24}, []), ("reading", {}, ["field_missing"]), ("reading", {"brix_raw_deg": True}, ["wrong_type"]), ("reading", {"brix_raw_deg": float("inf")}, ["not_a_number"]),
    ("reading", {"brix_raw_deg": 61, "row": 0}, ["below", "above"]), ("row_count", {"plants_standing": 2.5}, ["wrong_type"]), ("loss", {"cause": {}}, ["not_a_choice"]), ("remark", {"text": "x" * 2001}, ["text_too_long"]),
    ("load", {"clearing": "sí"}, ["wrong_type"]), ("outline", {"geometry": {"type": "Point", "coordinates": [0, 0]}}, ["wrong_type"])])
def test_hard_faults(kind, values, codes):
    assert [code for code, _ in dictionary.check(kind, values)] == codes
