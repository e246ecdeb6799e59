"""Stick-slip in closed form: a body on a spring drawn at constant speed, static and kinetic (Coulomb) friction, no damping.

Classical result (e.g. E. Rabinowicz, Friction and Wear of Materials; B. N. J. Persson, Sliding Friction), derived and confirmed by
event-driven integration in the check values; the textbooks were not seen. With w = sqrt(k/J), dT = Ts - Tk and drive speed W:

    stuck     T rises by k W
    slipping  T = Tk + dT cos(w t) + (k W/w) sin(w t), until T = 2 Tk - Ts; it lasts 2/w (pi - atan(dT w/(k W)))

From slip to stick the torque falls by 2 dT at any speed; from crest to trough, as a trace shows it, by 2 sqrt(dT^2 + (k W/w)^2).
"""

from dataclasses import dataclass

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.trace import Trace

REST_S, RATE_HZ = 1.0, 2000.0


@dataclass(frozen=True)
class Cycle:
    """A stick-slip cycle; torques in N.m, k in N.m/rad, J in kg.m2, speed in deg/s."""

    static_nm: float
    kinetic_nm: float
    stiffness: float
    inertia: float
    speed_deg_s: float

    @property
    def _parts(self) -> tuple[float, float, float]:
        w, pull = np.sqrt(self.stiffness / self.inertia), self.stiffness * np.radians(self.speed_deg_s)
        return w, pull, self.static_nm - self.kinetic_nm

    @property
    def crest_to_trough_nm(self) -> float:
        w, pull, drop = self._parts
        return float(2 * np.hypot(drop, pull / w))

    @property
    def slip_s(self) -> float:
        w, pull, drop = self._parts
        return float(2 / w * (np.pi - np.arctan(drop * w / pull)))

    @property
    def stick_s(self) -> float:
        _, pull, drop = self._parts
        return 2 * drop / pull

    @property
    def period_s(self) -> float:
        return self.slip_s + self.stick_s

    def torque(self, since_s: np.ndarray) -> np.ndarray:
        """Torque at times since the first slip."""
        w, pull, drop = self._parts
        phase = since_s % self.period_s
        slipping = self.kinetic_nm + drop * np.cos(w * phase) + pull / w * np.sin(w * phase)
        return np.where(phase < self.slip_s, slipping, 2 * self.kinetic_nm - self.static_nm + pull * (phase - self.slip_s))

    def trace(self, length_s: float, noise_nm: float = 0.05) -> Trace:
        """Rest, straight ramp to the first slip, `length_s` of cycles, let go. The angle is the drive's: the hand side."""
        _, pull, _ = self._parts
        ramp_s = self.static_nm / pull
        time = np.arange((2 * REST_S + ramp_s + length_s) * RATE_HZ) / RATE_HZ
        since = time - REST_S - ramp_s
        torque = np.where(since < 0, np.clip(pull * (time - REST_S), 0, None), self.torque(np.maximum(since, 0)))
        torque[since > length_s] = 0.0
        angle = self.speed_deg_s * np.clip(time - REST_S, 0, ramp_s + length_s)
        torque += noise_nm * np.random.default_rng(3).standard_normal(time.size)
        return Trace(time, np.round(torque, 2), np.round(angle / 0.02) * 0.02)


# The four cases that the check values list, with their printed results: slip, stick, frequency, degrees a cycle.
LISTED = [
    (Cycle(60, 50, 700, 0.12, 10), 0.0452867, 0.1637022, 4.7849424, 2.0898893),
    (Cycle(60, 50, 700, 0.12, 1), 0.0415519, 1.6370223, 0.5957437, 1.6785742),
    (Cycle(90, 75, 1200, 0.1, 5), 0.0298407, 0.2864789, 3.1613599, 1.5815978),
    (Cycle(60, 50, 700, 0.0005, 10), 0.0026726, 0.1637022, 6.0105253, 1.6637481),
]


@pytest.mark.parametrize(("cycle", "slip_s", "stick_s", "frequency_hz", "degrees"), LISTED)
def test_the_wave_itself_is_the_listed_one(
    cycle: Cycle, slip_s: float, stick_s: float, frequency_hz: float, degrees: float
) -> None:
    assert cycle.slip_s == pytest.approx(slip_s, rel=1e-5)
    assert cycle.stick_s == pytest.approx(stick_s, rel=1e-5)
    assert 1 / cycle.period_s == pytest.approx(frequency_hz, rel=1e-5)
    assert cycle.period_s * cycle.speed_deg_s == pytest.approx(degrees, rel=1e-5)
    assert cycle.torque(np.array([cycle.slip_s - 1e-9]))[0] == pytest.approx(2 * cycle.kinetic_nm - cycle.static_nm, rel=1e-6)


