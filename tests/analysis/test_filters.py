"""Filters and their undoing: laws of linear filters, held against sums over the samples and against the closed form of a ramp."""

import numpy as np
import pytest

from analysis.pull.filters import Filter, seen_through, undone

STEP_S = 1e-3
TIME = np.arange(0.0, 4.0, STEP_S)
LAGS_S = (0.02, 0.1)


@pytest.mark.parametrize("kind", Filter)
@pytest.mark.parametrize("lag_s", LAGS_S)
def test_a_step_comes_out_late_by_the_lag_on_the_average_and_reaches_its_height(kind, lag_s):
    step = np.where(TIME >= 1.0, 1.0, 0.0)
    out = seen_through(kind, lag_s, step, STEP_S)
    assert out[-1] == pytest.approx(1.0, abs=1e-3)
    assert np.sum(step - out) * STEP_S == pytest.approx(lag_s, abs=1.5 * STEP_S)


@pytest.mark.parametrize("kind", Filter)
@pytest.mark.parametrize("lag_s", LAGS_S)
@pytest.mark.parametrize("samples", [5, 21])
def test_undoing_gives_back_a_ramp_that_ends_in_a_fall(kind, lag_s, samples):
    """20 N.m/s to 40 N.m, then down to 30: away from the corner by the span of the slope all is as it went in."""
    torque = np.interp(TIME, [0.5, 2.5, 2.6, 4.0], [0.0, 40.0, 30.0, 30.0])
    back, _ = undone(kind, lag_s, seen_through(kind, lag_s, torque, STEP_S), STEP_S, samples)
    ramp = (0.5 + 6 * lag_s < TIME) & (2.5 - 2 * samples * STEP_S > TIME)
    # Half a step, by which a sampled filter of first order is early or late, is 0.01 N.m of this ramp.
    assert np.max(np.abs(back - torque)[ramp]) < 0.03
    assert back[(TIME > 2.45) & (TIME < 2.55)].max() == pytest.approx(40.0, abs=0.5)


@pytest.mark.parametrize("kind", Filter)
def test_the_noise_grows_by_the_gain_that_is_told(kind):
    noise = np.random.default_rng(5).standard_normal(40_000)
    back, gain = undone(kind, 0.05, noise, STEP_S, 15)
    assert np.std(back) == pytest.approx(gain, rel=0.05)
