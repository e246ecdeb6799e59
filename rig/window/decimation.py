"""Pictures of signals: thinned so that a screen can draw them and no peak is lost. Arrays in, arrays out; no Qt.

A thinned curve holds true samples only: of each run of samples the lowest and the highest, in order of time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import Breakaway, PullResult
from analysis.trace import Floats, Trace

BLOCK_S = 0.002
"""The live ring keeps lowest and highest of each stretch of this length: at most 1000 points a second at any rate."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Points to draw, both (n,). `broken`: some are NaN, where samples are missing and no line is to be drawn."""

    x: Floats
    y: Floats
    broken: bool = False


NO_CURVE = Curve(np.empty(0), np.empty(0))


def extremes(values: Floats, run: int) -> np.ndarray:
    """Indices, rising, of lowest and highest of each `run` of values; the rest that fills no run is kept whole."""
    if run <= 2 or values.size <= 2 * run:
        return np.arange(values.size)
    runs = values.size // run
    grid = values[: runs * run].reshape(runs, run)
    pair = np.stack([grid.argmin(axis=1), grid.argmax(axis=1)], axis=1)
    pair.sort(axis=1)
    inside = (pair + np.arange(runs)[:, None] * run).ravel()
    kept = np.concatenate([inside[np.append(True, np.diff(inside) > 0)], np.arange(runs * run, values.size)])
    return kept if kept[0] == 0 else np.concatenate([[0], kept])


GAP_STEPS, GAP_S = 6.0, 0.03
"""Samples are missing where the time step is over so many usual steps, and over this: shorter holes nobody sees on a screen."""


def with_gaps(curve: Curve, time_s: Floats, kept: np.ndarray) -> Curve:
    """The curve with a hole wherever samples are missing between two points kept; `kept` are their indices in `time_s`."""
    if time_s.size < 3:
        return curve
    steps = np.diff(time_s)
    if steps.max() <= GAP_S:  # nearly always, and told without the median, thirty times a second
        return curve
    missing = np.flatnonzero(steps > max(GAP_S, GAP_STEPS * float(np.median(steps))))
    if not missing.size:
        return curve
    holes = np.flatnonzero(np.diff(np.searchsorted(missing, kept, "left")) > 0) + 1
    return Curve(np.insert(curve.x, holes, np.nan), np.insert(curve.y, holes, np.nan), broken=True)


def closed(curve: Curve) -> Curve:
    """The curve without its holes, for a small card that has no room to show them."""
    there = np.isfinite(curve.y)
    return Curve(curve.x[there], curve.y[there]) if curve.broken else curve


