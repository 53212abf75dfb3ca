"""How well the first ripe week is known: by the same shares as the drawn interval, said in words for every case."""

import numpy as np
import pytest

from webapp.ripeness import first_ripe
from webapp.sentences import LANGUAGES

WEEKS = ["2026-W52", "2026-W53", "2027-W01", "2027-W02"]


def test_the_high_end_is_ripe_the_earliest_and_a_dip_does_not_undo_it():
    low, high = np.array([[0.1, 0.2, 0.3, 0.6], [0.0, 0.0, 0.0, 0.0]]), np.array([[0.3, 0.5, 0.4, 0.9], [0.1, 0.1, 0.1, 0.1]])
    early, late = first_ripe.interval(low, high, 0.5)
    assert list(early) == [1, first_ripe.NEVER] and list(late) == [3, first_ripe.NEVER]


@pytest.mark.parametrize("early, late, code", [(1, 3, "between"), (2, 2, "exact"), (0, 0, "already"), (0, 3, "by"), (0, -1, "maybe_now"), (2, -1, "not_before"), (-1, -1, "beyond")])
def test_every_case_is_said_with_its_years(early, late, code):
    said = first_ripe.sentence(early, late, WEEKS)
    assert said.code == f"ripeness.first.{code}"
    for language in LANGUAGES:
        words = said.text(language)
        assert "80\u00a0%" in words
        for place in (early, late):
            assert place < 1 or WEEKS[place] in words, "a week never stands without its year"
        assert first_ripe.short(early, late, WEEKS).text(language)
