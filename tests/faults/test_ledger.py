"""The oracle itself, on made-up ledgers: each fault it is there for, seen alone, and nothing seen where nothing is wrong."""

from __future__ import annotations

import hashlib

import pytest

from .ledger import COUNTS, Ledger, Office, judge
from .road import altered, status_of, with_header
from .run import EVERYWHERE
from .schedule import WEIGHTS, steps

PICTURE = hashlib.sha256(b"picture").hexdigest()


def ledger() -> Ledger:
    book = Ledger()
    for name in "abcd":
        book.save(name, f"bytes of {name}".encode())
    book.acked |= {"a", "b"}
    book.photos[PICTURE] = True
    return book


def office(**change) -> Office:
    kept = {name: (name, "install", n, f"bytes of {name}".encode()) for n, name in enumerate("abcd")}
    kept.update(change.pop("records", {}))
    return Office([row for row in kept.values() if row], **{"photos": {PICTURE: PICTURE}, **change})


def test_all_there_is_clean():
    verdict = judge(ledger(), office())
    assert verdict.clean and verdict.counts == dict.fromkeys(COUNTS, 0)


@pytest.mark.parametrize("found, name", [
    (office(records={"a": None}), "acknowledged_lost"),
    (office(records={"c": None}), "never_arrived"),
    (office(records={"again": ("a", "install", 9, b"bytes of a")}), "doubled"),
    (office(records={"b": ("b", "install", 1, b"other bytes")}), "changed"),
    (office(records={"e": ("e", "install", 9, b"of nobody")}), "foreign"),
    (office(conflicts=["a"]), "conflicts_odd"),
    (office(photos={}), "photos_lost"),
    (office(photos={PICTURE: "another"}), "photos_lost"),
])
def test_each_fault_is_seen_by_its_own_count(found, name):
    counts = judge(ledger(), found).counts
    assert counts[name] > 0
    assert {other for other in COUNTS if counts[other]} == {name}


def test_one_place_in_a_sequence_taken_twice_is_a_double():
    book = ledger()
    book.begun.add("e")
    counts = judge(book, office(records={"e": ("e", "install", 2, b"bytes of e")})).counts
    assert counts["doubled"] == 1 and not counts["foreign"]


def test_a_wiped_phone_excuses_only_what_had_no_receipt():
    book = ledger()
    book.excuse("ac")
    verdict = judge(book, office(records={"a": None, "c": None}))
    assert verdict.counts["acknowledged_lost"] == 1 and verdict.counts["never_arrived"] == 0 and verdict.honestly_lost == 1


def test_what_is_unsent_at_the_end_is_a_fault_and_a_forged_record_belongs_among_the_conflicts():
    book = ledger()
    book.forged.add("a")
    assert judge(book, office(), unsent=2).counts["still_unsent"] == 2
    assert judge(book, office()).counts["conflicts_odd"] == 1
    assert judge(book, office(conflicts=["a"])).clean


def test_a_record_written_twice_with_other_bytes_is_refused_by_the_ledger():
    with pytest.raises(AssertionError):
        ledger().save("a", b"others")


def test_the_schedule_comes_from_the_seed_alone_and_holds_every_kind_early():
    def drawn(seed):
        told = steps(seed, 3, frozenset(WEIGHTS))
        return [next(told) for _ in range(200)]

    assert drawn(7) == drawn(7) != drawn(8)
    assert {step.kind for step in drawn(7)[:len(WEIGHTS)]} == set(WEIGHTS)
    assert EVERYWHERE < set(WEIGHTS)


def test_an_altered_body_differs_in_one_byte_and_can_still_be_read():
    import json

    body = b'{"records":[{"id":"1","text":"agua en la brecha"},{"id":"2"}]}'
    changed = altered(body)
    assert len(changed) == len(body) and sum(a != b for a, b in zip(body, changed)) == 1
    assert json.loads(changed)["records"][0]["text"] != "agua en la brecha"
    assert altered(b'{"records":[]}') is None


def test_heads_of_requests_are_rewritten_whole():
    head = b"POST /x HTTP/1.1\r\nHost: a\r\nConnection: keep-alive\r\n\r\n"
    assert with_header(head, b"Connection", b"close") == b"POST /x HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n"
    assert status_of(b"HTTP/1.1 507 x\r\n") == 507 and status_of(b"") == 0
