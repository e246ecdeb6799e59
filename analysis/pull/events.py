"""What a finder of pulls goes by and what it tells: rules, and frozen events in order of time."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, kw_only=True, slots=True)
class FinderRules:
    """When a pull starts and ends. All but times and angles derive from the stream's own noise and the sensor's range."""

    block_s: float = 0.02  # the finder looks at the stream in blocks of this length, on a fixed grid of device time
    zero_s: float = 2.0  # the zero is the median of this much rest
    zero_lag_s: float = 0.2  # the newest rest is left out, so that the foot of a slow ramp does not drag the zero
    learn_s: float = 0.5  # so much level torque with the angle still makes a zero; less is a lever on its way
    level_noise: float = 4.0  # level: the halves of a rest agree to so many deviations of their means
    level_share: float = 0.001  # ... or to this share of the sensor's capacity
    noise_factor: float = 6.0  # taken up: off zero by so many deviations of a block mean
    resolution_steps: float = 3.0  # ... or by so many steps of a coarse sensor
    capacity_share: float = 0.002  # ... or by this share of the sensor's capacity
    pull_share: float = 0.02  # a pull reaches this share of capacity; less is a hand laid on the lever
    pull_noise: float = 25.0  # ... and so many deviations of a block mean
    pull_least_nm: float = 0.3  # ... and, where capacity is not known, this: below any drag of a bearing (trade notes 7)
    moved_deg: float = 0.6  # the lever has moved in a block row: more than two steps of a usual encoder
    steps: float = 1.5  # ... or more than one step of a coarse one
    coarse_deg: float = 5.5  # no encoder on a bench steps coarser than this
    gone_on_deg: float = 1.0  # the angle went on under load: beyond the wind-up, which comes back with the torque
    one_way: float = 0.5  # ... and this share of its way was one way
    one_sided: float = 0.7  # this share of the impulse of a pull is to one side; a rattle swings both ways
    load_s: float = 0.1  # a pull loads the lever for longer than this; a knock does not
    lean_share: float = 0.1  # a load that turns nothing counts (the plates held) from this share of capacity ...
    lean_least_nm: float = 15.0  # ... or from here, where that is not known: few windows begin lower (trade notes 2.5) ...
    lean_s: float = 0.3  # ... if it lasts so long
    free_deg: float = 30.0  # a unit turned free: so far one way (contract, 3)
    free_one_way: float = 0.9  # ... with this share of the way forward
    free_fastest_deg_s: float = 400.0  # ... no faster than a hand turns a free lever (common practice, no source)
    free_s: float = 0.2  # ... and not in one leap
    stirred_deg: float = 0.05  # a lever under load has turned at least so far
    travel_deg: float = 5.0  # turned so far, what happens is worth recording
    hand_deg_s: float = 1500.0  # between two samples the angle goes no faster than this; an encoder that jumps does
    jump_steps: float = 2.5  # ... nor further than so many of the encoder's steps
    jump_least_deg: float = 1.0  # ... and less than this does no harm
    gap_s: float = 0.1  # what the angle did while samples were missing for so long is not known
    preroll_s: float = 1.5
    rest_s: float = 0.6  # so long at zero and still: the pull has ended
    early_s: float = 0.04  # so long at zero: it may have ended, an early reading is due
    settle_s: float = 3.0  # steady off zero for so long, the hand gone: the zero has moved
    settle_share: float = 0.2  # ... if below this share of the peak
    step_s: float = 1.5  # level so long after a step with the angle still: the level at rest has moved, nobody pulled ...
    step_share: float = 0.8  # ... if the torque never stood much higher
    hold_s: float = 10.0  # no hand holds a lever so steadily for so long
    uncover_s: float = 1.0  # steady so long this much nearer to the sensor's own zero: what was taken for zero was a load
    told_share: float = 0.01  # a level at rest that moved by this share of capacity is told ...
    told_factor: float = 3.0  # ... or by so many times what counts as taken up, where capacity is not known


class NoPullKind(StrEnum):
    """What moved the bench without being a pull."""

    KNOCK = "knock"
    ANGLE_JUMP = "angle_jump"
    CARRIED = "carried"
    LEANED_ON = "leaned_on"
    REST_MOVED = "rest_moved"


@dataclass(frozen=True, slots=True)
class PullStarted:
    """Something that may be a pull is under way; its samples are those from `from_s` (pre-roll included) on."""

    from_s: float


@dataclass(frozen=True, slots=True)
class PullAtRest:
    """Torque is back at rest: read it now for an early verdict; the pull may still go on."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class PullEnded:
    """The pull is over; from_s <= t <= to_s is the whole of it, with pre-roll and rest after."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class TurnedFree:
    """The unit was turned one way by `travel_deg` and nothing held: a pull only if a person says so."""

    from_s: float
    to_s: float
    travel_deg: float


@dataclass(frozen=True, slots=True)
class NoPull:
    """What began like a pull and was none; `announced` if a `PullStarted` was told of it."""

    from_s: float
    to_s: float
    kind: NoPullKind
    torque_nm: float
    announced: bool


@dataclass(frozen=True, slots=True)
class RestMoved:
    """The level at rest is another one than it was: a lever hung on or taken off, or a zero that moved."""

    at_s: float
    from_nm: float
    to_nm: float


PullEvent = PullStarted | PullAtRest | PullEnded | TurnedFree | NoPull | RestMoved
