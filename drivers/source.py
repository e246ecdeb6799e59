"""Source: an iterator of trace pieces and line news, whatever is behind it (a live line, a replay, a wire recording)."""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Protocol

import numpy as np

from analysis.trace import Floats, Trace
from drivers.clock import Clock
from drivers.codec import PolledCodec, WireFaults
from drivers.errors import LineLostError
from drivers.items import ConnectionLost, LineUp, LineWarning, SourceItem
from drivers.line import Line, PortInfo, SerialLine, list_ports
from drivers.profile import DeviceProfile
from drivers.watch import LineWatch
from drivers.wirefile import WirePlayer, WireTape, taped
from drivers.wiring import wiring_for

SILENT_AFTER_S = 3.0
"""A board that restarts when its port is opened needs up to two seconds before it speaks."""
LOOK_EVERY_S = 0.2
IMPOSSIBLE = 3.0
"""Times the capacity. A sensor breaks before it reads that (common practice, no source): such a number was damaged on the way."""
IMPOSSIBLE_IN_A_ROW = 20
"""So many are no damage but a profile that is off."""
WIRE_PREFIX = "wire:"
"""A port so named is a recording of the wire, played back as it came."""
_MUTE = "check address, baud rate, bits and wiring: the device must answer when asked"
_SILENT_MEND = "check that the device is switched on, sends by itself and that its cable carries data"


