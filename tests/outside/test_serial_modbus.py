"""Modbus against the world outside: published frames, and the server of the library itself."""

from __future__ import annotations

import asyncio
import os
import struct
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from analysis.trace import Trace, join
from analysis.units import Scale
from drivers.clock import SystemClock
from drivers.items import LineWarning, SourceItem
from drivers.modbus import ModbusCodec
from drivers.profile import DeviceProfile
from drivers.registers import ModbusFormat, Value
from drivers.source import open_source

ONE = Scale(1.0)


def codec(address: int, register: int, count: int) -> ModbusCodec:
    """Reads `count` registers: torque in the first, angle in the last."""
    torque = Value(register=register, type="uint16", scale=ONE)
    angle = Value(register=register + count - 1, type="uint16", scale=ONE)
    return ModbusCodec(ModbusFormat(address=address, rate_hz=10.0, torque=torque, angle=angle))


def test_the_published_question() -> None:
    """Read holding registers 108 to 110 (counted from 0: 107): MODBUS Application Protocol Specification V1.1b3, 6.3, as RTU
    behind address 0x11; the full frame is quoted in the tests of several open-source Modbus libraries."""
    assert codec(0x11, 107, 3).ask() == bytes.fromhex("11 03 00 6B 00 03 76 87")


def test_the_published_answer() -> None:
    """555, 0, 100: same source, 6.3; the CRC by the procedure of the Serial Line guide V1.02, 2.5.1.2."""
    device = codec(0x11, 107, 3)
    device.ask()
    readings = device.feed(bytes.fromhex("11 03 06 02 2B 00 00 00 64 C8 BA"))
    assert [(reading.torque, reading.angle) for reading in readings] == [(555.0, 100.0)]


def test_one_flipped_bit_in_the_published_question_is_no_answer() -> None:
    """The question with one bit changed: its CRC no longer fits."""
    device = codec(0x11, 107, 3)
    device.ask()
    assert device.feed(bytes.fromhex("11 03 00 6B 00 02 76 87")) == []
    device.ask()
    assert device.faults.garbled == 1


def test_the_published_refusal() -> None:
    """Exception 'illegal data address' to function 3: same source, 7."""
    device = codec(0x11, 107, 3)
    device.ask()
    assert device.feed(bytes.fromhex("11 83 02 C1 34")) == []
    assert "no such register" in device.refusal


@pytest.mark.parametrize(
    ("registers", "kind", "expected"),
    [("AE41 5652", "uint32", 2923517522), ("AE41 5652", "int32", -1371449774), ("AE41 5652", "float32", -4.395978e-11)],
)
def test_a_tutorial_example_of_two_registers(registers: str, kind: str, expected: float) -> None:
    """Two registers AE41 5652 read three ways: a public Modbus tutorial, from memory, recomputed."""
    assert decoded(registers, kind, "ABCD") == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("registers", "order"), [("47F1 2000", "ABCD"), ("2000 47F1", "CDAB"), ("F147 0020", "BADC"), ("0020 F147", "DCBA")]
)
def test_123456_in_the_usual_orders(registers: str, order: str) -> None:
    """123456.0 is 47 F1 20 00 in IEEE 754 binary32; the four orders as register devices use them (common practice, no source)."""
    assert decoded(registers, "float32", order) == 123456.0


def decoded(registers: str, kind: str, order: str) -> float:
    value = Value(register=0, type=kind, scale=ONE, order=order)  # type: ignore[arg-type]
    device = ModbusCodec(ModbusFormat(address=1, rate_hz=10.0, torque=value))
    device.ask()
    body = bytes((1, 3, 4)) + bytes.fromhex(registers)
    return device.feed(body + ModbusCodec(device.layout)._framer.compute_CRC(body).to_bytes(2, "big"))[0].torque


async def count_up(_code: int, start: int, _address: int, _count: int, registers: list[int], _set: object) -> None:
    """Each question finds the torque one higher (int32 in registers 10 and 11, low word first) and the angle one lower."""
    at = 10 - start
    torque = (registers[at] | registers[at + 1] << 16) + 1
    registers[at], registers[at + 1] = torque & 0xFFFF, torque >> 16
    registers[at + 2], registers[at + 3] = struct.unpack(">HH", struct.pack(">f", -float(torque)))


