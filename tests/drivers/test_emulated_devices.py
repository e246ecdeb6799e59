"""What the simulated bench's electronics send, through the project's own decoders and against published frames."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.trace import EMPTY, Trace
from drivers.emulated.devices import TEXT_LAYOUT, FramesDevice, ModbusDevice, TextDevice, device_for, profile_text
from drivers.emulated.sensor import Sensor
from drivers.frames import FramesCodec
from drivers.modbus import ModbusCodec
from drivers.text import Column, TextCodec, TextFormat
from drivers.wiring import codec_for
from rig.files.profile import profile_of


def made(samples: int, rate_hz: float = 1000.0, from_s: float = 0.0) -> Trace:
    at = np.arange(samples)
    return Trace(from_s + at / rate_hz, np.round(50 * np.sin(at / 40), 3), np.round(at * 0.013, 3))


@pytest.mark.parametrize("port", ["/dev/pts/3", "socket://127.0.0.1:4711", "COM7"])
@pytest.mark.parametrize("protocol", ["text", "frames", "modbus"])
def test_the_profile_it_writes_is_one(protocol, port):
    text = profile_text(device_for(protocol, 500.0), port, Sensor(capacity_nm=100.0))
    profile = profile_of(tomllib.loads(text), "made.toml")
    assert (profile.port, profile.protocol, profile.capacity_nm) == (port, protocol, 100.0)
    assert codec_for(profile) is not None


def test_text_lines_carry_time_torque_and_angle():
    trace = made(100)
    readings = TextCodec(TEXT_LAYOUT).feed(TextDevice().speak(trace, b""))
    np.testing.assert_allclose([r.torque for r in readings], trace.torque_nm, atol=1e-9)
    np.testing.assert_allclose([r.angle for r in readings], trace.angle_deg, atol=1e-9)
    np.testing.assert_allclose([r.stamp for r in readings], trace.time_s * 1e6, atol=0.5)


def test_other_layouts_and_units_go_out():
    layout = TextFormat(
        columns=(Column("torque", "lbf.ft", "T"), Column("angle", "rad", "A")), delimiter=";", rate_hz=100.0, decimal=","
    )
    trace = Trace([0.0, 0.01], [13.558179, -1.0], [180.0, 0.0])
    readings = TextCodec(layout).feed(TextDevice(layout).speak(trace, b""))
    assert readings[0].torque == pytest.approx(10.0, abs=1e-3)  # 1 lbf.ft = 1.3558 N.m: trade notes, conversions
    assert readings[0].angle == pytest.approx(np.pi, abs=1e-3)


@pytest.mark.parametrize("rate_hz", [50.0, 1000.0, 10_000.0])
def test_frames_lose_nothing_however_they_are_handed_over(rate_hz):
    trace = made(3000, rate_hz)
    device, codec = FramesDevice(rate_hz), FramesCodec()
    readings, at = [], 0
    for size in [1, 7, 100, 250, 3, *[137] * 40]:
        readings += codec.feed(device.speak(trace.cut(at, min(at + size, 3000)), b""))
        at += size
    assert len(readings) == 3000
    assert codec.faults.total == 0
    np.testing.assert_allclose([r.torque for r in readings], trace.torque_nm, atol=1e-6)
    np.testing.assert_allclose([r.angle for r in readings], trace.angle_deg, atol=1e-6)
    stamps = np.array([r.stamp for r in readings])
    np.testing.assert_allclose(np.diff(stamps), 1 / rate_hz, atol=2e-6)


def test_frames_describe_themselves_again_for_those_who_come_late():
    device = FramesDevice(1000.0)
    device.speak(made(100), b"")
    codec = FramesCodec()
    late = [device.speak(made(10, from_s=0.1 + k / 100), b"") for k in range(100)]
    readings = codec.feed(b"".join(late))
    assert 400 <= len(readings) < 1000


@given(torque=st.floats(-190, 190), angle=st.floats(-9000, 9000))
def test_modbus_answers_what_the_decoder_asks(torque, angle):
    profile = profile_of(tomllib.loads(profile_text(ModbusDevice(), "COM1", Sensor())), "made.toml")
    layout = profile.modbus
    codec, device = ModbusCodec(layout), ModbusDevice()
    answer = device.speak(Trace([0.0], [torque], [angle]), codec.ask())
    (reading,) = codec.feed(answer)
    assert reading.torque * layout.torque.scale.factor == pytest.approx(torque, abs=6e-4)
    assert reading.angle * layout.angle.scale.factor == pytest.approx(angle, abs=6e-4)


def test_modbus_crc_is_the_published_one():
    """CRC-16/MODBUS over '123456789' is 0x4B37 (R. Williams' model, catalogue of parametrised CRC algorithms)."""
    answer = ModbusDevice().speak(EMPTY, b"\x01\x03\x00\x00\x00\x01\x84\x0a")  # this request with this CRC is in many manuals
    assert answer == b"\x01\x03\x02\x00\x00\xb8\x44"


@pytest.mark.parametrize(
    ("request_body", "code"),
    [(b"\x01\x06\x00\x00\x00\x01", 1), (b"\x01\x03\x00\x03\x00\x02", 2), (b"\x01\x03\x00\x00\x00\x00", 3)],
)
def test_modbus_refuses_by_the_standards_codes(request_body, code):
    """1: function not known, 2: no such register, 3: a count beyond limits (MODBUS Application Protocol V1.1b3, 7)."""
    device = ModbusDevice()
    crc = crc_of(request_body)
    answer = device.speak(EMPTY, request_body + crc)
    assert answer[:3] == bytes((1, request_body[1] | 0x80, code))
    assert answer[3:] == crc_of(answer[:3])


def test_modbus_keeps_silent_where_it_must():
    device = ModbusDevice()
    other = b"\x02\x03\x00\x00\x00\x01"
    assert device.speak(EMPTY, other + crc_of(other)) == b""  # not its address
    assert device.speak(EMPTY, b"\x01\x03\x00\x00\x00\x01\x84\x0b") == b""  # wrong CRC
    assert device.speak(EMPTY, b"\x01\x03\x00\x00\x00\x01\x84\x0a") != b""  # and finds back into step


def crc_of(message: bytes) -> bytes:
    """CRC-16/MODBUS by the library, for the test's own frames."""
    from pymodbus.framer.rtu import FramerRTU

    return FramerRTU.compute_CRC(message).to_bytes(2, "big")
