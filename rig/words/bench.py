"""What the bench tells and asks between pulls: free turns, knocks, a level at rest that moved."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from analysis.pull.events import NoPullKind
from drivers.codec import WireFaults
from rig.words.language import say, say_n
from rig.words.retold import retold
from rig.words.sentences import figure, torque

CHECK_FIRST = "the held side engaged, the ratchet, case and other output not both free, the sensor awake"
"""What makes a unit look free that is none (trade notes 2.6)."""

NOT_A_PULL = {
    NoPullKind.KNOCK: ("1 knock, no pull", "{n} knocks, no pull"),
    NoPullKind.ANGLE_JUMP: ("1 jump of the angle, no pull", "{n} jumps of the angle, no pull"),
    NoPullKind.CARRIED: ("1 time the sensor was moved about, no pull", "{n} times the sensor was moved about, no pull"),
    NoPullKind.LEANED_ON: ("1 touch of the lever, no pull", "{n} touches of the lever, no pull"),
    NoPullKind.REST_MOVED: ("1 step of the level at rest, no pull", "{n} steps of the level at rest, no pull"),
}
"""For one, and for more."""


def free_turn_text(number: int, travel_deg: float) -> str:
    """The question after a free turn."""
    return say(
        "pull {number}: nothing held over {travel} deg: was that the pull? Check first: {checks}.",
        number=number,
        travel=figure(travel_deg),
        checks=say(CHECK_FIRST),
    )


def line_faults_text(faults: WireFaults) -> str:
    """What of a line could not be read until its end; empty where all of it could."""
    unread = faults.garbled + faults.overlong
    counts = [say_n("1 line or frame not readable", "{n} lines or frames not readable", unread)] if unread else []
    counts += [say_n("1 sample lost on the wire", "{n} samples lost on the wire", faults.lost)] if faults.lost else []
    return say("line: {counts}; check cable, plug and the profile's settings", counts=", ".join(counts)) if counts else ""


def not_a_pull_text(kind: NoPullKind, times: int) -> str:
    """What was thrown away, told small."""
    return say_n(*NOT_A_PULL[kind], times)


def rest_moved_text(by_nm: float, unit: str = "N.m") -> str:
    """The question after the level at rest has stepped; what is to be said when it is back."""
    if not by_nm:
        return say("rest level back where it was")
    moved = say("rest level moved by {size}", size=f"{'+' if by_nm > 0 else '-'}{torque(abs(by_nm), unit)}")
    return say("{moved}: lever hung on, or zero moved? Until it is answered no pull decides anything.", moved=moved)


def rest_explained_text(by_nm: float, *, lever_on: bool, unit: str = "N.m") -> str:
    """What follows from the answer."""
    size = torque(abs(by_nm), unit)
    return (
        say("{size} at rest count as a load on the plates", size=size)
        if lever_on
        else say("zero moved by {size}: torque counts from the new level", size=size)
    )


def not_pulls_text(times: Mapping[NoPullKind, int]) -> str:
    """All that moved the bench without being a pull, small beside a caption; "" where nothing did."""
    return "".join(f"   {not_a_pull_text(kind, count)}" for kind, count in times.items() if count)


def disk_refuses_text(what: str, where: str, remedy: str, waiting: int) -> str:
    """That nothing is written, and what that means for the pulls."""
    told = f"{where}: {retold(what)}; {retold(remedy)}"
    if not waiting:
        return told
    return f"{told}. {say('pulls kept in memory until there is room: {count}', count=waiting)}"


def ended_abruptly_text(at: datetime, gap_s: float, number: int | None, file: Path | None) -> str:
    """What the program before this one left behind when it was killed."""
    what, kept = ended_abruptly_parts(at, gap_s, number, file)
    return what + (f"; {kept}" if kept else "")


def ended_abruptly_parts(at: datetime, gap_s: float, number: int | None, file: Path | None) -> tuple[str, str]:
    """The same as what happened, and where the pull is kept: the file last, where a narrow line can shorten it; "" without one."""
    when, gap = f"{at:%Y-%m-%d %H:%M:%S}", _lasting(gap_s)
    if file is None:
        words = "the program ended abruptly at {when}, between pulls; from then on nothing was read (a gap of {gap})"
        return say(words, when=when, gap=gap), ""
    words = "the program ended abruptly in pull {number} ({when}): it does not count"
    kept = say("nothing was read for {gap}; the pull is kept up to there in {file}", gap=gap, file=file)
    return say(words, when=when, number="?" if number is None else number), kept


def _lasting(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"
