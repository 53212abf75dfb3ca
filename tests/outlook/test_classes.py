"""Class and category rules of NOM-006-SCFI-2012 (§4.36, §5.1.2, §6.1, §6.3, §6.4)."""

from __future__ import annotations

import pytest

from webapp.outlook import classes as c
from webapp.problems import Problem


@pytest.mark.parametrize("months, cask_l, name", [
    (0, 200, c.UNAGED), (1, 200, c.UNAGED), (1.99, 200, c.UNAGED), (2, 200, c.RESTED), (2, 20_000, c.RESTED), (11, 200, c.RESTED),
    (12, 600, c.AGED), (12, 601, c.RESTED), (12, 1000, c.RESTED), (35.9, 600, c.AGED), (36, 600, c.LONG_AGED), (36, 1000, c.RESTED), (120, 200, c.LONG_AGED)])
def test_class_from_time_and_cask(months, cask_l, name):
    assert c.class_of(months, cask_l) == name


@pytest.mark.parametrize("months, cask_l", [(-1, 200), (float("nan"), 200), (12, 0)])
def test_impossible_ageing(months, cask_l):
    with pytest.raises(Problem):
        c.class_of(months, cask_l)


@pytest.mark.parametrize("parts, name", [
    ([c.RESTED, c.AGED], c.RESTED), ([c.RESTED, c.LONG_AGED], c.RESTED), ([c.AGED, c.LONG_AGED], c.AGED),
    ([c.UNAGED, c.AGED], c.YOUNG), ([c.UNAGED, c.RESTED], c.YOUNG), ([c.AGED], c.AGED), ([c.UNAGED], c.UNAGED)])
def test_blends(parts, name):
    assert c.blend_of(parts) == name
    assert c.blend_of(parts[::-1]) == name


def test_blend_of_nothing_and_of_the_unknown():
    with pytest.raises(Problem):
        c.blend_of([])
    with pytest.raises(Problem):
        c.blend_of(["whisky"])


@pytest.mark.parametrize("abv, fine", [(34.9, False), (35.0, True), (55.0, True), (55.1, False)])
def test_strength(abv, fine):
    if fine:
        assert c.checked_abv(abv) == abv
    else:
        with pytest.raises(Problem):
            c.checked_abv(abv)


@pytest.mark.parametrize("share, category", [(1.0, c.FULL), (0.999, c.MIXED), (0.51, c.MIXED)])
def test_category(share, category):
    assert c.category_of(share) == category


@pytest.mark.parametrize("share", [0.509, 0.0, 1.01, float("nan")])
def test_not_enough_agave(share):
    with pytest.raises(Problem):
        c.category_of(share)


def test_years_in_wood():
    assert [c.years_in_wood(n) for n in c.AGE_ORDER] == [0, pytest.approx(1 / 6), 1, 3]
    assert c.years_in_wood("solera", {"solera": 5}) == 5