DEVICE = SimDevice(id=7, simdata=[SimData(10, values=[0xFFF0, 0, 0, 0], datatype=DataType.REGISTERS)], action=count_up)


@contextmanager
def served(make: type, **arguments: object) -> Iterator[object]:
    """The library's server in a thread of its own."""
    loop, up = asyncio.new_event_loop(), threading.Event()
    server: list[object] = []

    async def serve() -> None:
        server.append(make(DEVICE, framer=FramerType.RTU, **arguments))
        await server[0].serve_forever(background=True)
        up.set()
        await server[0].serving

    thread = threading.Thread(target=lambda: loop.run_until_complete(serve()), name="library server")
    thread.start()
    try:
        assert up.wait(10)
        yield server[0]
    finally:
        asyncio.run_coroutine_threadsafe(server[0].shutdown(), loop).result(10)
        thread.join(10)
        loop.close()


def read_from(port: str, seconds: float, register: int = 10) -> list[SourceItem]:
    torque = Value(register=register, type="int32", scale=Scale(0.5), order="CDAB")
    angle = Value(register=register + 2, type="float32", scale=Scale(0.25))
    layout = ModbusFormat(address=7, rate_hz=100.0, torque=torque, angle=angle)
    profile = DeviceProfile(name="library server", port=port, baud=115200, protocol="modbus", capacity_nm=1e5, modbus=layout)
    stop = threading.Event()
    ending = threading.Timer(seconds, stop.set)
    ending.start()
    try:
        return list(open_source(profile, SystemClock()).pieces(stop))
    finally:
        ending.cancel()
        ending.join()


def check(items: list[SourceItem]) -> None:
    whole = join(item for item in items if isinstance(item, Trace))
    assert len(whole) > 20
    first = whole.torque_nm[0]
    assert first >= 0xFFF0 * 0.5
    assert whole.torque_nm == pytest.approx(first + 0.5 * np.arange(len(whole)))
    assert whole.angle_deg == pytest.approx(-0.5 * whole.torque_nm)


def test_the_library_server_on_a_socket() -> None:
    """pymodbus' own server, RTU frames over TCP."""
    with served(ModbusTcpServer, address=("127.0.0.1", 0)) as server:
        port = server.transport.sockets[0].getsockname()[1]
        check(read_from(f"socket://127.0.0.1:{port}", 1.0))


def test_the_library_server_refuses_what_it_does_not_have() -> None:
    with served(ModbusTcpServer, address=("127.0.0.1", 0)) as server:
        port = server.transport.sockets[0].getsockname()[1]
        words = [item.what for item in read_from(f"socket://127.0.0.1:{port}", 4.5, register=500) if isinstance(item, LineWarning)]
    # Once; and what is understood well enough to be a refusal is no sign of a wrong baud rate.
    assert words == ["the device refuses to give its registers: it has no such register"]


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")
def test_the_library_server_on_pseudo_terminals() -> None:
    """Two pseudo-terminals, joined back to back: the library's serial server at one, our line at the other."""
    import pty
    import selectors
    import tty

    ends = [pty.openpty() for _ in range(2)]
    for _, slave in ends:
        tty.setraw(slave)
    over = threading.Event()

    def join_them() -> None:
        with selectors.DefaultSelector() as selector:
            for at in (0, 1):
                selector.register(ends[at][0], selectors.EVENT_READ, ends[1 - at][0])
            while not over.is_set():
                for key, _ in selector.select(0.05):
                    os.write(key.data, os.read(key.fd, 4096))

    bridge = threading.Thread(target=join_them, name="bridge")
    bridge.start()
    try:
        with served(ModbusSerialServer, port=os.ttyname(ends[0][1]), baudrate=115200):
            check(read_from(os.ttyname(ends[1][1]), 1.0))
    finally:
        over.set()
        bridge.join(5)
        for pair in ends:
            for end in pair:
                os.close(end)
