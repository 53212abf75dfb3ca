"""The estimator reduced to the two classical small-area models gives their published fits and predictions."""

import numpy as np
import pytest

from webapp.ripeness.estimate import Grouped, fit

# Battese, Harter & Fuller (1988), JASA 83:28–36, table 1: county, corn (ha per segment), corn and soybean pixels; row 33, the published outlier, left out.
SEGMENTS = """1,165.76,374,55; 2,96.32,209,218; 3,76.08,253,250; 4,185.35,432,96; 4,116.43,367,178; 5,162.08,361,137; 5,152.04,288,206; 5,161.75,369,165; 6,92.88,206,218; 6,149.94,316,221; 6,64.75,145,338;
7,127.07,355,128; 7,133.55,295,147; 7,77.7,223,204; 8,206.39,459,77; 8,108.33,290,217; 8,118.17,307,258; 9,99.96,252,303; 9,140.43,293,221; 9,98.95,206,222; 9,131.04,302,274; 10,114.12,313,190; 10,100.6,246,270;
10,127.88,353,172; 10,116.9,271,228; 10,87.41,237,297; 11,93.48,221,167; 11,121.0,369,191; 11,109.91,343,249; 11,122.66,342,182; 11,104.21,294,179; 12,88.59,220,262; 12,165.35,355,160; 12,104.0,261,221;
12,88.63,187,345; 12,153.7,350,190"""
COUNTY_PIXELS = np.array([[295.29, 189.70], [300.40, 196.65], [289.60, 205.28], [290.74, 220.22], [318.21, 188.06], [257.17, 247.13], [291.77, 185.37], [301.26, 221.36], [262.17, 247.09], [314.28, 198.66], [298.65, 204.61], [325.99, 177.05]])
# Fresh milk expenditure of 43 areas: Arora & Lahiri (1997), Statistica Sinica 7:1053–1063; You & Chapman (2006), Survey Methodology 32:97–103. Major area, mean, its standard error.
MILK = """1,1.099,.163; 1,1.075,.080; 1,1.105,.083; 1,.628,.109; 1,.753,.119; 1,.981,.141; 1,1.257,.202; 2,1.095,.127; 2,1.405,.168; 2,1.356,.178; 2,.615,.100; 2,1.460,.201; 2,1.338,.148; 2,.854,.143; 3,1.176,.149;
3,1.111,.145; 3,1.257,.135; 3,1.430,.172; 3,1.278,.137; 3,1.292,.163; 3,1.002,.125; 3,1.183,.247; 3,1.044,.140; 3,1.267,.171; 3,1.193,.106; 4,.791,.121; 4,.795,.121; 4,.759,.259; 4,.796,.106; 4,.565,.089; 4,.886,.225;
4,.952,.205; 4,.807,.119; 4,.582,.067; 4,.684,.106; 4,.787,.126; 4,.440,.092; 4,.759,.132; 4,.770,.100; 4,.800,.113; 4,.756,.083; 4,.865,.121; 4,.640,.129"""


def table(text):
    return np.array([[float(v) for v in row.split(",")] for row in text.replace("\n", " ").split(";")])


def test_battese_harter_fuller():
    """Nested errors by county. Variances 140.024 and 147.269, β 51.0704, 0.3287, −0.1346 by REML (statsmodels 0.15.0 on the same rows; the paper, by
    another estimator, prints 140, 147; 51, 0.329, −0.134); EBLUP of the county means of hectares of corn per segment against the same fit."""
    rows = table(SEGMENTS)
    county = rows[:, 0].astype(int) - 1
    M = np.bincount(county).max()
    y, X, mask = np.zeros((12, M)), np.zeros((12, M, 3)), np.zeros((12, M), bool)
    for i in range(12):
        mine = rows[county == i]
        y[i, : len(mine)], mask[i, : len(mine)] = mine[:, 1], True
        X[i, : len(mine)] = np.column_stack([np.ones(len(mine)), mine[:, 2:]])
    both = (mask[:, :, None] & mask[:, None, :]).astype(float)
    found = fit(Grouped(y, X, mask, (both, np.eye(M) * mask[:, :, None]), np.where(mask, 0.0, 1.0), np.zeros((3, 3))), np.array([10.0, 10.0]))
    assert found.sds**2 == pytest.approx([140.024, 147.269], rel=2e-4)
    assert found.theta == pytest.approx([51.0704, 0.3287, -0.1346], rel=5e-4)
    assert np.sqrt(np.diag(found.cov)) == pytest.approx([24.429, 0.0499, 0.0558], rel=0.015)  # statsmodels takes its own from the Hessian in all parameters
    effect = found.sds[0] ** 2 * np.where(mask, found.q, 0.0).sum(axis=1)
    told = found.theta[0] + COUNTY_PIXELS @ found.theta[1:] + effect
    assert told == pytest.approx([122.20, 126.22, 106.70, 108.44, 144.28, 112.14, 112.80, 122.00, 115.33, 124.42, 106.90, 143.01], abs=0.011)
    paper = [122.2, 126.3, 106.2, 108.0, 145.0, 112.6, 112.4, 122.1, 115.8, 124.3, 106.3, 143.6]  # fitting of constants, no finite-population correction
    assert told == pytest.approx(paper, abs=1.0)


def test_fay_herriot():
    """Area means with known sampling variances. REML A = 0.018550334, β and EBLUP as R's ``sae`` (Molina & Marhuenda 2015, R Journal 7:81–98) prints them."""
    rows = table(MILK)
    X = np.column_stack([np.ones(43), *(rows[:, 0] == area for area in (2, 3, 4))]).astype(float)
    found = fit(Grouped(rows[:, 1:2], X[:, None, :], np.ones((43, 1), bool), (np.ones((43, 1, 1)),), rows[:, 2:3] ** 2, np.zeros((4, 4))), np.array([0.1]))
    assert found.sds[0] ** 2 == pytest.approx(0.018550334, rel=2e-4)
    assert found.theta == pytest.approx([0.968189, 0.132780, 0.226946, -0.241301], abs=1e-5)
    assert np.sqrt(np.diag(found.cov)) == pytest.approx([0.069362, 0.103001, 0.092330, 0.081617], rel=2e-4)
    told = X @ found.theta + found.sds[0] ** 2 * found.q[:, 0]
    assert told[:5] == pytest.approx([1.021971, 1.047602, 1.067951, 0.760817, 0.846157], abs=1e-5)
