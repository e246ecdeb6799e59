"""A group of bolts recorded at the window: the bench's sensor on a session of its own, so that no bolt is taken for a pull."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from analysis.errors import BenchError
from analysis.refit.bolt_pass import BoltPass
from analysis.refit.fasteners import BoltReading
from analysis.refit.limits import State
from analysis.results import Sensor
from drivers.items import ConnectionLost
from drivers.profile import DeviceProfile
from rig.live.line_tap import RawTap
from rig.live.news import Ended, Failed
from rig.live.runner import Bench
from rig.live.session import Session
from rig.refit.bolt_recording import Keeper, PassRecorder
from rig.refit.document import Fasteners
from rig.window.openers import Benches, source_of

FOLDER: Final = "bolts"
"""Where the traces of bolts go, below the folder of the pulls."""


class BoltRun:
    """A pass under way. `fault` is what ended or disturbs it, None while all is well."""

    def __init__(self, part: Fasteners, profile: DeviceProfile, benches: Benches, folder: Path) -> None:
        _, info = benches.sensors.of_line(profile, benches.info)
        self.part = part
        self.recorder = PassRecorder(Keeper(folder / FOLDER, part, info))
        self.fault: BenchError | None = None
        self.last: tuple[int, BoltReading, State] | None = None
        # The traces keep what the sensor sent; its certificate stands in their metadata and is applied on reading.
        self._bench = Bench(source_of(profile, RawTap()), Session(sensor=Sensor(capacity_nm=profile.capacity_nm)))
        self._folder = folder

    @property
    def done(self) -> BoltPass:
        """How far it is."""
        return self.recorder.done

    def tick(self) -> bool:
        """Take what the sensor has sent; whether anything is to be shown anew."""
        changed = False
        for item in self._bench.news():
            if isinstance(item, ConnectionLost | Failed):
                self.fault, changed = BenchError(item.what, remedy=item.remedy), True
            elif isinstance(item, Ended):
                self.fault, changed = BenchError("the line has ended", remedy="open it again, then go on with this pass"), True
        try:
            taken = self.recorder.feed(self._bench.scope(), self._bench.status.zero_nm)
        except BenchError as fault:
            self.fault = fault
            return True
        if taken:
            self.last, self.fault = taken[-1], None
        return changed or bool(taken)

    def names(self) -> list[str]:
        """The traces as a sheet beside them names them, "-" for a bolt that was not recorded."""
        return self.recorder.keeper.names(self.done, self._folder)

    def close(self) -> None:
        """Let go of the line."""
        self._bench.close()
