"""Numbers that never travel without their unit, uncertainty and source."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

PUBLISHED = "published"
DERIVED = "derived"
COMMON_PRACTICE = "common practice"
FROM_MEMORY = "from memory"
STATUSES = (PUBLISHED, DERIVED, COMMON_PRACTICE, FROM_MEMORY)


@dataclass(frozen=True)
class Constant:
    """A fixed number of the trade or of physics.

    ``uncertainty`` is one standard uncertainty in ``unit`` (0.0 for exact definitions).
    ``source`` names author, year, title and table; it may not be empty. ``status`` says what
    kind of source that is, so that a page can show what is an assumption.
    """

    name: str
    value: float
    unit: str
    uncertainty: float
    source: str
    status: str = PUBLISHED

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise ValueError(f"{self.name}: a constant needs a source; say 'from memory' when there is none")
        if self.status not in STATUSES:
            raise ValueError(f"{self.name}: status {self.status!r} is not one of {STATUSES}")
        if not self.unit.strip():
            raise ValueError(f"{self.name}: a constant needs a unit; write '1' for a pure number")

    def __float__(self) -> float:
        return float(self.value)


@dataclass(frozen=True)
class Estimate:
    """An estimated quantity with its interval.

    ``low``…``high`` is the central interval of probability ``level``; ``n`` the number of
    observations it rests on; ``how`` a sentence code that says how it was made.
    """

    value: float
    low: float
    high: float
    unit: str
    n: int
    how: str
    level: float = 0.80

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"interval {self.low}…{self.high} does not hold its value {self.value} ({self.how})")

    def as_dict(self) -> dict:
        return asdict(self)


@dataclass(frozen=True)
class Belief:
    """A fitted quantity: what was believed before the data and what they say now, with central 80 % intervals.

    ``low``/``high`` are None where the fit gives one value only. ``name`` is the end of a sentence code; ``params`` fill it;
    ``note`` the end of another about how far the data decide it ("" for none).
    """

    name: str
    unit: str
    prior: float
    prior_low: float
    prior_high: float
    value: float
    low: float | None = None
    high: float | None = None
    params: dict = field(default_factory=dict)
    note: str = ""
