"""What stands between the bytes of a protocol and a piece, put together from a profile."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.units import Scale
from drivers.codec import Codec
from drivers.frames import FramesCodec
from drivers.profile import DeviceProfile
from drivers.registers import ModbusFormat
from drivers.text import TextCodec, TextFormat
from drivers.timebase import TimeBase

AS_IT_IS = Scale(1.0)


@dataclass(frozen=True, slots=True)
class Wiring:
    """Decoder, time base, and the scales from as-sent to N.m and deg."""

    codec: Codec
    timebase: TimeBase
    torque: Scale = AS_IT_IS
    angle: Scale = AS_IT_IS


def codec_for(profile: DeviceProfile) -> Codec:
    """A fresh decoder for the profile's protocol."""
    return wiring_for(profile).codec


def wiring_for(profile: DeviceProfile) -> Wiring:
    """A fresh decoder, time base and scales for the profile."""
    if profile.protocol == "text" and profile.text is not None:
        return _text_wiring(profile.text)
    if profile.protocol == "modbus" and profile.modbus is not None:
        return _modbus_wiring(profile.modbus)
    if profile.protocol == "frames":
        return Wiring(FramesCodec(), TimeBase("time", 1.0))
    raise ValueError(f"a profile of protocol '{profile.protocol}' needs its section")


def _modbus_wiring(layout: ModbusFormat) -> Wiring:
    from drivers.modbus import ModbusCodec  # its library is slow to import, and few devices need it

    # A device that is asked samples when it is asked: the moment of the question is the stamp.
    angle = layout.angle.scale if layout.angle else AS_IT_IS
    return Wiring(ModbusCodec(layout), TimeBase("time", 1.0), layout.torque.scale, angle)


def _text_wiring(layout: TextFormat) -> Wiring:
    torque, angle, time = layout.column("torque"), layout.column("angle"), layout.column("time")
    if torque is None or (time is None and layout.rate_hz is None):
        raise ValueError("a text layout needs a torque, and a time column or a rate")
    if time is not None:
        timebase = TimeBase("time", time.scale.factor)
    else:
        assert layout.rate_hz is not None
        timebase = TimeBase("counter" if layout.column("counter") else "place", 1 / layout.rate_hz)
    return Wiring(TextCodec(layout), timebase, torque.scale, angle.scale if angle else AS_IT_IS)
