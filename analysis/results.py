"""What a reading says: frozen values. A result is whole or absent; unknown is None."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Label(StrEnum):
    """The name of a stretch of a pull."""

    REST = "rest"
    SLACK = "slack"
    LOAD = "load"
    SLIP = "slip"
    SLIDING = "sliding"
    PAUSE = "pause"
    RELEASE = "release"
    CLIPPED = "clipped"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A labelled stretch of the trace, from_s <= t < to_s; stretches follow each other without holes."""

    label: Label
    from_s: float
    to_s: float


CHATTERS_FROM: Final = 0.5
"""A score is a probability: from here on chatter is likelier than not."""


class BudgetSource(StrEnum):
    """Where an uncertainty comes from: the name of its line in a budget."""

    CALIBRATION = "calibration"
    ZERO = "zero"
    ZERO_UNPROVEN = "zero not proven"
    ZERO_DRIFT = "zero drift"
    RESOLUTION = "resolution"
    SENSOR_LAG = "sensor lag"
    ANGLE = "angle"
    NOISE = "noise"
    SAMPLING = "sampling"
    PEAK_FIT = "peak fit"
    SOFT_KNEE = "soft knee"
    TREMOR = "tremor"
    SLIDING_INTERVAL = "sliding interval"
    WHOLE_CYCLES = "whole cycles"
    REPEATABILITY = "repeatability"
    CONVERTED = "arrangement converted"
    BEYOND_RANGE = "beyond the calibrated range"


