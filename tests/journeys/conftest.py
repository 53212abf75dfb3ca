"""Journeys begin at noon, whatever the hour they are run at.

Phones here say that they send at noon. Beside an office where it is one in the morning their clocks would seem eleven hours fast,
and what they wrote down would rightly be moved to the day before.
"""

from datetime import time

import pytest

from tests.hours import beginning_at


@pytest.fixture(scope="module", autouse=True)
def from_noon():
    with beginning_at(time(12)):
        yield
