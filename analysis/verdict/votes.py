"""A pull as the rule for a verdict sees it: what was read, what stands behind it, whether it has a vote."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.judgement import Converted, Missing, SettlingCode
from analysis.results import Breakaway, BudgetLine, BudgetSource, PullResult, Sliding
from analysis.verdict.ground import ground_of
from analysis.window import Basis, Window

Convert = Callable[[str, str], Converted | None]
"""From a pull's arrangement to the window's, by their codes; None where that is not converted."""


def not_converted(was: str, into: str) -> Converted | None:
    """No conversion: where the layout of the springs is not known, the ramps may add to the torque by any amount.

    Parameters
    ----------
    was
        Arrangement of the pull, as a code.
    into
        Arrangement of the window, as a code.

    Returns
    -------
    None
        Always, whatever the two are.
    """
    return None


@dataclass(frozen=True, slots=True)
class Stated:
    """What is stated of a pull beside its samples; None: nothing.

    excluded    why a person has it not count
    has_vote    False: a free turn of which nobody has said that it was the pull
    """

    arrangement: str | None = None
    plate_state: str | None = None
    rest_s: float | None = None
    excluded: str | None = None
    has_vote: bool = True


@dataclass(frozen=True, slots=True)
class Reading:
    """A torque read off one pull, N.m, and the lines of its uncertainty. `at_least`: it is a lower bound."""

    torque_nm: float
    lines: tuple[BudgetLine, ...] = ()
    at_least: bool = False
    missing: tuple[Missing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One pull of a series as the rule sees it.

    direction      1 or -1
    breakaway, sliding   what was read; both None and not free: no reading
    free           the unit turned and nothing held; `detection_nm` is the least torque that would have been told
    has_vote       False: kept and shown, but nobody has said that it was the pull (a free turn at the bench)
    stuck          the torque rose and nothing slipped
    unsettled      the reading waits for something (an answer, a rest to take its zero from): it decides nothing before
    rest_s         how long the unit rested before; None: not known
    excluded       why a person has it not count; None: it counts
    chatters       None: not assessable
    arrangement    who was held and who turned, as a code; None: not stated
    plate_state    new, run in, used; None: not stated
    converted      how the readings came from another arrangement
    zeros_nm       torque at rest before and after, as far as it is known
    """

    direction: int = 1
    breakaway: Reading | None = None
    sliding: Reading | None = None
    free: bool = False
    detection_nm: float | None = None
    has_vote: bool = True
    stuck: bool = False
    unsettled: SettlingCode | None = None
    rest_s: float | None = None
    excluded: str | None = None
    chatters: bool | None = None
    missing: tuple[Missing, ...] = ()
    arrangement: str | None = None
    plate_state: str | None = None
    converted: Converted | None = None
    zeros_nm: tuple[float | None, ...] = ()

    @classmethod
    def of(
        cls,
        breakaway_nm: float | None = None,
        *,
        sliding_nm: float | None = None,
        direction: int = 1,
        u_relative: float = 0.005,
        rest_s: float | None = None,
        arrangement: str | None = None,
    ) -> Pull:
        """A pull from plain values, N.m; `u_relative` is the sensor's, the same in every pull. Without a value it turned freely.

        Parameters
        ----------
        breakaway_nm, sliding_nm
            Torques as magnitudes, N.m; None: not read. Both None: the unit turned freely, and its detection limit is 0.
        direction
            1 or -1.
        u_relative
            Relative standard uncertainty of the sensor, as a share; the only line of the budget.
        rest_s
            How long the unit rested before, s; None: not known.
        arrangement
            Who was held and who turned, as a code; None: not stated.

        Returns
        -------
        Pull
            One that counts and lacks nothing.
        """

        def reading(torque_nm: float | None) -> Reading | None:
            return (
                None if torque_nm is None else Reading(torque_nm, (BudgetLine(BudgetSource.CALIBRATION, u_relative * torque_nm),))
            )

        free = breakaway_nm is None and sliding_nm is None
        return cls(
            direction=direction,
            breakaway=reading(breakaway_nm),
            sliding=reading(sliding_nm),
            free=free,
            detection_nm=0.0 if free else None,
            rest_s=rest_s,
            arrangement=arrangement,
        )

    def reading(self, basis: Basis) -> Reading | None:
        """What was read of that quantity."""
        return self.breakaway if basis is Basis.BREAKAWAY else self.sliding


NOTHING_STATED = Stated()


