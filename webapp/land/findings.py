"""What a look at a file of plots can find, each in words with what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Iterable

from ..sentences import Sentence

BLOCKS, TELLS = "blocks", "tells"
KINDS: dict[str, str] = {
    "no_outline": BLOCKS, "invalid_ring": BLOCKS, "sliver": BLOCKS, "duplicate_code": BLOCKS, "overlap": BLOCKS, "no_code": BLOCKS,
    "not_area": BLOCKS, "outside_world": BLOCKS, "multipart": BLOCKS, "swapped": BLOCKS,
    "three_d": TELLS, "overlap_existing": BLOCKS, "bad_value": TELLS, "no_crs": TELLS, "reprojected": TELLS, "no_date": TELLS, "code_unfit": BLOCKS, "long_ago": BLOCKS}
"""Blocking findings keep a plot waiting for a person; the others only tell."""


@dataclass(frozen=True)
class Finding:
    """One finding about one feature (``feature`` counts from 1; 0 = the whole file)."""

    code: str
    feature: int
    subject: str
    params: dict

    @property
    def blocks(self) -> bool:
        return KINDS[self.code] == BLOCKS

    @property
    def what(self) -> Sentence:
        return Sentence(f"land.finding.{self.code}.what", {"subject": self.subject, **self.params})

    @property
    def do(self) -> Sentence:
        return Sentence(f"land.finding.{self.code}.do", {"subject": self.subject, **self.params})

    def as_dict(self) -> dict:
        return {"code": self.code, "feature": self.feature, "subject": self.subject, "what": self.what.as_dict(), "do": self.do.as_dict()}


MOST_YEARS = 30
"""Years after its planting by which no agave stands any more: it flowers and dies long before."""


def long_ago(features: Iterable[Any], today: date) -> list[Finding]:
    """Standing plots said to be planted longer ago than an agave lives: another century was meant, or the date is that of something else."""
    out = []
    for feature in features:
        day = feature.attributes.get("planted_on")
        years = (today - date.fromisoformat(day)).days / 365.25 if day else 0.0
        if years > MOST_YEARS and feature.attributes.get("status") in (None, "standing"):
            out.append(Finding("long_ago", feature.number, feature.subject, {"day": day, "years": int(years), "most": MOST_YEARS}))
    return out
