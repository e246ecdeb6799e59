"""What the verbs that watch a line share: the session made of options, settings and profile, and the watching itself."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from drivers.clock import SystemClock
from drivers.profile import DeviceProfile
from drivers.source import open_source
from rig.commands._book import keeper_of, look_up_job, the_clock
from rig.commands._chosen import job_info, sensor_choice
from rig.commands._ending import asked_to_end
from rig.commands._judging import Judging
from rig.commands._options import unit_for
from rig.files.metadata import SIMULATED_DEVICE, TraceInfo
from rig.folders import users_data
from rig.live.recorder import MARKS, recorder_into
from rig.live.runner import Bench
from rig.live.session import Session
from rig.live.terminal import Keys, Terminal, follow
from rig.live.wishes import Exercise
from rig.settings import Settings
from rig.words.arrangements import ARRANGEMENTS
from rig.words.language import say
from rig.words.retold import retold
from rig.words.sentences import EXERCISE, certificate_text

if TYPE_CHECKING:
    from rig.book.record import JobRecord


def live_session(
    args: argparse.Namespace, settings: Settings, profile: DeviceProfile, out: str | None
) -> tuple[Session, str, TraceInfo]:
    """The session of a verb, the unit to print in, what its pulls carry. `out` is the folder to record into; None: none."""
    judging = Judging.of(args, settings)
    window = judging.window(plate_state=args.plate_state)
    unit = unit_for(args, settings, window)
    sensor, info = sensor_choice(args, settings).of_line(profile, job_info(args, settings))
    recorder = None if out is None else recorder_into(Path(out), info, users_data() / MARKS)
    session = Session(
        sensor=sensor,
        window=window,
        rule=judging.rule,
        known=judging.known,
        stated=info.stated(),
        recorder=recorder,
        count_free_turns=getattr(args, "free_turns", False),
    )
    return session, unit, info


def terminal_of(unit: str, *, large: bool) -> Terminal:
    """The terminal this process was started from."""
    return Terminal(sys.stdout, sys.stderr, unit, large)


def watch_in_terminal(args: argparse.Namespace, settings: Settings, profile: DeviceProfile, out: str | None, *, large: bool) -> int:
    """Watch a line and say each pull at the terminal until it is enough; the exit status. `large`: verdicts as a banner."""
    job = look_up_job(args, settings, lambda line: print(line, file=sys.stderr))
    if args.arrangement is None:
        args.arrangement = _asked_arrangement(large=large)
    session, unit, info = live_session(args, settings, profile, out)
    terminal = terminal_of(unit, large=large)
    terminal.together = session.together
    terminal.caution()
    if info.calibration.certificate is not None:
        terminal.note(
            certificate_text(info.calibration.certificate, info.calibration.days_left(date.today()), info.calibration.due)
        )
    meant = sensor_choice(args, settings).stated_of_line(profile)
    if meant is not None:
        terminal.note(say("sensor's uncertainty: {what}", what=retold(meant.sentence())))
    if job is not None:
        _tell_what_pulls_lack(job, info, terminal)
    clock = SystemClock()
    keeper = keeper_of(args, settings)
    if keeper is not None and out is None:
        terminal.note(say("nothing is recorded without --out, and so nothing is entered in job {job}", job=args.job))
    elif keeper is not None and profile.name == SIMULATED_DEVICE:
        terminal.note(say("this is the simulated bench: SIMULATED pulls go into job {job}", job=args.job))
    with asked_to_end() as enough, Bench(open_source(profile, clock), session, listener=keeper) as bench:
        if args.exercise:
            bench.ask(Exercise())
            terminal.tell(say(EXERCISE))
        keys = Keys(sys.stdin) if large else None
        follow(bench, terminal, clock, pulls=args.pulls, seconds=args.seconds, asked_to_end=enough, keys=keys)
        for row in terminal.series():
            terminal.tell(row)
    return 0


def _tell_what_pulls_lack(job: JobRecord, info: TraceInfo, terminal: Terminal) -> None:
    """Say before the first pull what stands against these pulls at the step that wants them."""
    from rig.book.gates import will_lack

    step, lacks = will_lack(job, info.own_terms(), the_clock().isoformat())
    for text in lacks:
        terminal.note(say("as stated, these pulls will not count for {step}: {what}", step=step, what=text))


def _asked_arrangement(*, large: bool) -> str | None:
    """Who is held and who turns, asked where a person watches; said to be missing where nobody does."""
    if not (large and sys.stdin.isatty()):
        print(say("who is held and who turns is not stated: --arrangement A|B|D|E|F|G|V|V2"), file=sys.stderr)
        return None
    print(say("Who is held and who turns?"), *(f"  {one.code:<2} {say(one.what)}" for one in ARRANGEMENTS), sep="\n")
    answer = input(say("code [Enter: not stated]") + " ").strip().upper()
    return answer if answer in [one.code for one in ARRANGEMENTS] else None
