"""Source: an iterator of trace pieces and line news, whatever is behind it (a live line, a replay, a wire recording)."""

from __future__ import annotations

import contextlib
import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from analysis.trace import Floats, Trace
from analysis.units import Scale
from drivers.clock import Clock
from drivers.codec import Codec, WireFaults
from drivers.errors import LineLostError, ProfileError
from drivers.frames import FramesCodec
from drivers.line import Line, PortInfo, SerialLine, list_ports
from drivers.profile import DeviceProfile
from drivers.text import TextCodec, TextFormat
from drivers.timebase import TimeBase

SILENT_AFTER_S = 3.0
"""A board that restarts when its port is opened needs up to two seconds before it speaks."""
LOOK_EVERY_S = 0.2
JUDGE_EVERY_S = 2.0
READABLE = 0.9
"""Share of printable bytes below which what arrives is not text: at a wrong baud rate about a third is printable."""
_SILENT_MEND = "check that the device is switched on, sends by itself and that its cable carries data"


@dataclass(frozen=True, slots=True)
class LineUp:
    """The line is open. `name` is the port or file it was opened under."""

    name: str


@dataclass(frozen=True, slots=True)
class LineAway:
    """The line went away or is silent; it is looked for until the profile's patience ends."""

    name: str
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class LineWord:
    """Something the user should know of the line while it works: wrong baud suspected, an overloaded sensor, a counter jump."""

    what: str
    mend: str


SourceItem = Trace | LineUp | LineAway | LineWord


class Source(Protocol):
    """A source of pieces. `pieces` ends when `stop` is set (within 50 ms), at the end of a recording, or raises LineLostError."""

    @property
    def faults(self) -> WireFaults:
        """What was dropped since the start."""
        ...

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes, in order."""
        ...


@dataclass(frozen=True, slots=True)
class Wiring:
    """What stands between the bytes of a protocol and a piece: decoder, time base, and the scales from as-sent to N.m and deg."""

    codec: Codec
    timebase: TimeBase
    torque: Scale
    angle: Scale


def codec_for(profile: DeviceProfile) -> Codec:
    """A fresh decoder for the profile's protocol."""
    return wiring_for(profile).codec


def wiring_for(profile: DeviceProfile) -> Wiring:
    """A fresh decoder, time base and scales for the profile."""
    match profile.protocol:
        case "text":
            assert profile.text is not None
            return _text_wiring(profile.text)
        case "frames":
            return Wiring(FramesCodec(), TimeBase("time", 1.0), Scale(1.0), Scale(1.0))
        case _:
            raise ProfileError(f'protocol "{profile.protocol}" cannot be read yet', where=profile.name, mend='use "text"')


def _text_wiring(layout: TextFormat) -> Wiring:
    torque, angle, time = layout.column("torque"), layout.column("angle"), layout.column("time")
    assert torque is not None
    if time is not None:
        timebase = TimeBase("time", time.scale.factor)
    else:
        assert layout.rate_hz is not None
        timebase = TimeBase("counter" if layout.column("counter") else "place", 1 / layout.rate_hz)
    return Wiring(TextCodec(layout), timebase, torque.scale, angle.scale if angle else Scale(1.0))


def open_source(
    profile: DeviceProfile,
    clock: Clock,
    open_line: Callable[[str], Line] | None = None,
    ports: Callable[[], list[PortInfo]] = list_ports,
) -> LiveSource:
    """The live source of a profile. The port is opened when pieces are asked for, not here."""
    return LiveSource(profile, clock, open_line or (lambda port: SerialLine(port, profile.baud)), ports)


