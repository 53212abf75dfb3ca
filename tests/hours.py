"""The estate's day is frozen, its hours are not: what a test may need is an hour of its own, whatever the hour it is run at."""

import time
from contextlib import contextmanager
from datetime import datetime
from datetime import time as hour

import pytest

from webapp.clock import Clock


@contextmanager
def beginning_at(begins: hour):
    """On estates whose day is frozen it is ``begins`` now, and the time runs on from there."""
    plain, began = Clock.now, time.monotonic()

    def now(self: Clock) -> datetime:
        if self.frozen_today is None:
            return plain(self)
        elapsed = time.monotonic() - began
        return datetime.fromtimestamp(datetime.combine(self.frozen_today, begins, self.zone).timestamp() + elapsed, self.zone)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Clock, "now", now)
        yield
