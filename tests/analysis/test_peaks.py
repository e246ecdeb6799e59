"""Own peaks and moving parabola against scipy.signal's, whose import the program does without."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks, savgol_filter

from analysis.pull.peaks import moving_parabola, prominent_peaks

few_levels = st.lists(st.integers(-6, 6).map(float), min_size=3, max_size=60).map(np.array)
distinct = st.lists(st.integers(-500, 500).map(float), min_size=3, max_size=60, unique=True).map(np.array)


@given(distinct, st.floats(0.01, 200.0))
def test_the_peaks_are_those_of_scipy(values, least):
    peaks, prominence = prominent_peaks(values, least)
    theirs, found = find_peaks(values, prominence=least)
    assert peaks.tolist() == theirs.tolist()
    np.testing.assert_array_equal(prominence, found["prominences"])


@given(few_levels, st.floats(0.01, 8.0))
def test_of_equal_tops_that_nothing_parts_the_last_is_taken(values, least):
    peaks, prominence = prominent_peaks(values, least)
    theirs, found = find_peaks(values, prominence=least)
    of_theirs = dict(zip(theirs.tolist(), found["prominences"].tolist(), strict=True))
    assert dict(zip(peaks.tolist(), prominence.tolist(), strict=True)).items() <= of_theirs.items()
    for left_out in of_theirs.keys() - set(peaks.tolist()):
        later = [at for at in peaks.tolist() if at > left_out and values[at] == values[left_out]]
        assert later
        assert values[left_out : later[0]].min() > values[left_out] - least


@pytest.mark.parametrize("least", [0.5, 3.0, 20.0])
def test_the_peaks_of_long_noise_are_those_of_scipy(least):
    values = np.cumsum(np.random.default_rng(3).normal(size=20_000))
    peaks, prominence = prominent_peaks(values, least)
    theirs, found = find_peaks(values, prominence=least)
    assert peaks.tolist() == theirs.tolist()
    np.testing.assert_array_equal(prominence, found["prominences"])
    assert peaks.size


@given(st.lists(st.floats(-1e3, 1e3), min_size=41, max_size=80).map(np.array), st.integers(1, 20))
def test_the_parabola_is_that_of_scipy(values, half):
    width = 2 * half + 1
    np.testing.assert_allclose(moving_parabola(values, width), savgol_filter(values, width, 2), atol=1e-8)
