"""The last pass over a group of bolts as it is recorded: each tightening cut out of the stream, and which bolt is next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.refit.fasteners import BoltReading, order_of_pass
from analysis.refit.limits import State
from analysis.trace import EMPTY, Trace, join

PULL_AGAIN = frozenset((State.BELOW, State.ANGLE_BELOW, State.NOT_RECORDED))
"""Standings that another pull on the same bolt can mend; a bolt that is too tight is not mended by pulling."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRules:
    """How a tightening is told from the rest of the stream."""

    begin_share: float = 0.3  # of the bolt's torque: a tool that is set on, or carried about, stays below
    end_share: float = 0.15  # ... and below this the bolt is let go
    rest_s: float = 1.5  # so long let go: shorter is the same bolt gripped again, longer is the way to the next one
    rest_with_angle_s: float = 2.5  # an angle is turned in several grips, each taking its time
    before_s: float = 1.5  # of the stream kept before it, to take the zero from
    longest_s: float = 60.0  # nobody pulls longer on one bolt: something hangs on the sensor


class TighteningCatcher:
    """Cuts tightenings out of a stream, the same ones however the stream comes in pieces.

    Parameters
    ----------
    torque_nm
        Of the bolt by the page, N.m; what is far below it is no tightening.
    with_angle
        Whether an angle is turned after the torque, in several grips.
    rules
        How a tightening is told; None: the usual ones.
    """

    def __init__(self, torque_nm: float, *, with_angle: bool = False, rules: PassRules | None = None) -> None:
        self._rules = rules or PassRules()
        self._begin_nm, self._end_nm = self._rules.begin_share * torque_nm, self._rules.end_share * torque_nm
        self._rest_s = self._rules.rest_with_angle_s if with_angle else self._rules.rest_s
        self._kept = EMPTY
        self._began_s: float | None = None

    @property
    def tightening(self) -> bool:
        """Whether a bolt is being pulled now."""
        return self._began_s is not None

    def feed(self, piece: Trace, zero_nm: float) -> list[Trace]:
        """Take the next piece of the stream; the tightenings that are over with it.

        Parameters
        ----------
        piece
            The samples after those of the last piece, any number; where their time goes back the device began anew and what was
            kept is forgotten.
        zero_nm
            Torque at rest as it is known now, N.m.

        Returns
        -------
        list of Trace
            Each from up to `before_s` before the load to `rest_s` after it (`rest_with_angle_s` with an angle), or to `longest_s`
            of load; the torque as it came, the zero not taken off.
        """
        if not len(piece):
            return []
        if len(self._kept) and piece.time_s[0] <= self._kept.time_s[-1]:  # the device began anew
            self._kept, self._began_s = EMPTY, None
        self._kept = join((self._kept, piece))
        found: list[Trace] = []
        while (one := self._next(zero_nm)) is not None:
            found.append(one)
        return found

    def _next(self, zero_nm: float) -> Trace | None:
        """The tightening that is over in what is kept; None where none is."""
        time_s, size_nm = self._kept.time_s, np.abs(self._kept.torque_nm - zero_nm)
        if self._began_s is None:
            loaded = np.flatnonzero(size_nm >= self._begin_nm)
            if not loaded.size:
                self._forget(float(time_s[-1]) - self._rules.before_s)
                return None
            self._began_s = float(time_s[loaded[0]])
            self._forget(self._began_s - self._rules.before_s)
            time_s, size_nm = self._kept.time_s, np.abs(self._kept.torque_nm - zero_nm)
        held = time_s[(size_nm >= self._end_nm) & (time_s >= self._began_s)]
        # The first stretch let go for long enough ends it, whatever came after in the same piece.
        ends = np.append(held[:-1][np.diff(held) > self._rest_s], held[-1]) + self._rest_s
        end_s = min(float(ends[0]), self._began_s + self._rules.longest_s)
        if float(time_s[-1]) < end_s:
            return None
        whole = _between(self._kept, -np.inf, end_s)
        self._began_s = None
        self._forget(end_s)
        return whole

    def _forget(self, before_s: float) -> None:
        self._kept = _between(self._kept, before_s, np.inf)


def _between(trace: Trace, from_s: float, to_s: float) -> Trace:
    """The samples from `from_s` to `to_s`, both included."""
    inside = slice(int(np.searchsorted(trace.time_s, from_s, "left")), int(np.searchsorted(trace.time_s, to_s, "right")))
    angle = None if trace.angle_deg is None else trace.angle_deg[inside]
    return Trace(trace.time_s[inside], trace.torque_nm[inside], angle)


@dataclass(frozen=True, slots=True)
class BoltPass:
    """A pass under way: the readings by bolt (1 first), how each stands, and the order they were taken in."""

    readings: tuple[BoltReading, ...]
    states: tuple[State, ...]
    taken: tuple[int, ...] = ()

    @classmethod
    def of(cls, count: int) -> BoltPass:
        """A pass that has not begun."""
        return cls((BoltReading(),) * count, (State.NOT_RECORDED,) * count)

    @property
    def order(self) -> tuple[int, ...]:
        """Bolt numbers in the order they are pulled."""
        return order_of_pass(len(self.readings))

    @property
    def next_bolt(self) -> int | None:
        """The bolt to pull now: the first of the order that a pull can still bring into tolerance; None: the pass is over."""
        return next((number for number in self.order if self.states[number - 1] in PULL_AGAIN), None)

    def noted(self, number: int, reading: BoltReading, state: State) -> BoltPass:
        """With that reading of that bolt.

        Parameters
        ----------
        number
            Of the bolt, from 1.
        reading
            Its peak and angle; what was noted of that bolt before is replaced.
        state
            How it stands.

        Returns
        -------
        BoltPass
            A new one, with the bolt as the last that was taken.
        """
        at = number - 1
        return replace(
            self,
            readings=(*self.readings[:at], reading, *self.readings[at + 1 :]),
            states=(*self.states[:at], state, *self.states[at + 1 :]),
            taken=(*self.taken, number),
        )

    def without_last(self) -> BoltPass:
        """Without the bolt taken last: it is pulled again."""
        if not self.taken:
            return self
        last = self.taken[-1]
        undone = self.noted(last, BoltReading(), State.NOT_RECORDED)
        return replace(undone, taken=tuple(number for number in self.taken[:-1] if number != last))
