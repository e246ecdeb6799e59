"""Serves the simulated bench in real time: bench -> device -> bad cable -> outlet. No clock of its own: it is handed in."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from analysis.trace import EMPTY
from drivers.clock import Clock
from drivers.emulated.bench import Bench
from drivers.emulated.devices import TICK_S, Device
from drivers.emulated.faults import BadCable
from drivers.emulated.truth import PullTruth
from drivers.outlets import Outlet

CHUNK_S = TICK_S
_MOST_AT_ONCE_S = 0.1  # after a stall of the computer the backlog goes out in portions, so that stopping stays prompt


@dataclass(slots=True)
class Tally:
    """What was done: samples sent, pulls finished."""

    samples: int = 0
    pulls: int = 0


def serve(
    bench: Bench,
    device: Device,
    outlet: Outlet,
    clock: Clock,
    stop: threading.Event,
    *,
    cable: BadCable | None = None,
    tell: Callable[[PullTruth], None] = lambda truth: None,
    pulls: int | None = None,
    wait_for_reader: bool = False,
) -> Tally:
    """Serve until `stop` is set or `pulls` pulls are over. Samples are counted against the clock, so the rate holds exactly.

    `wait_for_reader`: the bench stands still until somebody opens the port, so that no pull is over before it can be read.
    """
    tally = Tally()
    while wait_for_reader and not stop.is_set() and not outlet.is_read(clock.now()):
        clock.wait_until(clock.now() + device.tick_s, stop)
    began_s = clock.now()
    plugged = True
    most = max(1, int(_MOST_AT_ONCE_S * bench.rate_hz))
    while not stop.is_set() and (pulls is None or tally.pulls < pulls):
        now_s = clock.now()
        due = int((now_s - began_s) * bench.rate_hz) + 1 - tally.samples
        trace = bench.take(min(due, most)) if due > 0 else EMPTY
        tally.samples += len(trace)
        chunk = device.speak(trace, outlet.receive() if plugged else b"")
        if cable is not None:
            chunk = cable.carry(chunk, now_s)
            plugged = _follow_plug(outlet, plugged, not cable.unplugged(now_s))
        if plugged:
            outlet.offer(chunk, now_s)
        while bench.truths:
            tally.pulls += 1
            tell(bench.truths.pop(0))
        if due <= most:
            clock.wait_until(now_s + device.tick_s, stop)
    return tally


def _follow_plug(outlet: Outlet, was_in: bool, is_in: bool) -> bool:
    if was_in and not is_in:
        outlet.unplug()
    elif is_in and not was_in:
        outlet.plug()
    return is_in