def pull_of(result: PullResult, stated: Stated = NOTHING_STATED) -> Pull:
    """A pull of a series from its reading, with what only its metadata or a person says.

    Parameters
    ----------
    result
        The pull as it was read.
    stated
        Arrangement, state of the plates, rest, and whether a person has it count.

    Returns
    -------
    Pull
        Each reading with the lines of its own budget and those for what is not known of the sensor. Where no direction was read
        it is taken as 1.
    """
    codes = [flag.code for flag in result.quality]

    def reading(of: Breakaway | Sliding | None) -> Reading | None:
        if of is None:
            return None
        ground = ground_of(result, of)
        return Reading(of.torque_nm, (*of.budget.lines, *ground.lines), result.at_least, ground.missing)

    unsettled = None
    if "rest_moved" in codes:
        unsettled = SettlingCode.ANSWER_NEEDED
    elif "zero_unproven" in codes:
        unsettled = SettlingCode.PULL_AGAIN
    return Pull(
        direction=result.direction or 1,
        breakaway=reading(result.breakaway),
        sliding=reading(result.sliding),
        free=result.held_nothing,
        detection_nm=result.detection_nm,
        has_vote=stated.has_vote,
        stuck=result.nothing_slid,
        unsettled=unsettled,
        rest_s=stated.rest_s,
        excluded=stated.excluded,
        arrangement=stated.arrangement,
        plate_state=stated.plate_state,
        chatters=result.chatter.present,
        zeros_nm=(result.zero_nm, result.zero_after_nm),
    )


USUAL = "A"
"""The arrangement that makers' pages for a removed unit nearly always mean (trade notes 2.1, common practice)."""

CANNOT_TURN = "C"
"""The arrangement in which the bevel gears lock: case and other output both held (trade notes 2.1)."""


def held_against(pull: Pull, window: Window, convert: Convert = not_converted) -> Pull:
    """The pull as it counts for this window: its readings in the window's arrangement, with what that leaves missing.

    A pull in another arrangement that is not converted decides nothing; one of which nothing is stated counts as it is, and
    that is said.

    Parameters
    ----------
    pull
        As a person or its file has it.
    window
        Its arrangement and plate state count here, not its limits.
    convert
        From the pull's arrangement to the window's; None where that is not converted.

    Returns
    -------
    Pull
        The pull with its readings, their uncertainties and its detection limit in the window's arrangement, N.m; what is not
        certain is among its `missing`, and `unsettled` says what it waits for.
    """
    was, into = _code(pull.arrangement), _code(window.arrangement)
    missing = pull.missing
    if window.plate_state is not None and _state(pull.plate_state) != _state(window.plate_state):
        missing = (*missing, Missing.PLATE_STATE)
    if was == CANNOT_TURN:
        return replace(pull, stuck=True, unsettled=SettlingCode.STOP_AND_LOOK, missing=(*missing, Missing.ARRANGEMENT))
    if into is None or was == into:
        return replace(pull, missing=missing)
    if was is None:
        return replace(pull, missing=(*missing, Missing.ARRANGEMENT))
    converted = convert(was, into)
    if converted is None:
        return replace(pull, unsettled=SettlingCode.PULL_AGAIN, missing=(*missing, Missing.ARRANGEMENT))
    detection_nm = None if pull.detection_nm is None else pull.detection_nm * converted.factor
    return replace(
        pull,
        breakaway=_in_other(pull.breakaway, converted),
        sliding=_in_other(pull.sliding, converted),
        detection_nm=detection_nm,
        converted=converted,
        missing=missing,
    )


def taken_for(pulls: Sequence[Pull], window: Window) -> str | None:
    """The arrangement that a window which states none is taken to be stated for, where it is worth a word.

    Parameters
    ----------
    pulls
        Those that count.
    window
        One that states its arrangement needs no word.

    Returns
    -------
    str or None
        The code of an arrangement other than the usual one that the pulls are stated in, the first by the alphabet.
    """
    stated = {code for pull in pulls if (code := _code(pull.arrangement)) is not None} - {USUAL}
    return min(stated) if window.arrangement is None and stated else None


def _state(text: str | None) -> str:
    """A state of plates as it is compared: plates that have run in are used ones with no wear."""
    plain = (text or "").strip().lower().replace(" ", "_")
    return "used" if plain == "run_in" else plain


def _code(text: str | None) -> str | None:
    plain = (text or "").strip().upper()
    return plain or None


def _in_other(reading: Reading | None, converted: Converted) -> Reading | None:
    if reading is None:
        return None
    torque_nm = reading.torque_nm * converted.factor
    lines = [replace(line, u_nm=line.u_nm * converted.factor) for line in reading.lines]
    lines.append(BudgetLine(BudgetSource.CONVERTED, torque_nm * converted.u_relative))
    return replace(reading, torque_nm=torque_nm, lines=tuple(lines))
