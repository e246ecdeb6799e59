"""The gauge of a calibration: a device on its line, opened for as long as its loads are weighed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from datetime import date

from analysis.results import Sensor
from drivers.clock import SystemClock
from drivers.profile import DeviceProfile
from drivers.source import open_source
from rig.calibration.point_taker import Gauge
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.live.news import News
from rig.live.runner import Bench
from rig.live.session import Session


@contextlib.contextmanager
def open_gauge(profile: DeviceProfile, tell: Callable[[News], None], today: date, *, under_test: bool) -> Iterator[Gauge]:
    """Open the device's line. One under test reads as it sends; a reference with its own certificate applied."""
    bare, clock = Sensor(capacity_nm=profile.capacity_nm), SystemClock()
    sensor = bare if under_test else SensorChoice(today).of_line(profile, TraceInfo())[0]
    with Bench(open_source(profile, clock), Session(sensor=sensor)) as bench:
        yield Gauge(bench, profile.capacity_nm, clock, tell)
