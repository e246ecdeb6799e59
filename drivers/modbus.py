"""Modbus RTU: a device that is asked for its registers. Messages and their check by pymodbus; no port in here.

The only importer of pymodbus, of which framing and messages are used, not the client: the line stays ours, with its care for
unplugging, recording and permissions. Sources: MODBUS Application Protocol Specification V1.1b3; MODBUS over Serial Line
Specification and Implementation Guide V1.02.
"""

from __future__ import annotations

import logging
import math

from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.exceptions import ModbusException
from pymodbus.framer.rtu import FramerRTU
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from drivers.codec import BEYOND_REASON, Reading, WireFaults
from drivers.registers import Function, ModbusFormat, Value, ValueType

# The library logs every frame that is not whole; we count instead.
logging.getLogger("pymodbus").addHandler(logging.NullHandler())

_CODES: dict[Function, int] = {"holding": 3, "input": 4}
_REFUSALS = {
    1: "it does not know this way of reading registers",
    2: "it has no such register",
    3: "it does not give so many registers at once",
    4: "it reports a failure of its own",
    6: "it is busy",
}
"""Exception codes (V1.1b3, 7)."""


class ModbusCodec:
    """Answers to readings, in the numbers of the registers. `ask` gives the next request; one is under way at a time.

    `answered` tells whether the last request was; `refusal` why the device refused it, '' if it did not.
    """

    def __init__(self, layout: ModbusFormat) -> None:
        self.layout = layout
        self.faults = WireFaults()
        self.period_s = 1 / layout.rate_hz
        self.timeout_s = layout.timeout_s
        self.answered = True
        self.refusal = ""
        self._framer = FramerRTU(DecodePDU(is_server=False))
        self._rest = b""
        self._junk = False
        request = {"holding": ReadHoldingRegistersRequest, "input": ReadInputRegistersRequest}[layout.function]
        self._request = self._framer.buildFrame(request(dev_id=layout.address, address=layout.first, count=layout.count))
        self._code = _CODES[layout.function]
        self.answer_bytes = 5 + 2 * layout.count

    def ask(self) -> bytes:
        """The next request. A last one without an answer counts as a lost sample, a half answer as garbled."""
        if self._rest:
            self.faults.garbled += 1
        elif not self.answered:
            self.faults.lost += 1
        self._rest, self._junk, self.answered = b"", False, False
        return self._request

    def restart(self) -> None:
        """Forget the answer under way: the line was opened anew."""
        self._rest, self._junk, self.answered = b"", False, True

    def feed(self, data: bytes) -> list[Reading]:
        """Take the next bytes; return the reading they complete. Bytes that are no answer are skipped and counted once a run."""
        self._rest += data
        readings: list[Reading] = []
        while self._rest:
            size = self._expected()
            if size is None:
                break
            frame, message = self._rest[:size], None
            if size and frame != self._request:
                message = self._checked(frame)
            if frame == self._request and size:
                self._rest = self._rest[size:]  # an adapter on a two-wire bus hears what it sends
            elif message is not None:
                self._rest, self._junk = self._rest[size:], False
                self._take(message, readings)
            else:
                self.faults.garbled += not self._junk
                self._junk = True
                self._rest = self._rest[1:]
        return readings

    def _expected(self) -> int | None:
        """Size of the frame that begins here; 0 if none can; None if more bytes are needed to tell or to complete it."""
        rest = self._rest
        for head, size in (
            (bytes((self.layout.address, self._code, 2 * self.layout.count)), self.answer_bytes),
            (bytes((self.layout.address, self._code | 0x80)), 5),
            (self._request, len(self._request)),
        ):
            if rest.startswith(head[: len(rest)]):
                return size if len(rest) >= size else None
        return 0

    def _checked(self, frame: bytes) -> ModbusPDU | None:
        try:
            _, message = self._framer.handleFrame(frame, self.layout.address, 0)
        except ModbusException:
            return None
        # The library hunts on inside the frame; what it finds there must still be the answer to our question.
        fits = message is not None and (isinstance(message, ExceptionResponse) or len(message.registers) == self.layout.count)
        return message if fits else None

    def _take(self, message: ModbusPDU, readings: list[Reading]) -> None:
        self.answered = True
        if isinstance(message, ExceptionResponse):
            self.faults.garbled += 1
            self.refusal = _REFUSALS.get(message.exception_code, f"exception code {message.exception_code}")
            return
        self.refusal = ""
        numbers = [_number(value, list(message.registers), self.layout.first) for value in self.layout.values]
        torque = self.layout.torque
        if torque.overload is not None and numbers[0] == torque.overload:
            self.faults.overload += 1
            numbers[0] = math.copysign(math.inf, numbers[0] * torque.scale.factor)
        elif not all(abs(number) < BEYOND_REASON for number in numbers):
            self.faults.garbled += 1
            return
        readings.append(Reading(numbers[0], numbers[1] if len(numbers) > 1 else None))


def _data_type(kind: ValueType) -> ModbusClientMixin.DATATYPE:
    return ModbusClientMixin.DATATYPE[kind.upper()]


def _number(value: Value, registers: list[int], first: int) -> float:
    """The number that stands in the registers, by the value's type and order."""
    own = registers[value.register - first : value.register - first + value.registers]
    if value.order in ("BADC", "DCBA"):
        own = [(word & 0xFF) << 8 | word >> 8 for word in own]
    low_first = value.order in ("CDAB", "DCBA")
    number = ModbusClientMixin.convert_from_registers(own, _data_type(value.type), "little" if low_first else "big")
    assert isinstance(number, (int, float))
    return float(number)
