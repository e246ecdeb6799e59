"""Trace: the one type of signal, from a 20 ms piece off the wire to a pull in a report."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def _read_only(values: ArrayLike) -> Floats:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def rises(values: Floats) -> bool:
    """Whether each value is above the one before.

    Parameters
    ----------
    values
        (n,), none of them NaN.

    Returns
    -------
    bool
        True for fewer than two values, too.
    """
    return bool(np.logical_and.reduce(values[1:] > values[:-1]))  # asked of every piece: half the time of diff and all


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Time, torque and, where the bench has it, angle. Checked once here; nobody checks again.

    time_s     (n,) strictly rising, finite
    torque_nm  (n,) finite; + is the first direction of turning
    angle_deg  (n,) finite, at the hand side; None where the bench has no angle

    A gap in the samples is a gap in time. Raises ValueError if shapes differ, a number is not finite or time does not rise.
    """

    time_s: Floats
    torque_nm: Floats
    angle_deg: Floats | None = None

    def __post_init__(self) -> None:
        columns = {"time_s": self.time_s, "torque_nm": self.torque_nm}
        if self.angle_deg is not None:
            columns["angle_deg"] = self.angle_deg
        for name, values in columns.items():
            array = _read_only(values)
            if array.ndim != 1 or array.size != np.size(self.time_s):
                raise ValueError(f"{name} must be one-dimensional and as long as time_s")
            if not np.logical_and.reduce(np.isfinite(array)):
                raise ValueError(f"{name} holds a value that is not finite")
            object.__setattr__(self, name, array)
        if not rises(self.time_s):
            raise ValueError("time_s must rise strictly")

    def __len__(self) -> int:
        return int(self.time_s.size)

    def __repr__(self) -> str:
        span = f"{self.time_s[0]:.4g}..{self.time_s[-1]:.4g} s" if len(self) else "empty"
        return f"Trace({len(self)} samples, {span}, {'with' if self.angle_deg is not None else 'no'} angle)"

    @property
    def duration_s(self) -> float:
        """Time from first to last sample; 0 for fewer than two."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self) > 1 else 0.0

    def between(self, from_s: float, to_s: float) -> Trace:
        """The samples with from_s <= time <= to_s.

        Parameters
        ----------
        from_s, to_s
            Times of the trace's own clock, s; both ends belong to it.

        Returns
        -------
        Trace
            Empty where no sample lies between; with angle where this one has it.
        """
        first, last = np.searchsorted(self.time_s, from_s, "left"), np.searchsorted(self.time_s, to_s, "right")
        return self.cut(int(first), int(last))

    def cut(self, first: int, last: int) -> Trace:
        """The samples first <= index < last.

        Parameters
        ----------
        first, last
            Indices as in a Python slice, `last` not among them; negative ones count from the end.

        Returns
        -------
        Trace
            Empty where there is no such sample; with angle where this one has it.
        """
        angle = None if self.angle_deg is None else self.angle_deg[first:last]
        return Trace(self.time_s[first:last], self.torque_nm[first:last], angle)

    def mirrored(self) -> Trace:
        """The same pull the other way round."""
        return Trace(self.time_s, -self.torque_nm, None if self.angle_deg is None else -self.angle_deg)


EMPTY = Trace(np.empty(0), np.empty(0))


def join(pieces: Iterable[Trace]) -> Trace:
    """One trace of pieces in order of time. With angle only if every piece that is not empty has it."""
    parts = [piece for piece in pieces if len(piece)]
    if not parts:
        return EMPTY
    angles = [part.angle_deg for part in parts]
    return Trace(
        np.concatenate([part.time_s for part in parts]),
        np.concatenate([part.torque_nm for part in parts]),
        None if any(angle is None for angle in angles) else np.concatenate([a for a in angles if a is not None]),
    )
