"""Batches written together: all in, each judged alone, nobody answered before the commit."""

from __future__ import annotations

import threading

import pytest

from webapp.database import open_estate, rows
from webapp.survey import service as survey
from webapp.survey import together_service as together

from .conftest import batch, record

PHONES, EACH = 24, 10


def each(at, steps):
    """What writes for several: every one's step."""
    return [step(at) for step in steps]


def at_once(estate, jobs):
    """Run ``jobs`` (functions of an own connection) from as many threads, let go at the same moment."""
    gate, results = threading.Barrier(len(jobs)), [None] * len(jobs)

    def run(i, job):
        db = open_estate(estate)
        gate.wait()
        try:
            results[i] = job(db)
        except BaseException as error:  # noqa: BLE001 - the test looks at it
            results[i] = error
        db.conn.close()

    threads = [threading.Thread(target=run, args=(i, job)) for i, job in enumerate(jobs)]
    [t.start() for t in threads]
    [t.join(60) for t in threads]
    return results


@pytest.fixture()
def log(field, tmp_path):
    """The test estate's file with a table that any writer may use."""
    from webapp.database import backup

    path = backup(field, tmp_path / "together.db")
    opened = open_estate(path)
    opened.conn.execute("CREATE TABLE mark (who INTEGER)")
    yield path, opened
    opened.conn.close()


def test_every_phone_gets_its_own_receipts_and_each_record_is_there_once(log):
    path, db = log
    bodies = [batch(*(record(100 * i + k + 1, seq=k + 1, install=f"0193ffff-0000-7000-8000-0000000000{i:02x}") for k in range(EACH))) for i in range(PHONES)]
    replies = at_once(path, [lambda own, body=body, i=i: survey.receive(own, body, f"phone {i}") for i, body in enumerate(bodies)])
    assert all(isinstance(reply, dict) for reply in replies), replies
    assert [[r["status"] for r in reply["results"]] for reply in replies] == [["kept"] * EACH] * PHONES
    assert all((reply["seq_high"], reply["seq_count"]) == (EACH, EACH) for reply in replies)
    assert rows(db, "SELECT count(*) AS n, count(DISTINCT id) AS ids FROM record")[0] == {"n": PHONES * EACH, "ids": PHONES * EACH}


def test_the_same_batch_from_many_at_once_is_kept_once_and_already_there_for_the_rest(log):
    path, db = log
    body = batch(*(record(k + 1) for k in range(EACH)))
    replies = at_once(path, [lambda own: survey.receive(own, body, "phone")] * PHONES)
    said = [reply["results"][0]["status"] for reply in replies]
    assert sorted(said) == ["already"] * (PHONES - 1) + ["kept"]
    assert rows(db, "SELECT count(*) AS n FROM record")[0]["n"] == EACH


def test_one_that_fails_is_told_and_spoils_nobody_elses(log):
    path, db = log

    def write(own, who):
        def step(at):
            at.conn.execute("INSERT INTO mark VALUES (?)", [who])
            if who == 7:
                raise ValueError("seven")
            return who
        return together.write_together(own, each, [step])[0]

    results = at_once(path, [lambda own, who=i: write(own, who) for i in range(PHONES)])
    assert isinstance(results[7], ValueError)
    assert [r for i, r in enumerate(results) if i != 7] == [i for i in range(PHONES) if i != 7]
    assert sorted(row["who"] for row in rows(db, "SELECT who FROM mark")) == [i for i in range(PHONES) if i != 7], "each written once, the failed one not at all"


def test_they_share_transactions_and_nobody_is_answered_before_the_commit(log, monkeypatch):
    path, db = log
    blocks, real = [], together.atomic

    def counted(at):
        blocks.append(1)
        return real(at)

    monkeypatch.setattr(together, "atomic", counted)

    def job(own, who):
        together.write_together(own, each, [lambda at: at.conn.execute("INSERT INTO mark VALUES (?)", [who])])
        other = open_estate(path, read_only=True)  # another connection sees only what is committed
        seen = rows(other, "SELECT count(*) AS n FROM mark WHERE who = ?", [who])[0]["n"]
        other.conn.close()
        return seen

    held = open_estate(path)
    with real(held):  # while somebody writes, the others queue up
        waiting = threading.Thread(target=lambda: results.extend(at_once(path, [lambda own, who=i: job(own, who) for i in range(PHONES)])))
        results: list = []
        waiting.start()
        waiting.join(1.5)
        assert not results
    waiting.join(60)
    held.conn.close()
    assert results == [1] * PHONES
    assert len(blocks) < PHONES, f"{PHONES} writers took {len(blocks)} transactions"


def taken(path, judge, item, write=each, opened=None):
    """A job for ``at_once``: an item judged and written at the desk of that file."""
    return lambda own: together.take_together(str(path), opened or (lambda: own), judge, write, item)


def marking(at, who):
    """A judge whose judgement is a step that marks ``who``; thirteen can't be judged, seven can't be written."""
    if who == 13:
        raise ValueError("thirteen")

    def step(to):
        to.conn.execute("INSERT INTO mark VALUES (?)", [who])
        if who == 7:
            raise ValueError("seven")
        return who
    return step


def test_what_cant_be_judged_or_written_is_told_to_the_one_it_concerns(log):
    path, db = log
    results = at_once(path, [taken(path, marking, i) for i in range(PHONES)])
    assert {i: str(r) for i, r in enumerate(results) if isinstance(r, BaseException)} == {7: "seven", 13: "thirteen"}
    well = [i for i in range(PHONES) if i not in (7, 13)]
    assert [results[i] for i in well] == well
    assert sorted(row["who"] for row in rows(db, "SELECT who FROM mark")) == well


def test_a_group_is_judged_while_another_writes_by_one_who_alone_opens_the_file(log):
    path, db = log
    judged, opened, results = [], [], []

    def judge(at, who):
        judged.append(who)
        return marking(at, who + 100)

    def connection():
        opened.append(1)
        return open_estate(path)

    held = open_estate(path)
    with together.atomic(held):
        waiting = threading.Thread(target=lambda: results.extend(at_once(path, [taken(path, judge, i, opened=connection) for i in range(PHONES)])))
        waiting.start()
        waiting.join(1.5)
        assert sorted(judged) == list(range(PHONES)) and not results, "judged, and not yet answered"
    waiting.join(60)
    held.conn.close()
    assert results == [i + 100 for i in range(PHONES)]
    assert len(opened) < PHONES


def test_a_file_that_cant_be_opened_is_told_to_all_who_wait_for_it(log):
    path, _ = log

    def gone():
        raise OSError("gone")

    results = at_once(path, [taken(path, marking, i, opened=gone) for i in range(4)])
    assert [str(r) for r in results] == ["gone"] * 4
    assert at_once(path, [taken(path, marking, 5)]) == [5], "the desk goes on"
