"""Which registers of a Modbus device hold what: the layout, as a profile states it. No protocol library is loaded for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.units import Scale

Function = Literal["holding", "input"]
ValueType = Literal["int16", "uint16", "int32", "uint32", "float32", "float64"]
Order = Literal["ABCD", "CDAB", "BADC", "DCBA"]

MOST_REGISTERS = 125
"""That many a device may send at once (V1.1b3, 6.3)."""
_REGISTERS: dict[ValueType, int] = {"int16": 1, "uint16": 1, "int32": 2, "uint32": 2, "float32": 2, "float64": 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A value in registers: the first of them as the protocol counts (from 0), its type, the order of its bytes, its unit.

    `scale` is of one count: from the number as read to N.m or deg. `overload` is the number that means 'beyond the range'.
    `order`: ABCD has the high word first, CDAB the low word; BADC and DCBA are these with the bytes of each word swapped.
    """

    register: int
    type: ValueType
    scale: Scale
    order: Order = "ABCD"
    overload: float | None = None

    @property
    def registers(self) -> int:
        """How many registers it takes."""
        return _REGISTERS[self.type]


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusFormat:
    """Who is asked what, and how often. `angle` is None where there is none.

    `timeout_s` is how long an answer is waited for; longer than anything on the way may hold it back.
    """

    address: int
    rate_hz: float
    torque: Value
    angle: Value | None = None
    function: Function = "holding"
    timeout_s: float = 0.5

    @property
    def first(self) -> int:
        """The lowest register asked for."""
        return min(value.register for value in self.values)

    @property
    def count(self) -> int:
        """How many registers are asked for, in one request."""
        return max(value.register + value.registers for value in self.values) - self.first

    @property
    def values(self) -> tuple[Value, ...]:
        """Torque and, where there is one, angle."""
        return (self.torque,) if self.angle is None else (self.torque, self.angle)
