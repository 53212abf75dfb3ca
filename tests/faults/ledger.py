"""The oracle: what phones wrote and were told, against what the office has. Pure; knows nothing of browsers or SQL."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

COUNTS = ("acknowledged_lost", "doubled", "changed", "never_arrived", "foreign", "conflicts_odd", "photos_lost", "still_unsent")
"""Every one of them must be 0 at the end."""


@dataclass
class Ledger:
    """What the phones said. ``wrote`` and ``acked`` are by identifier; nothing is ever taken out of them.

    ``excused`` were on a phone that was wiped and had no receipt there: they may be lost, and are counted as such.
    ``begun`` are identifiers of records whose saving a kill cut short: they may be at the office or not.
    """

    wrote: dict[str, bytes] = field(default_factory=dict)
    acked: set[str] = field(default_factory=set)
    excused: set[str] = field(default_factory=set)
    begun: set[str] = field(default_factory=set)
    photos: dict[str, bool] = field(default_factory=dict)
    forged: set[str] = field(default_factory=set)
    """Identifiers of records for which the harness itself sent other bytes under a right digest."""

    def save(self, identifier: str, data: bytes) -> None:
        assert self.wrote.get(identifier, data) == data, f"{identifier} was written twice with other bytes"
        self.wrote[identifier] = data

    def excuse(self, identifiers) -> None:
        """Of a phone that is wiped now: those without a receipt are honestly gone."""
        self.excused |= set(identifiers) - self.acked


@dataclass(frozen=True)
class Office:
    """``records`` as (id, install, seq, bytes); ``conflicts`` the ids of kept-apart records; ``photos`` digest → digest of the bytes really there."""

    records: list[tuple[str, str, int | None, bytes]]
    conflicts: list[str] = field(default_factory=list)
    photos: dict[str, str] = field(default_factory=dict)


@dataclass
class Verdict:
    counts: dict[str, int]
    examples: dict[str, list[str]]
    records: int
    acked: int
    honestly_lost: int

    @property
    def clean(self) -> bool:
        return not any(self.counts.values())

    def text(self) -> str:
        head = f"{self.records} records written, {self.acked} acknowledged, {self.honestly_lost} honestly lost with a wiped phone"
        told = ", ".join(f"{name.replace('_', ' ')} {n}" for name, n in self.counts.items())
        shown = "".join(f"\n  {name}: {', '.join(found[:4])}" for name, found in self.examples.items() if found)
        return f"{head}\n{told}{shown}"


def judge(ledger: Ledger, office: Office, unsent: int = 0) -> Verdict:
    """Every difference between the two, by kind. A record is doubled when its identifier, or its place in its phone's sequence, is there twice."""
    there = Counter(record for record, *_ in office.records)
    places = Counter((install, seq) for _, install, seq, _ in office.records if install and seq is not None)
    stored = {record: bytes(data) for record, _, _, data in office.records}
    missing = {record for record in ledger.wrote if record not in there}
    found = {
        "acknowledged_lost": sorted(missing & ledger.acked),
        "doubled": sorted(record for record, n in there.items() if n > 1) + [f"{install} seq {seq}" for (install, seq), n in places.items() if n > 1],
        "changed": sorted(record for record, data in stored.items() if record in ledger.wrote and ledger.wrote[record] != data),
        "never_arrived": sorted(missing - ledger.acked - ledger.excused),
        "foreign": sorted(record for record in there if record not in ledger.wrote and record not in ledger.begun),
        "conflicts_odd": sorted(set(office.conflicts) ^ ledger.forged),
        "photos_lost": sorted(digest for digest, needed in ledger.photos.items() if needed and office.photos.get(digest) != digest)
        + sorted(digest for digest, real in office.photos.items() if digest != real),
    }
    counts = {name: len(found.get(name, ())) for name in COUNTS}
    counts["still_unsent"] = unsent
    return Verdict(counts, found, len(ledger.wrote), len(ledger.acked), len(missing & ledger.excused - ledger.acked))
