"""Recording a group of bolts for a refit sheet: what `platepull refit REFIT.toml --record GROUP` does."""

from __future__ import annotations

import argparse
import sys
from collections import deque
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import ArgumentError
from rig.words.language import say
from rig.words.retold import retold_each

if TYPE_CHECKING:
    from rig.refit.document import Fasteners, RefitSheet


def add_options(parser: argparse.ArgumentParser) -> None:
    """The options of it."""
    parser.add_argument("--record", metavar="GROUP", help="record the last pass of a group from the sensor, bolt by bolt")
    parser.add_argument("--device", metavar="PROFILE.toml", help="the sensor to record from (or 'device' in the settings)")
    parser.add_argument("--out", metavar="FOLDER", type=Path, help="where the traces go ('bolts' beside the sheet)")


def group_of(sheet: RefitSheet, name: str) -> Fasteners:
    """The group of that name. Raises ArgumentError."""
    for part in sheet.fasteners:
        if part.name == name:
            return part
    known = ", ".join(f"'{part.name}'" for part in sheet.fasteners) or "none"
    raise ArgumentError(f"there is no group of fasteners '{name}'", where="--record", remedy=f"the sheet has {known}")


def record(args: argparse.Namespace) -> int:
    """Record a group; 0 where every bolt stands, 4 where one does not."""
    from datetime import date

    from analysis.refit.limits import State
    from analysis.results import Sensor
    from drivers.clock import SystemClock
    from drivers.items import ConnectionLost, LineUp, LineWarning
    from drivers.source import open_source
    from rig.calibration.sensor_in_use import SensorChoice
    from rig.commands._chosen import software
    from rig.commands._ending import asked_to_end
    from rig.commands._watch import terminal_of
    from rig.files.metadata import TraceInfo
    from rig.files.profile import read_profile
    from rig.live.news import Failed
    from rig.live.runner import Bench
    from rig.live.session import Session
    from rig.refit.bolt_recording import Keeper, record_pass
    from rig.refit.document import read_refit
    from rig.refit.words import APPLIED_ONLY
    from rig.settings import load_settings, profile_path

    if len(args.sheets) != 1:
        raise ArgumentError("one sheet is recorded at a time", where="--record", remedy="name one")
    path, settings = Path(args.sheets[0]), load_settings()
    part = group_of(read_refit(path).value, args.record)
    if part.single_use and part.state == "reused":
        raise ArgumentError("these fasteners hold once and are used again", where="--record", remedy="fit new ones")
    device = args.device or settings.device
    if device is None:
        raise ArgumentError("no sensor is named", where="--device", remedy="name its profile")
    profile = read_profile(profile_path(device))
    stated = TraceInfo(series=part.name, who=settings.who, software=software())
    _, info = SensorChoice(date.today(), usual_u=settings.u).of_line(profile, stated)
    keeper = Keeper(args.out or path.parent / "bolts", part, info)
    terminal, clock = terminal_of("N.m", large=False), SystemClock()

    def tell(item: object) -> None:
        if isinstance(item, LineUp | ConnectionLost | LineWarning | Failed):  # a bolt looks like a pull: no word of that
            terminal.show(item)

    # The traces keep what the sensor sent; its certificate stands in their metadata and is applied on reading.
    bare = Session(sensor=Sensor(capacity_nm=profile.capacity_nm))
    typed = _Typed()
    with asked_to_end() as enough, Bench(open_source(profile, clock), bare) as bench:
        print(say("Type b and Enter to pull the last bolt again; Ctrl-C ends, what was taken is kept."))
        done = record_pass(bench, keeper, clock, say=_say, tell=tell, asked_to_end=enough, typed=typed.lines)
    names = ", ".join(f'"{name}"' for name in keeper.names(done, path.parent))
    print(say(APPLIED_ONLY), say("in the sheet, under this group: traces = [{names}]", names=names), sep="\n")
    return 0 if all(state is State.IN_TOLERANCE for state in done.states) else 4


def _say(line: str) -> None:
    print(retold_each(line), flush=True)


class _Typed:
    """Lines typed while bolts are pulled; without a keyboard there are none."""

    def __init__(self) -> None:
        import threading

        self._lines: deque[str] = deque(maxlen=16)
        if sys.stdin.isatty():
            # Reading blocks, and no system reads a terminal with a time limit alike: a thread that ends with the program does it.
            threading.Thread(target=self._read, name="platepull keys", daemon=True).start()

    def _read(self) -> None:
        for line in sys.stdin:
            self._lines.append(line.strip().lower())

    def lines(self) -> list[str]:
        """What was typed since the last call."""
        typed = []
        while self._lines:
            typed.append(self._lines.popleft())
        return typed