CASES = [*(case[0] for case in LISTED), Cycle(60, 57, 1500, 0.05, 8), Cycle(30, 20, 900, 0.004, 25), Cycle(100, 96, 2500, 0.08, 6)]


@pytest.mark.parametrize("cycle", CASES, ids=lambda c: f"{c.static_nm}-{c.kinetic_nm}-{c.speed_deg_s}")
def test_reading_gives_the_closed_form(cycle: Cycle) -> None:
    """Drop 2(Ts - Tk), rate against speed, degrees a slip, share of time stuck, and the mean over angle of the exact wave."""
    length_s = max(4.0, 8.3 * cycle.period_s)
    result = read_pull(cycle.trace(length_s))
    assert result.breakaway is not None
    assert result.sliding is not None
    chatter = result.chatter
    assert result.breakaway.torque_nm == pytest.approx(cycle.static_nm, rel=0.01)
    assert chatter.present is True
    assert chatter.frequency_hz == pytest.approx(1 / cycle.period_s, rel=0.02)
    assert chatter.peak_to_peak_nm == pytest.approx(cycle.crest_to_trough_nm, rel=0.02, abs=0.1)
    assert chatter.degrees_per_slip == pytest.approx(cycle.period_s * cycle.speed_deg_s, rel=0.03)
    # At constant drive the mean over angle is the mean over time, taken here over one exact period; the ends of the stretch may
    # cut a cycle, which moves the mean by at most a fraction of half the swing.
    exact = float(cycle.torque(np.linspace(0, cycle.period_s, 20_001)).mean())
    ends = (cycle.static_nm - cycle.kinetic_nm) * cycle.period_s / length_s
    assert result.sliding.torque_nm == pytest.approx(exact, rel=0.003, abs=ends)


@pytest.mark.parametrize(("cycle", "drop_nm"), [(LISTED[0][0], 20), (LISTED[1][0], 20), (LISTED[2][0], 30), (LISTED[3][0], 20)])
def test_height_is_twice_the_static_kinetic_difference(cycle: Cycle, drop_nm: float) -> None:
    """Listed drops; drives slow enough that crest to trough is within 1.3 % of them."""
    assert read_pull(cycle.trace(max(4.0, 8.3 * cycle.period_s))).chatter.peak_to_peak_nm == pytest.approx(drop_nm, rel=0.02)


@pytest.mark.parametrize("cycle", CASES[:4], ids=lambda c: f"{c.static_nm}-{c.speed_deg_s}-{c.inertia}")
def test_share_of_time_stuck(cycle: Cycle) -> None:
    result = read_pull(cycle.trace(max(4.0, 8.3 * cycle.period_s)))
    assert result.chatter.stuck_share == pytest.approx(cycle.stick_s / cycle.period_s, abs=0.06)


def test_rate_follows_speed_in_the_slow_regime() -> None:
    """Trade notes 5.1 (derived): degrees a cycle nearly constant, so the rate is nearly proportional to the pull speed."""
    rates = [read_pull(Cycle(60, 50, 700, 0.02, v).trace(8.0)).chatter.frequency_hz for v in (4.0, 8.0)]
    assert rates[0] is not None
    assert rates[1] is not None
    expected = [1 / Cycle(60, 50, 700, 0.02, v).period_s for v in (4.0, 8.0)]
    assert rates[1] / rates[0] == pytest.approx(expected[1] / expected[0], rel=0.03)
    assert 1.8 < rates[1] / rates[0] < 2.0


def test_no_drop_no_chatter() -> None:
    """Ts <= Tk: none at any speed (trade notes 5.1, derived); the torque stays where the ramp ended, but for the plates' warming.

    Without the 0.3 % of warming the top is as even as the sensor's noise alone, which no plates are: that is a sensor at its limit.
    """
    for speed in (3.0, 10.0, 40.0):
        pull = Cycle(60, 50, 700, 0.02, speed).trace(4.0)
        flat = pull.torque_nm.copy()
        slides = slice(int(np.argmax(flat >= 50.0)), int(np.flatnonzero(flat > 30)[-1]))
        flat[slides] = np.linspace(50.0, 49.85, slides.stop - slides.start)
        flat += 0.05 * np.random.default_rng(4).standard_normal(flat.size)
        assert read_pull(Trace(pull.time_s, flat, pull.angle_deg)).chatter.present is False
