"""Real series of the NIST Statistical Reference Datasets (StRD) as what rides on a sliding torque.

Lew: 200 deflections of a steel-concrete beam, oscillating. Michelso: 100 measurements of the speed of light, lag-1 autocorrelation
0.535: readings of one instrument are rarely independent. Both series and certified values were read in source tests of the GNU
scientific library, which carry them.
"""

import numpy as np
import pytest

from analysis.reading import read_pull
from analysis.trace import Trace

LEW = [
    -213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125, -559, 92, -21, -579, -52,
    99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572, -8, 83, -541, -224, 180, -420, -374, 201, -236,
    -531, 83, 27, -564, -112, 131, -507, -254, 199, -311, -495, 143, -46, -579, -90, 136, -472, -338, 202, -287, -477,
    169, -124, -568, 17, 48, -568, -135, 162, -430, -422, 172, -74, -577, -13, 92, -534, -243, 194, -355, -465, 156,
    -81, -578, -64, 139, -449, -384, 193, -198, -538, 110, -44, -577, -6, 66, -552, -164, 161, -460, -344, 205, -281,
    -504, 134, -28, -576, -118, 156, -437, -381, 200, -220, -540, 83, 11, -568, -160, 172, -414, -408, 188, -125, -572,
    -32, 139, -492, -321, 205, -262, -504, 142, -83, -574, 0, 48, -571, -106, 137, -501, -266, 190, -391, -406, 194,
    -186, -553, 83, -13, -577, -49, 103, -515, -280, 201, 300, -506, 131, -45, -578, -80, 138, -462, -361, 201, -211,
    -554, 32, 74, -533, -235, 187, -372, -442, 182, -147, -566, 25, 68, -535, -244, 194, -351, -463, 174, -125, -570,
    15, 72, -550, -190, 172, -424, -385, 198, -218, -536, 96,
]  # fmt: skip
LEW_MEAN, LEW_SD, LEW_LAG1 = -177.435, 277.332168044316, -0.307304800605679
MICHELSO_LAG1 = 0.535199668621283


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


def test_the_series_is_the_certified_one() -> None:
    data = np.array(LEW, float)
    away = data - data.mean()
    assert data.size == 200
    assert data.mean() == pytest.approx(LEW_MEAN, rel=1e-13)
    assert data.std(ddof=1) == pytest.approx(LEW_SD, rel=1e-9)
    assert (away[1:] * away[:-1]).sum() / (away**2).sum() == pytest.approx(LEW_LAG1, abs=1e-9)


@pytest.mark.parametrize("spacing_s", [0.010, 0.030])
def test_a_vibrating_beam_on_the_torque_is_not_chatter(spacing_s: float) -> None:
    """Lew's real oscillation, some 0.3 cycles a reading: 30 and 10 Hz here, 3 N.m high, read at 1 kHz between its readings."""
    wave = (np.array(LEW, float) - LEW_MEAN) / LEW_SD
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
        white = rng.standard_normal(4000) * np.sqrt(1 - MICHELSO_LAG1**2)
        correlated = np.empty(4000)
        last = rng.standard_normal()
        for i, w in enumerate(white):
            last = MICHELSO_LAG1 * last + w
            correlated[i] = last
        result = read_pull(a_pull(0.5 * correlated, 1000.0, rest_noise_nm=0.5))
        assert result.sliding is not None
        read.append(result.sliding.torque_nm)
        stated.append(result.sliding.budget.u_nm)
    assert np.std(read) <= 1.5 * np.median(stated)
