"""PullCutter: keeps the pieces that a pull may still need, and cuts each pull's trace out of them as the finder tells."""

from __future__ import annotations

from collections import deque

import numpy as np

from analysis.pull.events import FinderRules, PullEvent
from analysis.pull.finder import PullFinder
from analysis.trace import Trace, join


class PullCutter:
    """Fed with each piece twice: as it is recorded, and as it reads under the calibration."""

    def __init__(self, capacity_nm: float | None, rules: FinderRules) -> None:
        self._capacity_nm, self._rules = capacity_nm, rules
        self._corrected: deque[Trace] = deque()
        self._raw: deque[Trace] = deque()
        self._finder = PullFinder(capacity_nm, rules)
        self._not_before_s = -np.inf
        self.from_s = 0.0
        """Where the trace of the pull under way begins, pre-roll included."""

    @property
    def pulling(self) -> bool:
        """Whether a pull is under way."""
        return self._finder.pulling

    @property
    def touched(self) -> bool:
        """Whether something moves the bench; it begins at `keep_from_s` and need not come to a pull."""
        return self._finder.touched

    @property
    def settled(self) -> bool:
        """Whether the torque at rest is known."""
        return self._finder.settled

    @property
    def zero_nm(self) -> float:
        """Torque at rest as it is known now, N.m."""
        return self._finder.zero_nm

    @property
    def told_limit_nm(self) -> float:
        """A level at rest that moved by less than this is not worth a word, N.m."""
        return self._finder.told_limit_nm

    @property
    def keep_from_s(self) -> float:
        """What came before that moment no pull can need any more."""
        return self._finder.keep_from_s

    def forget(self) -> None:
        """Learn the rest anew; nothing from before is cut into a pull to come."""
        self._finder = PullFinder(self._capacity_nm, self._rules)
        self._corrected.clear()
        self._raw.clear()

    def restart(self) -> None:
        """Time goes back: the device started anew, and the two never meet in one trace."""
        self.forget()
        self._not_before_s = -np.inf

    def keep(self, raw: Trace, corrected: Trace) -> None:
        """Keep a piece."""
        self._raw.append(raw)
        self._corrected.append(corrected)

    def find(self, corrected: Trace) -> list[PullEvent]:
        """What the piece brought."""
        return self._finder.feed(corrected)

    def finish(self) -> list[PullEvent]:
        """The stream has ended: what that ends."""
        return self._finder.finish()

    def trim(self) -> None:
        """Let go of pieces that no pull can need any more."""
        while len(self._corrected) > 1 and self._corrected[1].time_s[0] <= self._finder.keep_from_s:
            self._corrected.popleft()
            self._raw.popleft()

    def begin(self, from_s: float) -> Trace:
        """A pull began: its samples so far, as they are recorded; never those of the pull before."""
        self.from_s = max(from_s, self._not_before_s)
        return join(self._raw).between(self.from_s, np.inf)

    def cut(self, to_s: float) -> Trace:
        """The pull under way up to `to_s`, as it reads under the calibration."""
        return join(self._corrected).between(self.from_s, to_s)

    def between(self, from_s: float, to_s: float) -> Trace:
        """What was kept of that time, as it reads under the calibration."""
        return join(self._corrected).between(from_s, to_s)

    def end(self, to_s: float) -> None:
        """The pull is over; the next one's pre-roll begins with the rest after it at the earliest."""
        self._not_before_s = to_s - self._rules.rest_s
