"""What is said of a unit: frozen values of a verdict and of a series. How they come about: `analysis.verdict`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analysis.results import Budget
from analysis.window import Basis


class VerdictState(StrEnum):
    """The verdict's states (the contract's words)."""

    IN_WINDOW = "in_window"
    BELOW = "below"
    ABOVE = "above"
    UNDECIDED = "undecided"
    NO_READING = "no_reading"


class DecisionRule(StrEnum):
    """How the uncertainty enters the verdict (JCGM 106; ILAC-G8:09/2019)."""

    GUARDED = "guarded"
    SIMPLE = "simple"


class Missing(StrEnum):
    """What a verdict lacks (codes of the contract, section 3; the last two are ours)."""

    SENSOR = "sensor"
    CERTIFICATE_EXPIRED = "certificate_expired"
    BEYOND_RANGE = "beyond_range"
    ZERO = "zero"
    NOT_EXERCISED = "not_exercised"
    ARRANGEMENT = "arrangement"
    OTHER_DIRECTION = "other_direction"
    PLATE_STATE = "plate_state"
    CONDITIONS = "conditions"
    LOWER_BOUND = "lower_bound"
    """The sensor was at its limit, or the plates did not let go: the torque is at least the value."""
    HELD_AT_TIMES = "held_at_times"
    """Some pulls held, some turned freely."""


class SettlingCode(StrEnum):
    """What would settle a verdict (codes of the contract, section 3; the last two are ours)."""

    MORE_PULLS = "more_pulls"
    OTHER_WAY = "other_way"
    BETTER_SENSOR = "better_sensor"
    KNOWN_WEIGHTS = "known_weights"
    ANSWER_NEEDED = "answer_needed"
    TOO_NARROW = "too_narrow"
    PULL_AGAIN = "pull_again"
    STOP_AND_LOOK = "stop_and_look"


@dataclass(frozen=True, slots=True)
class Settling:
    """What would settle a verdict, or complete it.

    pulls     so many more, shared by the directions that were pulled; None: no number is foretold
    so_far    pulls counted so far in the direction that decides
    ways      directions pulled so far
    on_limit  with TOO_NARROW: the window has room enough, but the unit stands on one of its limits
    """

    code: SettlingCode
    pulls: int | None = None
    so_far: int = 1
    ways: int = 1
    on_limit: bool = False


@dataclass(frozen=True, slots=True)
class ScatterUsed:
    """The scatter from pull to pull that a verdict counts with, as a share of the reading, and where it comes from.

    relative, degrees_of_freedom              what is counted with; degrees None: exact
    known_relative, known_degrees_of_freedom  what was known before these pulls
    own_relative, own_degrees_of_freedom      that of the pulls themselves, within directions; None and 0 for single pulls
    pooled   False: these pulls scatter more than was known (F test), so that their own scatter counts alone
    """

    relative: float
    degrees_of_freedom: float | None
    known_relative: float
    known_degrees_of_freedom: float | None
    own_relative: float | None
    own_degrees_of_freedom: int
    pooled: bool = True


@dataclass(frozen=True, slots=True)
class Converted:
    """How a reading in one arrangement becomes one in another: times `factor`, known to `u_relative` (standard, a share of it)."""

    was: str
    into: str
    factor: float
    u_relative: float


@dataclass(frozen=True, slots=True)
class Deciding:
    """Of a series: the direction that stands worse. `direction` 1 or -1; the state of the verdict is its."""

    direction: int
    value_nm: float | None
    expanded_u_nm: float | None
    probability_in_window: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is said of the unit: whether the mean of many pulls of it lies in the window.

    value_nm       mean of the directions' means, a lower bound where `missing` says so; 0 for a unit that turned freely
    expanded_u_nm  of that mean, scatter from pull to pull included; of a free unit the least torque that would have been told
    coverage_factor   expanded uncertainty over standard uncertainty; None where the value has no budget
    probability_in_window   of the direction that decides, of the same distribution as U; None where no honest one can be stated
    budget, scatter   behind `expanded_u_nm`
    """

    state: VerdictState
    basis: Basis
    value_nm: float | None
    expanded_u_nm: float | None
    coverage_factor: float | None
    low_nm: float | None
    high_nm: float | None
    probability_in_window: float | None
    rule: DecisionRule = DecisionRule.GUARDED
    held_nothing: bool = False
    missing: tuple[Missing, ...] = ()
    settling: Settling | None = None
    confidence: float = 0.95
    deciding: Deciding | None = None
    budget: Budget | None = None
    scatter: ScatterUsed | None = None
    converted: Converted | None = None
    """How readings came from another arrangement than the window's."""
    taken_for: str | None = None
    """The pulls' arrangement, where the window states none and it is not the usual one: the window is taken to be stated for it."""
    window_text: str = ""
    window_unit: str = "N.m"
    """The limits as they were typed, '' where they were not, and their unit."""

    @property
    def decides(self) -> tuple[float | None, float | None]:
        """Value and expanded uncertainty the state speaks of, N.m: the worse direction's of a series, else its own."""
        if self.deciding is None or self.deciding.value_nm is None:
            return self.value_nm, self.expanded_u_nm
        return self.deciding.value_nm, self.deciding.expanded_u_nm


@dataclass(frozen=True, slots=True)
class DirectionMean:
    """The pulls of one direction: how many, their mean in N.m, its budget. `at_least`: the mean is a lower bound."""

    n: int
    mean_nm: float
    budget: Budget
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class SeriesFigure:
    """One quantity over a series.

    mean_nm   mean of the directions' means
    ways      means of the directions that were pulled, by 1 and -1
    scatter   what is known of the scatter from pull to pull
    """

    mean_nm: float
    budget: Budget
    ways: tuple[tuple[int, DirectionMean], ...]
    scatter: ScatterUsed

    def way(self, direction: int) -> DirectionMean | None:
        """The mean of that direction; None where it was not pulled."""
        return dict(self.ways).get(direction)

    @property
    def asymmetry(self) -> float | None:
        """(mean of direction 1 - mean of direction -1) over their mean; None where one is missing."""
        forward, back = self.way(1), self.way(-1)
        return None if forward is None or back is None else (forward.mean_nm - back.mean_nm) / self.mean_nm


@dataclass(frozen=True, slots=True)
class SeriesResult:
    """Several pulls of one unit in one state, taken together; pulls are named by their index.

    counted   that have a vote
    apart     that stand apart, with the reason: a long rest, a stray, no reading
    excluded  that a person marked as not counting, with the person's words
    free      of the counted, those in which nothing held
    chattering, assessable   of the pulls not excluded
    gap_hides_a_stray   too few pulls to tell a stray, and so far apart that one may be among them
    """

    n: int
    counted: tuple[int, ...]
    apart: tuple[tuple[int, str], ...]
    excluded: tuple[tuple[int, str], ...]
    free: tuple[int, ...]
    breakaway: SeriesFigure | None
    sliding: SeriesFigure | None
    chattering: int
    assessable: int
    gap_hides_a_stray: bool = False
    verdict: Verdict | None = None

    def figure(self, basis: Basis) -> SeriesFigure | None:
        """The quantity of that basis."""
        return self.breakaway if basis is Basis.BREAKAWAY else self.sliding
