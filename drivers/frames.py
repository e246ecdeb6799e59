"""Frames: a compact binary protocol of our own for fast sensors. Decoder and encoder, both pure.

What a sender must do
---------------------
All numbers are little-endian, two's complement where signed, IEEE 754 binary32 where floating. A *frame* on the wire is

    COBS( body, CRC low byte, CRC high byte ), 0x00

COBS is Consistent Overhead Byte Stuffing (Cheshire and Baker, IEEE/ACM Trans. Netw. 7, 1999), so 0x00 ends a frame and
stands nowhere else. The CRC covers the body: polynomial 0x1021, initial value 0xFFFF, most significant bit first, no final
exclusive-or (CRC-16/IBM-3740; over the ASCII text "123456789" it is 0x29B1; `_crc_xmodem_update` of avr-libc started at
0xFFFF computes it). Body and CRC together are at most 254 bytes, so that stuffing adds exactly one byte. Send one 0x00 when
starting: it ends whatever noise came before. A body is one of two:

Description, at the start and then at least once a second, between sample frames:

    offset  size  what
    0       1     0x44 ('D')
    1       1     1, the version of this protocol
    2       1     bytes of a torque count: 2 or 4
    3       1     bytes of an angle count: 2 or 4, or 0 where there is no angle
    4       4     unsigned: nominal sampling period in nanoseconds, above 0
    8       4     float: torque of one count, in the unit below; not 0
    12      4     float: angle of one count, in the unit below; 0 where there is no angle
    16      ...   ASCII text "TORQUE UNIT;ANGLE UNIT;NAME", for example "N.m;deg;bench 1"; at most 64 bytes.
                  The angle unit is empty where there is no angle.

Samples, one or more a frame, in the order of their time:

    0       1     0x53 ('S')
    1       2     unsigned: number of the first sample in this frame; counts samples from any start, rolls over at 65536
    3       4     unsigned: device time of the LAST sample in this frame in microseconds, rolls over at 2**32
    7       ...   samples, each a signed torque count followed by a signed angle count if there is one

The largest and the smallest torque count that fit (0x7FFF and 0x8000, or 0x7FFFFFFF and 0x80000000) mean 'sensor beyond its
range' to either side, as a converter at its stop gives them by itself. Counts carry the sign of the direction of turning.
An angle count must not roll over during a session. Sampling is even; a frame holds samples without a hole. Where samples
were dropped in the device, the number of the next frame tells. The device time is taken for the time base, so stamp from a
crystal if there is one. With 4-byte counts of torque and angle at most 30 samples fit a frame. A frame should not cover
more than 20 ms, so that the screen keeps up with the hand.

An example to check a sender against. A device "bench 1" of 500 samples a second, with 2-byte counts of 0.0625 N.m and of
0.25 deg, describes itself, and sends samples 0 and 1, 10 N.m at 1 deg and -1 N.m at 0 deg, the last of them at 4000 us:

    08 44 01 02 02 80 84 1e 01 01 03 80 3d 01 14 80 3e 4e 2e 6d 3b 64 65 67 3b 62 65 6e 63 68 20 31 9b 8f 00
    02 53 01 03 a0 0f 01 02 a0 02 04 03 f0 ff 01 03 31 56 00

What the decoder does
---------------------
A frame whose CRC or length is wrong, or that repeats one of the last 64, is dropped and counted. The CRC lets through no error
of one, two or three bits and no burst of up to 16 bits, unless the error hits the stuffing itself; of other errors one in
65536. Samples before the first description are of no use and ignored. A changed description holds once it came twice alike.
Samples lie evenly between the device time of the previous frame and of this one; after a hole they lie at the period so far
before this one.
"""

from __future__ import annotations

import math
import struct
from binascii import crc_hqx
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from cobs import cobs

from analysis.errors import UnitError
from analysis.units import Scale, scale_to_si
from drivers.codec import Reading, WireFaults