OF_ONE_PULL = frozenset(
    (
        BudgetSource.NOISE,
        BudgetSource.SAMPLING,
        BudgetSource.PEAK_FIT,
        BudgetSource.TREMOR,
        BudgetSource.SLIDING_INTERVAL,
        BudgetSource.WHOLE_CYCLES,
    )
)
"""Lines that are anew in each pull and shrink with their number. All others (calibration, zero, resolution, what is not known)
are the same in every pull, or may be: taking the mean does not shrink them."""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution to an uncertainty: standard uncertainty in N.m and its degrees of freedom (None: infinite)."""

    source: str
    u_nm: float
    degrees_of_freedom: float | None = None


@dataclass(frozen=True, slots=True)
class Budget:
    """An uncertainty budget after JCGM 100: lines, combined u, effective degrees of freedom, coverage factor, expanded U."""

    lines: tuple[BudgetLine, ...]
    u_nm: float
    degrees_of_freedom: float | None
    coverage_factor: float
    coverage: float = 0.95

    @property
    def expanded_u_nm(self) -> float:
        """Expanded uncertainty, coverage factor times u."""
        return self.coverage_factor * self.u_nm


@dataclass(frozen=True, slots=True)
class CalibrationFunction:
    """True torque from what the sensor indicates, for one direction of turning; both as magnitudes in N.m, counted from rest.

    coefficients  T = coefficients[0] x + coefficients[1] x² + ...; no constant, for every reading is counted from rest
    covariance    of the coefficients, a row each
    u_nm          standard deviation of one indication about the fit, with the zero's return
    u_relative    standard uncertainty of the reference torque, as a share of it
    low_nm, high_nm      the lowest and the highest torque calibrated
    end_nm        the highest indication calibrated: beyond it the function goes on along its tangent
    degrees_of_freedom   of u_nm and the covariance
    """

    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    u_nm: float
    u_relative: float
    low_nm: float
    high_nm: float
    end_nm: float
    degrees_of_freedom: float | None = None


@dataclass(frozen=True, slots=True)
class Calibration:
    """The certificate in force. A direction without a function of its own takes the other's and counts as out of range.

    Without any function (only a number and a due date are known) torque is taken as it is indicated.
    """

    certificate: str
    forward: CalibrationFunction | None = None
    back: CalibrationFunction | None = None
    expired: bool = False

    @property
    def corrects(self) -> bool:
        """Whether there is a function to set readings right by."""
        return self.forward is not None or self.back is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetAdapter:
    """An adapter that sets the unit's axis off the sensor's, so that the lever is longer or shorter for the unit.

    lever_m     from the sensor's axis to where the hand pulls
    length_m    from the sensor's axis to the unit's
    angle_deg   between the lever's line beyond the sensor and the adapter: 0 lengthens the lever, 180 shortens it
    u_lever_m   standard uncertainty of `lever_m`; a hand's place is not known better than to a centimetre or so
    u_square_deg   standard uncertainty of how square the hand pulls to the lever, and of `angle_deg`: limits of 5 degrees by eye

    Raises ValueError where the adapter takes the whole lever.
    """

    lever_m: float
    length_m: float
    angle_deg: float = 0.0
    u_lever_m: float = 0.006
    u_square_deg: float = 2.9

    def __post_init__(self) -> None:
        if not (self.lever_m > 0 and self.length_m >= 0 and self.u_lever_m >= 0 and self.factor > 0):
            raise ValueError("the lever must be longer than nothing, and longer than an adapter that points back to the hand")

    @property
    def factor(self) -> float:
        """Torque at the unit over torque at the sensor, (L + E cos(angle)) / L.

        Source: US Army TM 9-254, adapter length compensation; FAA AC 43.13-1B, chapter 7.
        """
        return (self.lever_m + self.length_m * math.cos(math.radians(self.angle_deg))) / self.lever_m

    @property
    def u_relative(self) -> float:
        """Relative standard uncertainty of the factor, from the lever's and from how square it is pulled (JCGM 100, 5.1.2).

        A pull d off square makes the factor 1 + E/L (cos(angle) + sin(angle) tan(d)): nothing at 0 and 180 degrees, most at 90.
        """
        of_lever = abs(1 - 1 / self.factor) * self.u_lever_m / self.lever_m
        across = self.length_m / self.lever_m * abs(math.sin(math.radians(self.angle_deg)))
        return math.hypot(of_lever, across * math.radians(self.u_square_deg) / self.factor)


@dataclass(frozen=True, slots=True)
class Sensor:
    """What is known of the torque sensor. None: not known.

    `u_nm` and `u_relative` are standard uncertainties of the calibration, added in quadrature: u² = u_nm² + (u_relative T)².
    Where neither is given, that of `calibration` counts.
    """

    u_nm: float | None = None
    u_relative: float | None = None
    capacity_nm: float | None = None
    resolution_nm: float | None = None
    degrees_of_freedom: float | None = None
    calibration: Calibration | None = None
    adapter: OffsetAdapter | None = None
    filter_hz: float | None = None
    """Corner of the low-pass filter of sensor and indicator."""


@dataclass(frozen=True, slots=True)
class Breakaway:
    """Where the plates first let go. `angle_deg` is None without an angle.

    `first_step_nm` is the lower plateau before it, when packs or sides differ; never taken for breakaway.
    """

    torque_nm: float
    time_s: float
    angle_deg: float | None
    budget: Budget
    first_step_nm: float | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """A ripple locked to the turning angle: cycles per turn of the lever, and its amplitude."""

    per_turn: float
    amplitude_nm: float


@dataclass(frozen=True, slots=True)
class Sliding:
    """Steady sliding. `travel_deg` and `slope_nm_per_deg` are None without an angle."""

    torque_nm: float
    from_s: float
    to_s: float
    travel_deg: float | None
    budget: Budget
    slope_nm_per_deg: float | None = None
    ripple: tuple[Order, ...] = ()


@dataclass(frozen=True, slots=True)
class Chatter:
    """Stick-slip while sliding. `why_not` is a code for why it is not assessable; None where it is.

    `degrees_per_slip`, `stuck_share`, `rise_over_fall` are None where there are no cycles (or no angle). `travel_share` is the
    share of the sliding travel that lies in cycles, `stuck_time_share` that of the sliding time in which the plates stick; both are
    0 for an assessable pull without chatter, None where nothing can be said.
    """

    assessable: bool
    score: float
    frequency_hz: float | None = None
    peak_to_peak_nm: float | None = None
    cycles: int = 0
    degrees_per_slip: float | None = None
    stuck_share: float | None = None
    rise_over_fall: float | None = None
    slip_times_s: tuple[float, ...] = ()
    slip_heights_nm: tuple[float, ...] = ()
    why_not: str | None = None
    travel_share: float | None = None
    stuck_time_share: float | None = None

    @property
    def present(self) -> bool | None:
        """Whether the plates chatter; None where that is not assessable."""
        return self.score >= CHATTERS_FROM if self.assessable else None


class QualityCode(StrEnum):
    """What makes a reading doubtful (the codes of the contract)."""

    NO_PULL = "no_pull"
    SHORT_TRAVEL = "short_travel"
    TOO_FAST = "too_fast"
    HESITATED = "hesitated"
    OVERLOAD = "overload"
    SPIKES = "spikes"
    GAPS = "gaps"
    LOW_RATE = "low_rate"
    ZERO_DRIFT = "zero_drift"
    COARSE = "coarse"
    LET_GO = "let_go"
    ZERO_UNPROVEN = "zero_unproven"
    """There is too little level rest to take a zero from."""
    REST_MOVED = "rest_moved"
    """The level at rest stepped, and nobody knows why: a lever hung on, or the zero."""
    SLOW_SENSOR = "slow_sensor"
    """The sensor's own slowness reaches into the reading."""
    BURST = "burst"
    """Interference of more than two samples was bridged."""
    RIPPLE = "ripple"
    """The torque swings with the turning angle, so high that another crest could pass for breakaway."""
    ANGLE_DOUBTFUL = "angle_doubtful"
    """The angle jumped, is dead or too coarse: it was set right, or time counts in its place."""
    TWO_RELEASES = "two_releases"
    """The torque fell suddenly and the load then climbed past it: either may be the plates' breakaway."""
    PEAK_HELD = "peak_held"
    """The indicator held its highest value: what came after it was not seen."""


