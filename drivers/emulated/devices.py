"""What the simulated bench's electronics speak: samples in, bytes out, one class a protocol; and the profile that reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np

from analysis.trace import Trace
from drivers.codec import Reading
from drivers.emulated.sensor import Sensor
from drivers.frames import Description, encode_description, encode_samples
from drivers.text import Column, TextFormat, encode_line

TICK_S = 0.01
TEXT_LAYOUT = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))
COUNT_NM, COUNT_DEG = 0.001, 0.001
"""What one count of the binary protocols stands for."""
MODBUS_ADDRESS = 1


class Device(Protocol):
    """A device's voice. `tick_s`: how often it is given the chance to speak. `section` is its part of a device profile."""

    protocol: str
    tick_s: float
    section: str

    def speak(self, trace: Trace, heard: bytes) -> bytes:
        """What it sends on these new samples, having heard `heard`: whole lines or frames."""
        ...


def device_for(protocol: str, rate_hz: float) -> Device:
    """The device for a protocol of the profile."""
    made: dict[str, Callable[[], Device]] = {
        "text": TextDevice,
        "frames": lambda: FramesDevice(rate_hz),
        "modbus": ModbusDevice,
    }
    return made[protocol]()


def profile_text(device: Device, port: str, sensor: Sensor) -> str:
    """A device profile for the simulated bench on `port`, ready to be saved."""
    return (
        "# The simulated bench: invented pulls, no real unit.\n"
        "[device]\n"
        'name = "simulated bench"\n'
        f"port = '{port}'\n"
        f'protocol = "{device.protocol}"\n'
        f'capacity = "{sensor.capacity_nm:g} N.m"\n'
        f'resolution = "{sensor.resolution_nm:g} N.m"\n'
        'u = "0.2%"\n'
        f"{device.section}"
    )


class TextDevice:
    """Prints a line a sample; torque and angle in the units of the layout, time as its own stamp."""

    protocol = "text"
    tick_s = TICK_S
    section = '[text]\ncolumns = ["time [us]", "torque [N.m]", "angle [deg]"]\n'

    def __init__(self, layout: TextFormat = TEXT_LAYOUT) -> None:
        self.layout = layout
        self._scales = {column.kind: column.scale.factor for column in layout.columns}
        self._began = False

    def speak(self, trace: Trace, heard: bytes) -> bytes:
        """The lines of the samples; a bare line end first of all."""
        scales = self._scales
        stamps = np.round(trace.time_s / scales["time"]).tolist() if "time" in scales else [None] * len(trace)
        angles = trace.torque_nm if trace.angle_deg is None else trace.angle_deg / scales.get("angle", 1.0)
        rows = zip((trace.torque_nm / scales["torque"]).tolist(), angles.tolist(), stamps, strict=True)
        lines = b"".join(encode_line(self.layout, Reading(*row)) for row in rows)
        first, self._began = (b"" if self._began else b"\r\n"), True
        return first + lines


class FramesDevice:
    """Sends frames of several samples each, and its description at the start and twice a second."""

    protocol = "frames"
    tick_s = TICK_S
    section = ""

    DESCRIBES_EVERY_S = 0.5
    LONGEST_FRAME_S = 0.02

    def __init__(self, rate_hz: float) -> None:
        self.what = Description(
            torque_bytes=4,
            angle_bytes=4,
            period_ns=round(1e9 / rate_hz),
            torque_per_count=COUNT_NM,
            angle_per_count=COUNT_DEG,
            name="simulated bench",
        )
        self._most = max(1, min(self.what.most_samples, int(self.LONGEST_FRAME_S * rate_hz)))
        self._number = 0
        self._described_s: float | None = None

    def speak(self, trace: Trace, heard: bytes) -> bytes:
        """The frames of the samples."""
        sent = b"" if self._described_s is not None else b"\0"
        torques = np.round(trace.torque_nm / COUNT_NM).astype(int).tolist()
        angles = np.round((0 * trace.torque_nm if trace.angle_deg is None else trace.angle_deg) / COUNT_DEG).astype(int).tolist()
        counts = list(zip(torques, angles, strict=True))
        for first in range(0, len(counts), self._most):
            part = counts[first : first + self._most]
            last_s = float(trace.time_s[first + len(part) - 1])
            if self._described_s is None or last_s - self._described_s >= self.DESCRIBES_EVERY_S:
                sent += encode_description(self.what)
                self._described_s = last_s
            sent += encode_samples(self.what, self._number, round(last_s * 1e6), part)
            self._number += len(part)
        return sent


class ModbusDevice:
    """Answers reads of its registers (functions 3 and 4): 0-1 torque, 2-3 angle, 32 bits signed, high word first.

    Written from the specifications, not with the library that the decoder uses: MODBUS Application Protocol V1.1b3 (6.3, 6.4, 7)
    and MODBUS over Serial Line V1.02 (2.5.1, 6.2.2).
    """

    protocol = "modbus"
    tick_s = 0.002
    section = (
        f'[modbus]\naddress = {MODBUS_ADDRESS}\nrate = "50 Hz"\n'
        f'[modbus.torque]\nregister = 0\ntype = "int32"\nscale = "{COUNT_NM:g} N.m"\n'
        f'[modbus.angle]\nregister = 2\ntype = "int32"\nscale = "{COUNT_DEG:g} deg"\n'
    )

    _REGISTERS = 4
    _REQUEST = 8

    def __init__(self) -> None:
        self._registers = bytes(2 * self._REGISTERS)
        self._heard = b""

    def speak(self, trace: Trace, heard: bytes) -> bytes:
        """Answers to the requests heard, with the newest sample."""
        if len(trace):
            angle_deg = 0.0 if trace.angle_deg is None else float(trace.angle_deg[-1])
            counts = (round(float(trace.torque_nm[-1]) / COUNT_NM), round(angle_deg / COUNT_DEG))
            self._registers = b"".join(count.to_bytes(4, "big", signed=True) for count in counts)
        self._heard += heard
        answers = b""
        while len(self._heard) >= self._REQUEST:
            request = self._heard[: self._REQUEST]
            whole = _modbus_crc(request[:-2]) == request[-2:]
            self._heard = self._heard[self._REQUEST if whole else 1 :]
            if whole and request[0] == MODBUS_ADDRESS:
                answers += self._answer(request)
        return answers

    def _answer(self, request: bytes) -> bytes:
        function = request[1]
        first, count = int.from_bytes(request[2:4], "big"), int.from_bytes(request[4:6], "big")
        if function not in (3, 4):
            body = bytes((function | 0x80, 1))
        elif not 1 <= count <= 125:
            body = bytes((function | 0x80, 3))
        elif first + count > self._REGISTERS:
            body = bytes((function | 0x80, 2))
        else:
            body = bytes((function, 2 * count)) + self._registers[2 * first : 2 * (first + count)]
        answer = request[:1] + body
        return answer + _modbus_crc(answer)


def _modbus_crc(message: bytes) -> bytes:
    """CRC-16 of Modbus, low byte first (MODBUS over Serial Line V1.02, 6.2.2)."""
    crc = 0xFFFF
    for byte in message:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc.to_bytes(2, "little")
