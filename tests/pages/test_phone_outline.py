"""Outlines for the phone: fewer points, the same place."""

from __future__ import annotations

from math import cos, pi, sin

import pytest

from webapp.pages.phone_outline import outer_ring, simplified


def wavy(n=400, radius=0.002):
    ring = [[-102.4 + radius * (1 + 0.1 * sin(6 * t)) * cos(t), 20.7 + radius * sin(t)] for t in (2 * pi * i / n for i in range(n))]
    return ring + ring[:1]


def test_fewer_points_and_the_area_within_two_percent():
    from webapp.pages.phone_outline import _area

    ring = outer_ring({"type": "Polygon", "coordinates": [wavy()]})
    few = simplified(ring)
    assert 8 <= len(few) < 60
    assert _area(few) == pytest.approx(_area(ring), rel=0.02)


def test_the_largest_part_speaks_for_a_multipolygon():
    small = [[[0, 0], [0, 1e-4], [1e-4, 1e-4], [0, 0]]]
    large = [[[1, 1], [1, 2], [2, 2], [2, 1], [1, 1]]]
    assert outer_ring({"type": "MultiPolygon", "coordinates": [small, large]}) == large[0][:-1]


def test_a_plot_without_outline_has_no_ring():
    assert outer_ring(None) == [] and outer_ring({"type": "Polygon", "coordinates": []}) == []