@dataclass(frozen=True, slots=True)
class QualityFlag:
    """A reason for doubt and the figure behind it, in SI (deg, s, N.m, Hz or a count, as the code implies)."""

    code: QualityCode
    figure: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class PullResult:
    """Everything read off one pull. Torques are magnitudes; `direction` is 1, -1 or None (nothing was pulled).

    `zero_nm` and `zero_after_nm` are the offset at rest before and after the pull, signed as in the trace, each measured; None
    where there was no such rest. `noise_nm` is the noise of a sample at rest.
    """

    samples: int
    duration_s: float
    rate_hz: float | None
    direction: int | None
    stretches: tuple[Stretch, ...]
    breakaway: Breakaway | None
    sliding: Sliding | None
    chatter: Chatter
    quality: tuple[QualityFlag, ...]
    zero_nm: float | None = None
    zero_after_nm: float | None = None
    noise_nm: float | None = None
    held_nothing: bool = False
    """True where the hand turned the unit and nothing resisted: a free-spinning unit."""
    detection_nm: float | None = None
    """Of a pull in which nothing held: the least torque that would have been told from nothing; None: not known."""
    began_under_load: bool = False
    """True where the trace begins with the load already on: its breakaway was not recorded, and none is given."""
    angle_reversed: bool = False
    """True where the angle runs against the torque: the sensor's sign convention is off, magnitudes are not touched by it."""
    stated_zero_nm: float | None = None
    """A zero stated with the trace that its own rests contradict; they count. None: none was stated, or it agrees."""
    calibration: Calibration | None = None
    """The certificate behind the torques; None: none is known."""
    calibration_flags: tuple[str, ...] = ()
    """What only the bench knows of the sensor's state: 'zero_moved', 'not_exercised'."""

    @property
    def ends_loading(self) -> bool:
        """Whether the trace ends while the load still climbs: its highest torque is a lower bound, for the plates still held.

        A file that a power cut ended, or one that is still being written.
        """
        if self.breakaway is None or self.sliding is not None or not self.stretches:
            return False
        last = self.stretches[-1]
        return last.label is Label.LOAD and self.breakaway.time_s >= last.from_s

    @property
    def nothing_slid(self) -> bool:
        """Whether load came on and no plates let go, or not for long enough to tell: they hold at least what was reached."""
        if self.breakaway is None or self.sliding is not None:
            return False
        codes = [flag.code for flag in self.quality]
        return self.ends_loading or QualityCode.OVERLOAD in codes or QualityCode.LET_GO in codes

    @property
    def at_least(self) -> bool:
        """Whether the torques are lower bounds: the sensor was at its limit, or nothing slid."""
        return self.nothing_slid or any(flag.code is QualityCode.OVERLOAD for flag in self.quality)