class Source(Protocol):
    """A source of pieces. `pieces` ends when `stop` is set (within 50 ms), at the end of a recording, or raises LineLostError."""

    @property
    def faults(self) -> WireFaults:
        """What was dropped since the start."""
        ...

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes, in order."""
        ...


def open_source(profile: DeviceProfile, clock: Clock, tape: WireTape | None = None) -> LiveSource:
    """The live source of a profile; the traffic goes onto the tape if there is one. Raises WireFileError.

    The port is opened when pieces are asked for, not here. A port "wire:FILE" plays back a recording at its own pace.
    """
    if profile.port.startswith(WIRE_PREFIX):
        player = WirePlayer(Path(profile.port.removeprefix(WIRE_PREFIX)), pace=clock)
        return LiveSource(profile, player, lambda port: player, list)

    open_line = opener(profile)
    return LiveSource(profile, clock, open_line if tape is None else taped(open_line, tape))


def opener(profile: DeviceProfile) -> Callable[[str], Line]:
    """How the line of a profile is opened."""
    return partial(SerialLine, baud=profile.baud, bits=profile.bits, streams=profile.protocol != "modbus")


class LiveSource:
    """Line, decoder and time base in one loop: pieces in N.m and deg with the sign as sent, and what the line does.

    A line that goes away is looked for, under its old name and by its identity under another, until the patience ends. `waits`:
    so is one that cannot be opened at the start (not plugged in, or another program holds it).
    A device that speaks only when asked is asked at the profile's rate; the moment of the question stamps the sample.
    """

    def __init__(
        self,
        profile: DeviceProfile,
        clock: Clock,
        open_line: Callable[[str], Line],
        ports: Callable[[], list[PortInfo]] = list_ports,
        *,
        waits: bool = False,
    ) -> None:
        self._profile, self._clock, self._open_line, self._ports = profile, clock, open_line, ports
        self._waits = waits
        self._wiring = wiring_for(profile)
        self._watch = LineWatch(profile)
        self._identity = ""
        self._others: set[str] = set()
        self._refusal: LineLostError | None = None
        self._line: Line | None = None
        self._heard_s = 0.0
        self._before_nm = 0.0
        self._impossible = self._impossible_in_a_row = 0
        self._impossible_told = False
        self._away_from_s: float | None = None
        self._silent = False
        self._polled = self._wiring.codec if isinstance(self._wiring.codec, PolledCodec) else None
        self._asked_s = self._next_ask_s = -float("inf")

    @property
    def faults(self) -> WireFaults:
        """What was dropped since the start, by decoder and time base."""
        faults, timebase = self._wiring.codec.faults, self._wiring.timebase
        return replace(faults, garbled=faults.garbled + timebase.dropped + self._impossible, lost=faults.lost + timebase.lost)

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes, in order. Raises LineLostError at once if the port cannot be opened, later after the patience."""
        self._line = yield from self._first(stop)
        if self._line is None:
            return
        try:
            yield LineUp(self._line.name)
            self._heard_s = self._clock.now()
            while not stop.is_set() and not self._line.ended:
                try:
                    data = self._read(stop)
                except LineLostError as fault:
                    yield from self._come_back(fault, stop)
                else:
                    yield from self._take(data) if data else self._hush()
        finally:
            self._line.close()

    def _first(self, stop: threading.Event) -> Generator[SourceItem, None, Line | None]:
        """The line, opened for the first time; None: `stop` was set while it was waited for."""
        told = ""
        while True:
            try:
                return self._open(self._profile.port)
            except LineLostError as fault:
                if not self._waits:
                    raise
                if fault.what != told:
                    told = fault.what
                    yield ConnectionLost(self._profile.port, fault.what, fault.remedy)
            if self._clock.wait_until(self._clock.now() + LOOK_EVERY_S, stop):
                return None

    def _open(self, port: str) -> Line:
        line = self._open_line(port)
        there = self._ports()
        self._identity = next((info.identity for info in there if info.port == port), "")
        self._others = {info.identity for info in there if info.port != port}
        return line

    def _read(self, stop: threading.Event) -> bytes:
        """What came; from a device that is asked, what came as its answer."""
        assert self._line is not None
        if self._polled is None:
            return self._line.read()
        waited_s = self._clock.now() - self._asked_s + 1e-5  # a recording rounds its times
        if self._polled.answered or waited_s > self._polled.timeout_s:
            if self._clock.wait_until(self._next_ask_s, stop):
                return b""
            # An answer that came too late would pass for the next one, and every later one would be a question behind.
            self._line.discard()
            self._line.write(self._polled.ask())
            self._asked_s = self._clock.now()
            on_beat_s = self._next_ask_s + self._polled.period_s
            self._next_ask_s = on_beat_s if on_beat_s > self._asked_s else self._asked_s + self._polled.period_s
        return self._line.read(self._polled.answer_bytes)

    def _take(self, data: bytes) -> Iterator[SourceItem]:
        assert self._line is not None
        self._heard_s = arrival_s = self._clock.now()
        self._away_from_s = None
        if self._silent:
            self._silent = False
            yield LineUp(self._line.name)
        wiring = self._wiring
        readings = wiring.codec.feed(data)
        rows = np.array(readings, dtype=np.float64).reshape(-1, 3)
        if self._polled is not None:
            rows[:, 2] = self._asked_s
        rows = self._possible(rows)
        times, rows = wiring.timebase.feed(rows, arrival_s)
        if times.size:
            yield self._piece(times, rows)
        if self._impossible_in_a_row >= IMPOSSIBLE_IN_A_ROW and not self._impossible_told:
            self._impossible_told = True
            yield LineWarning(
                "the torque that arrives is far beyond the sensor's capacity", "check capacity, unit and scale in the profile"
            )
        yield from (LineWarning(what, remedy) for what, remedy in self._watch.words(data, len(readings), wiring, arrival_s))

    def _possible(self, rows: Floats) -> Floats:
        """The rows without torques that no sensor of this capacity can read; nines are how some devices say 'overloaded'."""
        sent_nm = rows[:, 0] * self._wiring.torque.factor + self._wiring.torque.offset
        beyond = np.flatnonzero(np.isfinite(sent_nm) & (np.abs(sent_nm) > IMPOSSIBLE * self._profile.capacity_nm))
        if not beyond.size:
            self._impossible_in_a_row = 0
            return rows
        nines = [at for at in beyond if set(f"{abs(rows[at, 0]):.12g}") <= {"9", "."}]
        rows[nines, 0] = np.copysign(np.inf, rows[nines, 0])
        self._wiring.codec.faults.overload += len(nines)
        wrong = np.setdiff1d(beyond, nines)
        self._impossible += wrong.size
        all_wrong = 0 < wrong.size == rows.shape[0]
        self._impossible_in_a_row = self._impossible_in_a_row + wrong.size if all_wrong else 0
        return np.delete(rows, wrong, axis=0) if wrong.size else rows

    def _piece(self, times: Floats, rows: Floats) -> Trace:
        capacity_nm, torque, angle = self._profile.capacity_nm, self._wiring.torque, self._wiring.angle
        sent_nm = rows[:, 0] * torque.factor + torque.offset
        # The device said 'overloaded': all that is known is that the torque lies beyond the sensor's limit, and that is not below
        # what it read just before, whatever capacity the profile claims.
        over = np.isinf(sent_nm)
        read_at = np.maximum.accumulate(np.where(over, -1, np.arange(sent_nm.size)))
        before_nm = np.where(read_at < 0, self._before_nm, np.abs(sent_nm[read_at]))
        self._before_nm = float(before_nm[-1])
        torque_nm = np.where(over, np.copysign(np.maximum(capacity_nm, before_nm), sent_nm), sent_nm)
        return Trace(times, torque_nm, None if np.isnan(rows[0, 1]) else rows[:, 1] * angle.factor + angle.offset)

    def _hush(self) -> Iterator[SourceItem]:
        """Nothing came: after a while that is news, after the patience it is the end."""
        assert self._line is not None
        quiet_s = self._clock.now() - self._heard_s
        remedy = _MUTE if self._polled else _SILENT_MEND
        if quiet_s > max(self._profile.patience_s, SILENT_AFTER_S):
            raise LineLostError(f"nothing has arrived for {quiet_s:.0f} s", where=self._line.name, remedy=remedy)
        if quiet_s > SILENT_AFTER_S and not self._silent:
            self._silent = True
            yield ConnectionLost(self._line.name, "the line is open but nothing arrives", remedy)

    def _come_back(self, fault: LineLostError, stop: threading.Event) -> Iterator[SourceItem]:
        """Look for the line until it is back, `stop` is set or the patience ends."""
        assert self._line is not None
        self._line.close()
        yield ConnectionLost(self._line.name, fault.what, fault.remedy)
        if self._away_from_s is None:  # a line that opens and falls again without a byte has not come back
            self._away_from_s = self._clock.now()
        patience_s = self._profile.patience_s
        while not self._clock.wait_until(self._clock.now() + LOOK_EVERY_S, stop):
            if self._clock.now() - self._away_from_s > patience_s:
                what = f"the line went away and did not come back within {patience_s:.3g} s"
                what += f" ({self._refusal.what})" if self._refusal else ""
                raise LineLostError(what, where=self._profile.port, remedy=(self._refusal or fault).remedy)
            line = self._look()
            if line is not None:
                self._line, self._silent = line, False
                self._wiring.codec.restart()
                self._wiring.timebase.restart()
                yield LineUp(line.name)
                return

    def _look(self) -> Line | None:
        """The line if it can be opened again: by its identity where that is known, else under its old name."""
        there = self._ports()
        names = [self._profile.port]
        if self._identity:
            names = [info.port for info in there if info.identity == self._identity] or self._moved(there)
        for name in names:
            try:
                return self._open(name)
            except LineLostError as fault:  # not back yet; the patience decides when that becomes an error
                self._refusal = fault
        return None

    def _moved(self, there: list[PortInfo]) -> list[str]:
        """The port of a bridge without a serial number that was put into another socket: the only new one of its make."""
        make, _, own = self._identity.rpartition(":")
        new = [info.port for info in there if info.identity.startswith(f"{make}:at ") and info.identity not in self._others]
        return new if own.startswith("at ") and len(new) == 1 else []
