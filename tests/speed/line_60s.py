"""A minute at 1 kHz over a real port, through the whole house: how many samples were sent, received, lost.

    python tests/speed/line_60s.py [--seconds 60] [--rate 1000] [--over pty|socket] [--protocol text|frames]

The simulated bench runs as a process of its own and stamps every sample with its own clock, so the samples sent between the first
and the last one received are known exactly; what is missing between them is lost. Pulls are found, read, judged and recorded
meanwhile.
"""

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # before the tests: tests/rig is not rig

from support.processes import pretend_bench

from analysis.results import Sensor
from analysis.window import Window
from drivers.clock import SystemClock
from drivers.source import open_source
from rig.files.metadata import TraceInfo
from rig.files.profile import read_profile
from rig.live.news import Failed, PullJudged
from rig.live.recorder import recorder_into
from rig.live.runner import Bench
from rig.live.session import Session


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--rate", type=float, default=1000.0)
    parser.add_argument("--over", default="pty" if hasattr(os, "openpty") else "socket")
    parser.add_argument("--protocol", default="text")
    parser.add_argument("--scenario", default="workday")
    args = parser.parse_args()
    words = ["--over", args.over, "--rate", args.rate, "--protocol", args.protocol, "--scenario", args.scenario]
    with tempfile.TemporaryDirectory() as folder, pretend_bench(folder, *words) as (_, profile_path, port):
        profile = read_profile(profile_path)
        session = Session(
            sensor=Sensor(capacity_nm=profile.capacity_nm),
            window=Window.parse("40..65 N.m"),
            recorder=recorder_into(Path(folder) / "pulls", TraceInfo()),
        )
        first_s = last_s = None
        judged, failed, used_s = 0, 0, time.process_time()
        with Bench(open_source(profile, SystemClock()), session) as bench:
            end_s = time.monotonic() + args.seconds
            while time.monotonic() < end_s:
                for item in bench.wait_for_news(0.1):
                    judged += isinstance(item, PullJudged) and item.final
                    failed += isinstance(item, Failed)
                for piece in bench.scope():
                    first_s = float(piece.time_s[0]) if first_s is None else first_s
                    last_s = float(piece.time_s[-1])
        for piece in bench.scope():
            last_s = float(piece.time_s[-1])
        used_s = time.process_time() - used_s
        wire = bench.status.line
    if first_s is None or last_s is None:
        print("nothing arrived")
        return 1
    sent = round((last_s - first_s) * args.rate) + 1
    print(f"{args.protocol} over {args.over} ({port}), {args.rate:g} samples/s for {args.seconds:g} s")
    print(f"sent {sent}, received {wire.samples}, lost {sent - wire.samples}; {judged} pulls judged, {failed} failures")
    print(f"{wire.faults}; dropped from the queue {wire.dropped}, most pieces waiting {wire.queue_high_water}")
    print(f"{100 * used_s / args.seconds:.1f} % of one core")
    return int(sent != wire.samples)


if __name__ == "__main__":
    sys.exit(main())