def run_for(count: int, columns: int) -> int:
    """Samples a column, as a power of two: so a scrolling picture does not flicker when the count grows by one."""
    return 1 if count <= 2 * columns else 1 << (max(1, count // columns) - 1).bit_length()


def thin(x: Floats, y: Floats, columns: int) -> Curve:
    """A curve of at most about two points a column."""
    keep = extremes(y, run_for(y.size, columns))
    return Curve(x[keep], y[keep])


class LiveRing:
    """The last `span_s` of the stream, thinned once on entry. Memory is the same at any sampling rate."""

    def __init__(self, span_s: float = 60.0) -> None:
        self.span_s = span_s
        self._room = int(span_s / BLOCK_S) * 3
        self._columns = np.empty((3, 2 * self._room))
        self._end = 0
        self._dropped = 0
        self.has_angle = False

    def __len__(self) -> int:
        return min(self._end, self._room)

    @property
    def newest_s(self) -> float | None:
        """Time of the newest sample; None while empty."""
        return float(self._columns[0, self._end - 1]) if self._end else None

    @property
    def newest_nm(self) -> float | None:
        """Torque of the newest sample kept; None while empty."""
        return float(self._columns[1, self._end - 1]) if self._end else None

    def clear(self) -> None:
        """Forget all, as when another line is opened."""
        self._end, self._dropped, self.has_angle = 0, 0, False

    def add(self, piece: Trace) -> None:
        """Take the next piece. A piece that goes back in time starts a new picture."""
        if not len(piece):
            return
        newest = self.newest_s
        if newest is not None and piece.time_s[0] <= newest:
            self.clear()
        self.has_angle = piece.angle_deg is not None
        run = 1 if len(piece) < 2 else int(BLOCK_S * (len(piece) - 1) / max(piece.duration_s, 1e-9))
        keep = extremes(piece.torque_nm, run)[-self._room :]
        if self._end + keep.size > self._columns.shape[1]:
            kept = min(self._end, self._room)
            self._columns[:, :kept] = self._columns[:, self._end - kept : self._end]
            self._dropped += self._end - kept
            self._end = kept
        span = slice(self._end, self._end + keep.size)
        self._columns[0, span] = piece.time_s[keep]
        self._columns[1, span] = piece.torque_nm[keep]
        self._columns[2, span] = np.nan if piece.angle_deg is None else piece.angle_deg[keep]
        self._end += keep.size

    def _since(self, from_s: float, columns: int) -> np.ndarray:
        first = max(0, self._end - self._room)
        first += int(np.searchsorted(self._columns[0, first : self._end], from_s))
        run = run_for(self._end - first, columns)
        # Runs start at fixed places of the stream, so that the picture does not flicker while it scrolls.
        first -= min(first, (first + self._dropped) % run)
        view = self._columns[:, first : self._end]
        return view[:, extremes(view[1], run)]

    def over_time(self, from_s: float, columns: int, per_nm: float = 1.0) -> Curve:
        """Torque (times `per_nm`) over time from `from_s` on."""
        kept = self._since(from_s, columns)
        every = np.arange(kept.shape[1])
        return with_gaps(Curve(kept[0], kept[1] * per_nm), kept[0], every)

    def over_angle(self, from_s: float, columns: int, per_nm: float = 1.0) -> Curve:
        """Torque (times `per_nm`) over angle from `from_s` on; empty without an angle."""
        if not self.has_angle:
            return NO_CURVE
        kept = self._since(from_s, columns)
        known = np.isfinite(kept[2])
        return Curve(kept[2][known], kept[1][known] * per_nm)


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the curves of one pull start: its breakaway, else where it began; direction of turning."""

    time_s: float
    angle_deg: float
    direction: int
    zero_nm: float


def placing(trace: Trace, result: PullResult) -> Placed:
    """Time and angle of breakaway, to lay pulls on each other. Without breakaway: the first sample."""
    mark: Breakaway | None = result.breakaway
    time_s = mark.time_s if mark else float(trace.time_s[0]) if len(trace) else 0.0
    angle_deg = 0.0
    if trace.angle_deg is not None and len(trace):
        angle_deg = float(trace.angle_deg[min(int(np.searchsorted(trace.time_s, time_s)), len(trace) - 1)])
    return Placed(time_s, angle_deg, result.direction or 1, result.zero_nm or 0.0)


def aligned(trace: Trace, result: PullResult, columns: int, per_nm: float = 1.0) -> tuple[Curve, Curve]:
    """Torque over time and over angle, breakaway at zero, zero offset off, positive the way it was pulled."""
    at = placing(trace, result)
    keep = extremes(trace.torque_nm, run_for(len(trace), columns))
    torque = (trace.torque_nm[keep] - at.zero_nm) * at.direction * per_nm
    over_time = with_gaps(Curve(trace.time_s[keep] - at.time_s, torque), trace.time_s, keep)
    if trace.angle_deg is None:
        return over_time, NO_CURVE
    turned = (trace.angle_deg[keep] - at.angle_deg) * at.direction
    return over_time, with_gaps(Curve(turned, torque), trace.time_s, keep)


def nearest(trace: Trace, time_s: float) -> int:
    """Index of the sample nearest in time; the trace is not empty."""
    after = int(np.clip(np.searchsorted(trace.time_s, time_s), 1, max(1, len(trace) - 1)))
    if len(trace) == 1:
        return 0
    return after - 1 if time_s - trace.time_s[after - 1] < trace.time_s[after] - time_s else after


def spectrum(trace: Trace, from_s: float, to_s: float, per_nm: float = 1.0) -> Curve:
    """Amplitude of torque (peak, times `per_nm`) over frequency in Hz between two times; empty for fewer than 32 samples.

    Straight line taken off, Hann window, amplitude corrected for the window's mean of one half (its coherent gain; Harris,
    Proc. IEEE 66, 1978, table I). Times are laid on an even grid first, for a gap is a gap in time.
    """
    part = trace.between(from_s, to_s)
    if len(part) < 32:
        return NO_CURVE
    step_s = float(np.median(np.diff(part.time_s)))
    grid = np.arange(part.time_s[0], part.time_s[-1], step_s)
    torque = np.interp(grid, part.time_s, part.torque_nm)
    centred = grid - grid.mean()
    slope = float((centred * torque).sum() / (centred**2).sum())
    window = np.hanning(grid.size + 1)[:-1]
    lines = np.abs(np.fft.rfft((torque - torque.mean() - slope * centred) * window)) * 2 / window.sum()
    return Curve(np.asarray(np.fft.rfftfreq(grid.size, step_s)[1:], float), np.asarray(lines[1:] * per_nm, float))
