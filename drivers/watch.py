"""What the user should know while the line works: unreadable bytes, overload, refusals, a clock that jumped or is off."""

from __future__ import annotations

import re
from collections.abc import Iterator

from drivers.codec import PolledCodec
from drivers.guess import seven_bits
from drivers.profile import DeviceProfile
from drivers.wiring import Wiring, codec_for

JUDGE_EVERY_S = 2.0
READABLE = 0.9
"""Share of printable bytes below which what arrives is not text: at a wrong baud rate about a third is printable."""
DIGITS = 0.1
"""Share of digits below which text is hardly a row of samples: read at half its rate, text stays printable but has no digits."""
LEAST_BYTES = 16
"""Fewer say nothing."""

Words = tuple[str, str]
"""What is the matter, and how to fix it."""


class LineWatch:
    """Fed with what was read; gives each finding once, and again only after it was over."""

    def __init__(self, profile: DeviceProfile) -> None:
        self._profile = profile
        self._from_s: float | None = None
        self._readings = 0
        self._garbled = 0
        self._sample = b""
        self._unread_told = False
        self._overload_until_s = -1.0
        self._overload = 0
        self._jumps = 0
        self._rate_told = False
        self._refusal = ""

    def words(self, data: bytes, readings: int, wiring: Wiring, now_s: float) -> Iterator[Words]:
        """What the bytes just read give reason to say."""
        self._from_s = now_s if self._from_s is None else self._from_s
        self._readings += readings
        self._sample = (self._sample + data)[-256:]
        if now_s - self._from_s >= JUDGE_EVERY_S:
            faults = wiring.codec.faults
            unread = self._readings == 0 or self._readings < faults.garbled - self._garbled
            refused = isinstance(wiring.codec, PolledCodec) and bool(wiring.codec.refusal)
            if unread and len(self._sample) >= LEAST_BYTES and not self._unread_told and not refused:
                yield self._unread(wiring)
            self._unread_told = unread
            self._from_s, self._readings, self._garbled, self._sample = now_s, 0, faults.garbled, b""
        yield from self._of_the_device(wiring, now_s)

    def _of_the_device(self, wiring: Wiring, now_s: float) -> Iterator[Words]:
        codec, timebase = wiring.codec, wiring.timebase
        if codec.faults.overload > self._overload:
            if now_s > self._overload_until_s:
                yield "the device says its sensor is overloaded", "let go; check the sensor's zero before the next pull"
            self._overload, self._overload_until_s = codec.faults.overload, now_s + JUDGE_EVERY_S
        if timebase.jumps > self._jumps:
            self._jumps = timebase.jumps
            yield "the device's clock or counter jumped", "it may have restarted; check its power and plug"
        if timebase.off_rate is not None and not self._rate_told:
            self._rate_told = True
            what = f"the device's time runs {timebase.off_rate:.3g} times as fast as the computer's"
            yield what, "check rate and time unit in the profile"
        # The protocol comes first: to ask whether an object is a PolledCodec is dear, and this is asked at each piece.
        if self._profile.protocol == "modbus" and isinstance(codec, PolledCodec) and codec.refusal != self._refusal:
            self._refusal = codec.refusal
            if codec.refusal:
                yield f"the device refuses to give its registers: {codec.refusal}", "check register, type and function in [modbus]"

    def _unread(self, wiring: Wiring) -> Words:
        """Bytes came, but no sample, or more lines that are none than samples."""
        baud = f"check the baud rate: the profile says {self._profile.baud} {self._profile.bits}, the device must agree"
        if wiring.codec.faults.ignored and not wiring.codec.faults.garbled:
            return "what arrives is not what the profile wants", "check its tag; a sender of frames must repeat its description"
        bits = seven_bits(self._sample)
        if bits is not None and self._profile.protocol == "text":
            return "the characters carry a parity bit", f'set bits = "{bits}" in the profile'
        if self._profile.protocol != "text" or not self._is_text():
            return "bytes arrive, but they make no sense", baud
        fits = "no line fits" if self._readings == 0 else "most lines do not fit"
        columns = "correct its columns, or let 'platepull guess' look"
        digits = sum(48 <= byte < 58 for byte in self._sample)
        remedy = columns if digits >= DIGITS * len(self._sample) else f"{baud}; where it does, {columns}"
        return f"text arrives, but {fits} the profile (like '{self._odd_line()}')", remedy

    def _is_text(self) -> bool:
        return sum(32 <= byte < 127 or byte in b"\r\n\t" for byte in self._sample) >= READABLE * len(self._sample)

    def _odd_line(self) -> str:
        """A line as it came that is no sample, for the eye."""
        lines = re.split(rb"[\r\n]+", self._sample)[1:-1] or [self._sample]
        odd = next((line for line in lines if line and not codec_for(self._profile).feed(b"\n" + line + b"\n")), lines[-1])
        return "".join(char if char.isprintable() else "?" for char in odd.decode("utf-8", "replace"))[:60]