LONGEST_BODY = 252
LONGEST_TEXT = 64
LONGEST_HOLE_S = 300.0
"""A longer hole is no hole but a clock that was set."""
RECENT_FRAMES = 64
VERSION = 1
_LONGEST_ON_WIRE = LONGEST_BODY + 2 + 1
_CRC_START = 0xFFFF
_DESCRIPTION = struct.Struct("<BBBBIff")
_SAMPLES = struct.Struct("<BHI")
_WIDTHS = {2: "h", 4: "i"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """What a sender says of itself. `angle_bytes` 0: no angle. Scales are of one count, in the unit named."""

    torque_bytes: int
    angle_bytes: int
    period_ns: int
    torque_per_count: float
    angle_per_count: float = 0.0
    torque_unit: str = "N.m"
    angle_unit: str = "deg"
    name: str = ""

    @property
    def sample(self) -> struct.Struct:
        """Layout of one sample."""
        return struct.Struct("<" + _WIDTHS[self.torque_bytes] + _WIDTHS.get(self.angle_bytes, ""))

    @property
    def torque_scale(self) -> Scale:
        """From counts to N.m. Raises UnitError."""
        return Scale(self.torque_per_count * scale_to_si(self.torque_unit, "torque").factor)

    @property
    def angle_scale(self) -> Scale:
        """From counts to deg. Raises UnitError."""
        return Scale(self.angle_per_count * scale_to_si(self.angle_unit, "angle").factor if self.angle_bytes else 0.0)

    @property
    def highest(self) -> int:
        """The torque count that means 'beyond the range'; the one below zero is `-highest - 1`."""
        return int(2 ** (8 * self.torque_bytes - 1) - 1)

    @property
    def most_samples(self) -> int:
        """How many samples fit a frame."""
        return (LONGEST_BODY - _SAMPLES.size) // self.sample.size


def frame(body: bytes) -> bytes:
    """A body as it goes over the wire, with its end."""
    if len(body) > LONGEST_BODY:
        raise ValueError(f"a body has at most {LONGEST_BODY} bytes, not {len(body)}")
    stuffed: bytes = cobs.encode(body + crc_hqx(body, _CRC_START).to_bytes(2, "little"))  # type: ignore[no-untyped-call]
    return stuffed + b"\0"


def encode_description(what: Description) -> bytes:
    """The description frame."""
    head = _DESCRIPTION.pack(
        ord("D"), VERSION, what.torque_bytes, what.angle_bytes, what.period_ns, what.torque_per_count, what.angle_per_count
    )
    text = ";".join((what.torque_unit, what.angle_unit if what.angle_bytes else "", what.name))
    return frame(head + text.encode("ascii")[:LONGEST_TEXT])


def encode_samples(what: Description, number: int, last_us: int, counts: Sequence[tuple[int, ...]]) -> bytes:
    """A sample frame: counts of torque (and angle), the number of the first sample, the time of the last one.

    Torque counts beyond what fits become 'beyond the range'; number and time roll over by themselves.
    """
    head = _SAMPLES.pack(ord("S"), number % 2**16, last_us % 2**32)
    top, pack = what.highest, what.sample.pack
    return frame(head + b"".join(pack(min(max(torque, -top - 1), top), *angle) for torque, *angle in counts))


def decode_description(body: bytes) -> Description | None:
    """The description in a body whose CRC was right; None if it makes no sense."""
    if not _DESCRIPTION.size < len(body) <= _DESCRIPTION.size + LONGEST_TEXT:
        return None
    _, version, torque_bytes, angle_bytes, period_ns, torque_per_count, angle_per_count = _DESCRIPTION.unpack_from(body)
    try:
        torque_unit, angle_unit, name = body[_DESCRIPTION.size :].decode("ascii").split(";", 2)
    except ValueError:
        return None
    scales = (torque_per_count, angle_per_count if angle_bytes else 1.0)
    if version != VERSION or torque_bytes not in _WIDTHS or angle_bytes not in (0, *_WIDTHS) or period_ns == 0:
        return None
    if not all(scale and 1e-20 < abs(scale) < 1e6 for scale in scales):
        return None
    what = Description(
        torque_bytes=torque_bytes,
        angle_bytes=angle_bytes,
        period_ns=period_ns,
        torque_per_count=torque_per_count,
        angle_per_count=angle_per_count,
        torque_unit=torque_unit,
        angle_unit=angle_unit,
        name=name,
    )
    try:
        _ = what.torque_scale, what.angle_scale
    except UnitError:
        return None
    return what


class FramesCodec:
    """Frames to readings in N.m, deg and device seconds (the device's units are in its description)."""

    def __init__(self) -> None:
        self.faults = WireFaults()
        self.description: Description | None = None
        self._claimed: Description | None = None
        self._rest = b""
        self._in_step = False
        self._next_number: int | None = None
        self._last_us = 0
        self._time_us = 0
        self._period_us = 0.0
        self._recent: deque[bytes] = deque(maxlen=RECENT_FRAMES)

    def restart(self) -> None:
        """Forget the unfinished rest: the line was opened anew."""
        self._rest, self._in_step, self._next_number = b"", False, None
        self._recent.clear()

    def feed(self, data: bytes) -> list[Reading]:
        """Take the next bytes; return the readings they complete."""
        *frames, rest = (self._rest + data).split(b"\0")
        readings: list[Reading] = []
        for each in frames:
            if each:
                self._take(each, readings)
            self._in_step = True
        self._rest = rest
        if len(rest) > _LONGEST_ON_WIRE + 1:
            # Too long already, however it ends: keep one byte more than fits, so that its end is told as overlong too.
            self._rest = rest[: _LONGEST_ON_WIRE + 1]
        return readings

    def _take(self, stuffed: bytes, readings: list[Reading]) -> None:
        if len(stuffed) > _LONGEST_ON_WIRE:
            self.faults.overlong += self._in_step
            return
        body = _checked(stuffed)
        if body is None:
            # What stands before the first end may be the rest of a frame: no fault of the wire.
            self.faults.garbled += self._in_step
        elif body[0] == ord("D"):
            self._describe(body)
        elif body[0] == ord("S") and self.description is None:
            self.faults.ignored += 1
        elif body[0] != ord("S") or body in self._recent or not self._sample(body, readings):
            self.faults.garbled += 1  # a frame that came before brings nothing new
        else:
            self._recent.append(body)

    def _describe(self, body: bytes) -> None:
        what = decode_description(body)
        if what is None:
            self.faults.garbled += 1
            return
        # A frame that slipped through the CRC must not change the scale of everything after it.
        if self.description is None or what == self._claimed:
            self.description, self._period_us = what, what.period_ns / 1000
            self._unpack, self._highest = what.sample.iter_unpack, what.highest
            self._torque, self._angle = what.torque_scale.factor, what.angle_scale.factor
        self._claimed = what

    def _sample(self, body: bytes, readings: list[Reading]) -> bool:
        """Add the frame's samples; False if its length does not fit the description."""
        what = self.description
        assert what is not None
        _, number, last_us = _SAMPLES.unpack_from(body) if len(body) > _SAMPLES.size else (0, 0, 0)
        count, rest = divmod(len(body) - _SAMPLES.size, what.sample.size)
        if count < 1 or rest:
            return False
        step_us = self._step_us(what, number, last_us, count)
        first_us = self._time_us - step_us * (count - 1)
        counts = list(self._unpack(body[_SAMPLES.size :]))
        torques = [sample[0] * self._torque for sample in counts]
        angles = [sample[1] * self._angle for sample in counts] if what.angle_bytes else [None] * count
        for at, sample in enumerate(counts):
            if sample[0] == self._highest or sample[0] == -self._highest - 1:
                self.faults.overload += 1
                torques[at] = math.copysign(math.inf, torques[at])
        stamps = [(first_us + at * step_us) * 1e-6 for at in range(count)]
        readings.extend(map(Reading, torques, angles, stamps))
        return True

    def _step_us(self, what: Description, number: int, last_us: int, count: int) -> float:
        """Go on to this frame's time and number; count what is missing; return the period of its samples."""
        nominal_us = what.period_ns / 1000
        passed_us = (last_us - self._last_us + 2**31) % 2**32 - 2**31
        missing = 0 if self._next_number is None else (number - self._next_number) % 2**16
        known = self._next_number is not None
        self._next_number, self._last_us = (number + count) % 2**16, last_us
        self._time_us += passed_us
        if not known or passed_us <= 0:
            return self._period_us
        if missing == 0 and 0.5 < passed_us / count / nominal_us < 2:
            self._period_us += (passed_us / count - self._period_us) / 64
            return passed_us / count
        # Time tells how often the number rolled over in the hole, and whether the device restarted instead.
        by_time = passed_us / self._period_us - count
        missing += round((by_time - missing) / 2**16) * 2**16
        if passed_us < LONGEST_HOLE_S * 1e6 and abs(missing - by_time) <= 2 + 0.002 * by_time:
            self.faults.lost += missing
        return min(self._period_us, passed_us / count)


def _checked(stuffed: bytes) -> bytes | None:
    """The body of a frame; None if stuffing or CRC are wrong or nothing is inside."""
    try:
        whole: bytes = cobs.decode(stuffed)  # type: ignore[no-untyped-call]
    except cobs.DecodeError:
        return None
    body, crc = whole[:-2], whole[-2:]
    if not body or crc_hqx(body, _CRC_START) != int.from_bytes(crc, "little"):
        return None
    return body
