"""The estate's day is frozen, its hours are not: journeys begin at noon, whatever the hour they are run at.

Phones here say that they send at noon. Beside an office where it is one in the morning their clocks would seem eleven hours fast,
and what they wrote down would rightly be moved to the day before.
"""

import time
from datetime import datetime, time as hour

import pytest

from webapp.clock import Clock


@pytest.fixture(scope="module", autouse=True)
def from_noon():
    plain, began = Clock.now, time.monotonic()

    def now(self: Clock) -> datetime:
        if self.frozen_today is None:
            return plain(self)
        elapsed = time.monotonic() - began
        return datetime.fromtimestamp(datetime.combine(self.frozen_today, hour(12), self.zone).timestamp() + elapsed, self.zone)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Clock, "now", now)
        yield
