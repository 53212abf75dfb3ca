"""An estate file of the form before: its stored answers can't be read any more, and are made again instead of failing a page."""

from importlib import import_module

import numpy as np
import pytest
import sqlite_utils

from webapp import answers, migrations
from webapp.database import atomic, open_estate
from webapp.ripeness import rare, service, store, track_service

from .test_service import field, load_land, visit  # noqa: F401


def test_answers_of_the_older_form_are_made_again(field, estate_path):  # noqa: F811
    answers.put(field, service.STAGE, "old", {"plots": []}, {})
    field.conn.execute("DELETE FROM _sqlite_migrations WHERE name = 'm0009_answers_anew'")
    field.conn.commit()
    again = open_estate(estate_path)
    assert answers.latest(again, service.STAGE) is None
    assert service.plot_now(again, "VS-01")["mean_deg"][0] > 0
    again.conn.close()


def test_what_was_said_keeps_the_kind_it_was_said_in(tmp_path):
    """A file of before: words without a rare part, words as likely up as down; and a word of today beside them. Each gives back the target it spoke of."""
    path, mean, sd = tmp_path / "older.db", np.array([22.4, 23.1, 24.6, 25.8]), 1.3
    for name in migrations.FILES:
        import_module(f"webapp.migrations.{name}")
    older = sqlite_utils.Database(path)
    migrations.steps.apply(older, stop_before="m0016_mostly_up")
    plain, even = rare.below((mean - 24.0) / sd), rare.above((24.0 - mean) / sd, 0.5, rare.Kind(0.07, 0.0))
    for day, part, chance in (("2026-01-05", None, plain), ("2026-04-06", 0.5, even)):
        older["said"].insert_all([{"fit": "x", "on_day": day, "plot": f"P{i}", "week": "2026-W40", "mean_deg": mean[i], "sd_deg": sd, "share": 0.5, "chance": float(chance[i]), "said_from": "when_said", "rare_part": part} for i in range(4)])
    older.conn.close()
    db = open_estate(path)
    now, kind = rare.above((24.0 - mean) / sd, 0.5), rare.kind()
    with atomic(db):
        store.SAID.keep(db, [("y", "2026-07-06", f"P{i}", "2026-W40", float(mean[i]), sd, 0.5, float(now[i]), 0.0, 0.5, 2.2, 0.5, kind.chance, kind.up) for i in range(4)])
    said = track_service.said_frame(store.SAID.about(db))
    part, of = track_service._rare(said)
    assert part.tolist() == [0.0] * 4 + [0.5] * 8 and of.chance[4:].tolist() == [0.07] * 4 + [kind.chance] * 4 and of.up[4:].tolist() == [0.0] * 4 + [kind.up] * 4
    assert list(track_service._targets(said, 99.0).values()) == pytest.approx([24.0] * 3, abs=2e-3)
    db.conn.close()
