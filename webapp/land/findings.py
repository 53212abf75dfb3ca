"""What a look at a file of plots can find, each in words with what to do."""

from __future__ import annotations

from dataclasses import dataclass

from ..sentences import Sentence

BLOCKS, TELLS = "blocks", "tells"
KINDS: dict[str, str] = {
    "no_outline": BLOCKS, "invalid_ring": BLOCKS, "sliver": BLOCKS, "duplicate_code": BLOCKS, "overlap": BLOCKS, "no_code": BLOCKS,
    "not_area": BLOCKS, "outside_world": BLOCKS, "multipart": BLOCKS, "swapped": BLOCKS,
    "three_d": TELLS, "overlap_existing": BLOCKS, "bad_value": TELLS, "no_crs": TELLS, "reprojected": TELLS, "no_date": TELLS}
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