class LiveSource:
    """Line, decoder and time base in one loop: pieces in N.m and deg with the sign as sent, and what the line does.

    A line that goes away is looked for, under its old name and by its identity under another, until the patience ends.
    """

    def __init__(
        self, profile: DeviceProfile, clock: Clock, open_line: Callable[[str], Line], ports: Callable[[], list[PortInfo]]
    ) -> None:
        self._profile, self._clock, self._open_line, self._ports = profile, clock, open_line, ports
        self._wiring = wiring_for(profile)
        self._watch = LineWatch(profile)
        self._identity = ""
        self._line: Line | None = None
        self._heard_s = 0.0
        self._away_from_s: float | None = None
        self._silent = False

    @property
    def faults(self) -> WireFaults:
        """What was dropped since the start, by decoder and time base."""
        faults, timebase = self._wiring.codec.faults, self._wiring.timebase
        return replace(faults, garbled=faults.garbled + timebase.dropped, lost=faults.lost + timebase.lost)

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes, in order. Raises LineLostError at once if the port cannot be opened, later after the patience."""
        self._line = self._open(self._profile.port)
        try:
            yield LineUp(self._line.name)
            self._heard_s = self._clock.now()
            while not stop.is_set():
                try:
                    data = self._line.read()
                except LineLostError as fault:
                    yield from self._come_back(fault, stop)
                else:
                    yield from self._take(data) if data else self._hush()
        finally:
            self._line.close()

    def _open(self, port: str) -> Line:
        line = self._open_line(port)
        self._identity = next((info.identity for info in self._ports() if info.port == port), "")
        return line

    def _take(self, data: bytes) -> Iterator[SourceItem]:
        assert self._line is not None
        self._heard_s = arrival_s = self._clock.now()
        self._away_from_s = None
        if self._silent:
            self._silent = False
            yield LineUp(self._line.name)
        wiring = self._wiring
        readings = wiring.codec.feed(data)
        times, rows = wiring.timebase.feed(np.array(readings, dtype=np.float64).reshape(-1, 3), arrival_s)
        if times.size:
            yield self._piece(times, rows)
        yield from self._watch.words(data, len(readings), wiring, arrival_s)

    def _piece(self, times: Floats, rows: Floats) -> Trace:
        capacity_nm, torque, angle = self._profile.capacity_nm, self._wiring.torque, self._wiring.angle
        sent_nm = rows[:, 0] * torque.factor + torque.offset
        # The device said 'overloaded': all that is known is that the torque lies beyond the sensor's limit.
        torque_nm = np.where(np.isinf(sent_nm), np.copysign(capacity_nm, sent_nm), sent_nm)
        return Trace(times, torque_nm, None if np.isnan(rows[0, 1]) else rows[:, 1] * angle.factor + angle.offset)

    def _hush(self) -> Iterator[SourceItem]:
        """Nothing came: after a while that is news, after the patience it is the end."""
        assert self._line is not None
        quiet_s = self._clock.now() - self._heard_s
        if quiet_s > max(self._profile.patience_s, SILENT_AFTER_S):
            raise LineLostError(f"nothing has arrived for {quiet_s:.0f} s", where=self._line.name, mend=_SILENT_MEND)
        if quiet_s > SILENT_AFTER_S and not self._silent:
            self._silent = True
            yield LineAway(self._line.name, "the line is open but nothing arrives", _SILENT_MEND)

    def _come_back(self, fault: LineLostError, stop: threading.Event) -> Iterator[SourceItem]:
        """Look for the line until it is back, `stop` is set or the patience ends."""
        assert self._line is not None
        self._line.close()
        yield LineAway(self._line.name, fault.what, fault.mend)
        if self._away_from_s is None:  # a line that opens and falls again without a byte has not come back
            self._away_from_s = self._clock.now()
        patience_s = self._profile.patience_s
        while not self._clock.wait_until(self._clock.now() + LOOK_EVERY_S, stop):
            if self._clock.now() - self._away_from_s > patience_s:
                what = f"the line went away and did not come back within {patience_s:.3g} s"
                raise LineLostError(what, where=self._profile.port, mend=fault.mend)
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
            same = [info.port for info in there if info.identity == self._identity]
            kin = [info.port for info in there if info.identity.rpartition(":")[0] == self._identity.rpartition(":")[0]]
            names = same or (kin if len(kin) == 1 else [])
        for name in names:
            with contextlib.suppress(LineLostError):  # not back yet; the patience decides when that becomes an error
                return self._open(name)
        return None


class LineWatch:
    """Says what the user should know while the line works: unreadable bytes, overload, a clock that jumped or is off."""

    def __init__(self, profile: DeviceProfile) -> None:
        self._profile = profile
        self._from_s: float | None = None
        self._readings = 0
        self._sample = b""
        self._unread_told = False
        self._overload_until_s = -1.0
        self._overload = 0
        self._jumps = 0
        self._rate_told = False

    def words(self, data: bytes, readings: int, wiring: Wiring, now_s: float) -> Iterator[LineWord]:
        """What the bytes just read give reason to say."""
        self._from_s = now_s if self._from_s is None else self._from_s
        self._readings += readings
        self._sample = (self._sample + data)[-256:]
        if now_s - self._from_s >= JUDGE_EVERY_S:
            if self._readings == 0 and len(self._sample) >= 16 and not self._unread_told:
                yield self._unread()
            self._unread_told = self._readings == 0
            self._from_s, self._readings, self._sample = now_s, 0, b""
        overload = wiring.codec.faults.overload
        if overload > self._overload:
            if now_s > self._overload_until_s:
                yield LineWord("the device says its sensor is overloaded", "let go; check the sensor's zero before the next pull")
            self._overload, self._overload_until_s = overload, now_s + JUDGE_EVERY_S
        if wiring.timebase.jumps > self._jumps:
            self._jumps = wiring.timebase.jumps
            yield LineWord("the device's clock or counter jumped", "it may have restarted; check its power and plug")
        off = wiring.timebase.off_rate
        if off is not None and not self._rate_told:
            self._rate_told = True
            yield LineWord(
                f"the device's time runs {off:.3g} times as fast as the computer's", "check rate and time unit in the profile"
            )

    def _unread(self) -> LineWord:
        printable = sum(32 <= byte < 127 or byte in b"\r\n\t" for byte in self._sample) / len(self._sample)
        if printable < READABLE:
            return LineWord(
                "bytes arrive, but they make no sense",
                f"check the baud rate: the profile says {self._profile.baud}, the device must agree",
            )
        line = re.split(rb"[\r\n]+", self._sample)[-2:][0].decode("ascii", "replace")[:60]
        return LineWord(
            f"text arrives, but no line fits the profile (like '{line}')", "correct the profile's columns and delimiter"
        )
