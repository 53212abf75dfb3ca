"""Three spoilt builds of the product. The oracle must see each, or it proves nothing.

- ``early_receipt`` (phone): the sender marks a batch as acknowledged before it asks the office. A lost request
  then loses acknowledged records.
- ``no_digest`` (server): neither Content-Digest nor the digest of a record known by its identifier is looked at.
  A byte flipped on the road is then stored as the record, and the true bytes, sent again, count as "already".
- ``not_atomic`` (server): that a record arrived is committed apart from, and before, the record itself. Merely
  committing record by record would heal by itself, since each record is idempotent and the phone sends the whole
  batch again; this is the batch torn where it hurts: a server killed between the two (or a full disk) answers
  "already" for what it never stored.
"""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from webapp.survey import intake

KINDS = ("early_receipt", "no_digest", "not_atomic")
SEEN_BY = {"early_receipt": ("acknowledged_lost",), "no_digest": ("changed",), "not_atomic": ("acknowledged_lost",)}
_BEFORE = "const { status, reply } = await postBatch(envelope(batch));"
_AFTER = "await outbox.settle(new Map(batch.map((entry) => [entry.id, { state: 'kept' }])), {});\n    " + _BEFORE


def phone(source: Path, target: Path) -> Path:
    """A copy of the phone whose sender acknowledges before it asks."""
    shutil.copytree(source, target)
    sender = target / "sender.js"
    text = sender.read_text()
    assert text.count(_BEFORE) == 1, "the sender's line that posts a batch is another now: mend the sabotage"
    sender.write_text(text.replace(_BEFORE, _AFTER))
    return target


def of_server(app, kind: str, estate: Path):
    """The WSGI application, spoilt as ordered (or as it is)."""
    if kind == "no_digest":
        return _no_digest(app)
    if kind == "not_atomic":
        _not_atomic(estate.with_name("arrived.db"))
    return app


def _no_digest(app):
    against = intake.against

    def blind(decisions, seen, bytes_of):
        arrived = {d.id: d for d in decisions}
        return against(decisions, {name: arrived[name].digest for name in seen if name in arrived}, lambda name: arrived[name].bytes)

    intake.against = blind

    def answer(environ, start):
        environ.pop("HTTP_CONTENT_DIGEST", None)
        return app(environ, start)
    return answer


def _not_atomic(path: Path) -> None:
    against = intake.against

    def torn(decisions, seen, bytes_of):
        apart = sqlite3.connect(path, isolation_level=None)
        apart.execute("CREATE TABLE IF NOT EXISTS arrived (id TEXT PRIMARY KEY)")
        known = {row[0] for row in apart.execute("SELECT id FROM arrived")}
        told = against(decisions, {**{d.id: d.digest for d in decisions if d.id in known}, **seen}, bytes_of)
        apart.executemany("INSERT OR IGNORE INTO arrived VALUES (?)", [(d.id,) for d in told])
        apart.close()
        return told

    intake.against = torn
