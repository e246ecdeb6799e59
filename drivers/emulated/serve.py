"""Serves the pretend bench in real time: bench -> encoder -> bad cable -> outlet. No clock of its own: it is handed in."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.trace import Trace
from drivers.clock import Clock
from drivers.codec import Reading
from drivers.emulated.bench import Bench
from drivers.emulated.faults import BadCable
from drivers.emulated.outlets import Outlet
from drivers.emulated.sensor import Sensor
from drivers.emulated.truth import PullTruth
from drivers.text import Column, TextFormat, encode_line

Over = Literal["pty", "socket"]
Encoder = Callable[[Trace], bytes]

CHUNK_S = 0.01
_MOST_AT_ONCE_S = 0.1  # after a stall of the computer the backlog goes out in portions, so that stopping stays prompt

TEXT_LAYOUT = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))


def text_encoder(layout: TextFormat = TEXT_LAYOUT) -> Encoder:
    """Encoder of text lines; torque and angle go out in the units of the layout, time as the device's own stamp."""
    scales = {column.kind: column.scale.factor for column in layout.columns}
    began = False

    def encode(trace: Trace) -> bytes:
        nonlocal began
        stamps = np.round(trace.time_s / scales["time"]).tolist() if "time" in scales else [None] * len(trace)
        angles = trace.torque_nm if trace.angle_deg is None else trace.angle_deg / scales.get("angle", 1.0)
        rows = zip((trace.torque_nm / scales["torque"]).tolist(), angles.tolist(), stamps, strict=True)
        lines = b"".join(encode_line(layout, Reading(*row)) for row in rows)
        first, began = (b"" if began else b"\r\n"), True
        return first + lines

    return encode


def profile_text(port: str, sensor: Sensor) -> str:
    """A device profile for the pretend bench on `port`, ready to be saved."""
    return (
        "# The pretend bench: invented pulls, no real unit.\n"
        "[device]\n"
        'name = "pretend bench"\n'
        f"port = '{port}'\n"
        'protocol = "text"\n'
        f'capacity = "{sensor.capacity_nm:g} N.m"\n'
        f'resolution = "{sensor.resolution_nm:g} N.m"\n'
        'u = "0.2%"\n'
        "[text]\n"
        'columns = ["time [us]", "torque [N.m]", "angle [deg]"]\n'
    )


@dataclass(slots=True)
class Tally:
    """What was done: samples sent, pulls finished."""

    samples: int = 0
    pulls: int = 0


def serve(
    bench: Bench,
    encode: Encoder,
    outlet: Outlet,
    clock: Clock,
    stop: threading.Event,
    *,
    cable: BadCable | None = None,
    tell: Callable[[PullTruth], None] = lambda truth: None,
    pulls: int | None = None,
) -> Tally:
    """Serve until `stop` is set or `pulls` pulls are over. Samples are counted against the clock, so the rate holds exactly."""
    tally = Tally()
    began_s = clock.now()
    plugged = True
    most = max(1, int(_MOST_AT_ONCE_S * bench.rate_hz))
    while not stop.is_set() and (pulls is None or tally.pulls < pulls):
        now_s = clock.now()
        due = int((now_s - began_s) * bench.rate_hz) + 1 - tally.samples
        chunk = b""
        if due > 0:
            trace = bench.take(min(due, most))
            tally.samples += len(trace)
            chunk = encode(trace)
        if cable is not None:
            chunk = cable.carry(chunk, now_s)
            plugged = _follow_plug(outlet, plugged, not cable.unplugged(now_s))
        if plugged:
            outlet.receive()
            outlet.offer(chunk, now_s)
        while bench.truths:
            tally.pulls += 1
            tell(bench.truths.pop(0))
        if due <= most:
            clock.wait_until(now_s + CHUNK_S, stop)
    return tally


def _follow_plug(outlet: Outlet, was_in: bool, is_in: bool) -> bool:
    if was_in and not is_in:
        outlet.unplug()
    elif is_in and not was_in:
        outlet.plug()
    return is_in
