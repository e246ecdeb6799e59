"""Real series of the NIST Statistical Reference Datasets (StRD; data in support.nist) as what rides on a sliding torque.

Lew: 200 deflections of a steel-concrete beam, oscillating. Michelso: 100 measurements of the speed of light, lag-1 autocorrelation
0.535: readings of one instrument are rarely independent.
"""

import numpy as np
import pytest
from support.nist import SERIES

from analysis.pull.reading import read_pull
from analysis.trace import Trace

LEW = SERIES["Lew"]


def a_pull(ride: np.ndarray, rate_hz: float, peak_nm: float = 60.0, level_nm: float = 50.0, rest_noise_nm: float = 0.02) -> Trace:
    """Rest, ramp to the peak in 1 s, quick drop, sliding at the level with `ride` on it at 20 deg/s, let go."""
    rest, ramp = np.zeros(round(rate_hz)), np.linspace(0, peak_nm, round(rate_hz), endpoint=False)
    along = np.arange(ride.size) / rate_hz * 20.0
    sliding = level_nm + (peak_nm - level_nm) * np.exp(-along / 0.5) + ride
    torque = np.concatenate([rest, ramp, sliding, rest[: round(0.5 * rate_hz)]])
    angle = np.concatenate([rest, ramp / 60, peak_nm / 60 + along, np.full(round(0.5 * rate_hz), peak_nm / 60 + along[-1])])
    quiet = np.concatenate([np.ones(rest.size + ramp.size), np.zeros(ride.size), np.ones(round(0.5 * rate_hz))])
    torque += quiet * rest_noise_nm * np.random.default_rng(5).standard_normal(torque.size)
    return Trace(np.arange(torque.size) / rate_hz, torque, np.round(angle, 2))


@pytest.mark.parametrize("name", SERIES)
def test_the_series_is_the_certified_one(name: str) -> None:
    series = SERIES[name]
    data = np.array(series.data)
    away = data - data.mean()
    assert data.mean() == pytest.approx(series.mean, rel=1e-13)
    assert data.std(ddof=1) == pytest.approx(series.sd, rel=series.sd_rel)
    assert (away[1:] * away[:-1]).sum() / (away**2).sum() == pytest.approx(series.lag1, abs=1e-6)


@pytest.mark.parametrize("spacing_s", [0.010, 0.030])
def test_a_vibrating_beam_on_the_torque_is_not_chatter(spacing_s: float) -> None:
    """Lew's real oscillation, some 0.3 cycles a reading: 30 and 10 Hz here, 3 N.m high, read at 1 kHz between its readings."""
    wave = (np.array(LEW.data) - LEW.mean) / LEW.sd
    n = round(wave.size * spacing_s * 1000)
    # Band-limited between the readings, as the sensor would see a vibration.
    spectrum = np.fft.rfft(wave)
    fine = np.fft.irfft(spectrum, n) * (n / wave.size)
    result = read_pull(a_pull(1.0 * fine, 1000.0))
    assert result.chatter.present is not True
    assert result.sliding is not None
    assert result.sliding.torque_nm == pytest.approx(50.0, rel=0.004)


def test_noise_that_is_not_independent_is_not_averaged_away() -> None:
    """Noise with Michelso's lag-1 correlation (first-order), 0.5 N.m: the sliding reading must not scatter more than its budget.

    1.5 is what 40 draws may show by chance.
    """
    rng = np.random.default_rng(17)
    read, stated = [], []
    for _ in range(40):
        white = rng.standard_normal(4000) * np.sqrt(1 - SERIES["Michelso"].lag1 ** 2)
        correlated = np.empty(4000)
        last = rng.standard_normal()
        for i, w in enumerate(white):
            last = SERIES["Michelso"].lag1 * last + w
            correlated[i] = last
        result = read_pull(a_pull(0.5 * correlated, 1000.0, rest_noise_nm=0.5))
        assert result.sliding is not None
        read.append(result.sliding.torque_nm)
        stated.append(result.sliding.budget.u_nm)
    assert np.std(read) <= 1.5 * np.median(stated)
