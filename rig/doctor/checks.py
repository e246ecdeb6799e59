"""The checks of `platepull doctor`. Each looks at one thing and says how it stands, with a remedy where it does not stand well."""

from __future__ import annotations

import importlib
import os
import platform
import shutil
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from analysis.errors import BenchError
from drivers.clock import Clock
from drivers.line import PortInfo
from drivers.profile import DeviceProfile
from rig.log import FILE
from rig.settings import Settings
from rig.words.language import say
from rig.words.retold import retold


class Standing(StrEnum):
    """How a thing stands. NOTE: worth knowing, nothing to be done."""

    GOOD = "good"
    NOTE = "note"
    IN_THE_WAY = "in_the_way"


@dataclass(frozen=True, slots=True)
class Found:
    """What a check found; `remedy` is empty where nothing stands in the way."""

    check: str
    standing: Standing
    text: str
    remedy: str = ""


LIBRARIES: Final = ("numpy", "scipy", "msgspec", "pint", "pyserial", "pymodbus", "cobs", "SQLAlchemy", "PySide6-Essentials")
INSTALL_ANEW: Final = "install platepull anew (see README)"
ROOM_NEEDED_MB: Final = 100
"""A day of pulls at 1 kHz takes some ten megabytes; below this a morning may end with a full disk."""
ROOM_WANTED_MB: Final = 1000
FIRST_YEAR: Final = 2026
"""No clock that is right shows less: this program is not older."""
PAUSE_S: Final = 0.02
LATE_S: Final = 0.05
"""A pause of `PAUSE_S` that lasts longer than this most of the time: samples wait in the port that long."""


def versions() -> Found:
    """The program, its language and the libraries beneath."""
    told, lacking = [f"platepull {version('platepull')}", f"Python {platform.python_version()}"], []
    for name in LIBRARIES:
        try:
            told.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            lacking.append(name)
    text = f"{platform.system()} {platform.machine()}: {', '.join(told)}"
    if lacking:
        return Found("versions", Standing.IN_THE_WAY, f"{text}; not installed: {', '.join(lacking)}", INSTALL_ANEW)
    return Found("versions", Standing.GOOD, text)


def qt(has_screen: bool, load: Callable[[str], object] = importlib.import_module) -> Found:
    """Whether the window's library loads, and whether there is a screen for it."""
    try:
        load("PySide6.QtWidgets")
    except ImportError as fault:
        standing = Standing.IN_THE_WAY if has_screen else Standing.NOTE
        remedy = "install what is named (README, 'Install'); without a window: platepull live --terminal"
        return Found("qt", standing, f"the window cannot be shown: {fault}", remedy)
    if not has_screen:
        return Found("qt", Standing.NOTE, "the window's library loads; there is no screen here, so pulls are shown in the terminal")
    return Found("qt", Standing.GOOD, "the window can be shown")


def ports(there: Sequence[PortInfo], may_open: Callable[[str], bool], group: Callable[[str], str]) -> Found:
    """The serial ports that are plugged in, and whether this user may open them."""
    if not there:
        return Found("ports", Standing.NOTE, "no serial port is plugged in")
    shut = [info.port for info in there if not may_open(info.port)]
    if shut:
        return Found("ports", Standing.IN_THE_WAY, f"you may not open {', '.join(shut)}", group(shut[0]))
    return Found("ports", Standing.GOOD, f"plugged in: {', '.join(info.port for info in there)}")


def may_open(port: str) -> bool:
    """Whether this user may read and write a port; where the system has no such rights, yes."""
    return os.name == "nt" or os.access(port, os.R_OK | os.W_OK)


def folder(check: str, path: Path) -> Found:
    """Whether files can be written into a folder, which is made if it is not there."""
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path) as file:
            file.write(b"platepull")
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        what = f"nothing can be written into {path} ({fault.strerror})"
        return Found(check, Standing.IN_THE_WAY, what, "check the folder's rights and its disk, or name another one")
    return Found(check, Standing.GOOD, f"{path} can be written")


def room(path: Path, free: Callable[[Path], int] = lambda path: shutil.disk_usage(path).free) -> Found:
    """Whether there is room for recordings where they go."""
    while not path.exists() and path != path.parent:
        path = path.parent
    try:
        free_mb = free(path) / 1e6
    except OSError as fault:
        return Found("room", Standing.NOTE, f"the room on the disk of {path} cannot be told ({fault.strerror})")
    text = f"{free_mb:,.0f} MB are free for recordings"
    if free_mb < ROOM_NEEDED_MB:
        return Found("room", Standing.IN_THE_WAY, text, "make room: pulls that find none are judged but not kept")
    return Found("room", Standing.NOTE if free_mb < ROOM_WANTED_MB else Standing.GOOD, text)


def clock(now: datetime, pauses_s: Sequence[float]) -> Found:
    """Whether the computer's day is right, and whether it wakes in time; `pauses_s` are pauses of 20 ms as long as they lasted."""
    if now.year < FIRST_YEAR:
        text = f"the clock says {now:%Y-%m-%d}: recordings and certificates are judged by the wrong day"
        return Found("clock", Standing.IN_THE_WAY, text, "set the computer's clock")
    typical_s = sorted(pauses_s)[len(pauses_s) // 2]
    text = f"{now:%Y-%m-%d %H:%M} UTC{now:%z}; a pause of {1000 * PAUSE_S:.0f} ms lasts {1000 * typical_s:.0f} ms"
    if typical_s > LATE_S:
        remedy = "close other programs, and switch off saving of power"
        return Found("clock", Standing.IN_THE_WAY, f"{text}: the computer is too busy", remedy)
    return Found("clock", Standing.GOOD, text)


def pauses(clock: Clock, times: int = 9) -> list[float]:
    """How long short pauses last on this computer now."""
    lasted = []
    for _ in range(times):
        began_s = clock.now()
        clock.wait_until(began_s + PAUSE_S, threading.Event())
        lasted.append(clock.now() - began_s)
    return lasted


def settings_file(path: Path, read: Callable[[Path], Settings]) -> tuple[Found, Settings]:
    """Whether the settings can be used; those that count, which are none where they cannot."""
    try:
        settings = read(path)
    except BenchError as fault:
        return Found("settings", Standing.IN_THE_WAY, f"{fault.where}: {fault.what}", fault.remedy), Settings()
    text = f"{path} is read" if path.exists() else f"there are none yet (they would be in {path})"
    return Found("settings", Standing.GOOD, text), settings


def device(
    path: Path | None,
    there: Sequence[PortInfo],
    today: date,
    read: Callable[[Path], DeviceProfile],
    rights: Callable[[PortInfo], Found],
) -> Iterator[Found]:
    """The device profile of the settings: whether it is read, its port is there and opens, and its certificate is in force.

    `rights` looks whether this user may open a port: a profile may name one that no list holds (a link to it).
    """
    if path is None:
        text = "the settings name no device profile"
        yield Found("device", Standing.NOTE, text, "name one with --device, or make one: platepull guess")
        return
    try:
        profile = read(path)
    except BenchError as fault:
        yield Found("device", Standing.IN_THE_WAY, f"{fault.where}: {fault.what}", fault.remedy)
        return
    known = [info.port for info in there]
    if "://" not in profile.port and profile.port not in known and not Path(profile.port).exists():
        text = f"{path} is read; its port {profile.port} is not plugged in"
        yield Found("device", Standing.NOTE, text, f"plug the sensor in; there are: {', '.join(known) or 'none'}")
    elif Path(profile.port).exists() and (shut := rights(PortInfo(profile.port, ""))).standing is Standing.IN_THE_WAY:
        yield replace(shut, check="device")
    else:
        yield Found("device", Standing.GOOD, f"{path} is read; its port {profile.port} is there")
    yield certificate(profile.certificate, today)


def certificate(path: str | None, today: date) -> Found:
    """Whether the sensor's certificate is read and in force."""
    from rig.files.certificate import read_certificate

    if path is None:
        return Found("certificate", Standing.NOTE, "the device profile names no calibration certificate")
    try:
        found = read_certificate(Path(path))
    except BenchError as fault:
        return Found("certificate", Standing.IN_THE_WAY, f"{fault.where}: {fault.what}", fault.remedy)
    if today > found.due:
        text = f"certificate {found.number} was due on {found.due}: verdicts are wider"
        return Found("certificate", Standing.IN_THE_WAY, text, "calibrate anew: platepull calibrate")
    return Found("certificate", Standing.GOOD, f"certificate {found.number} is in force until {found.due}")


def book(name: str, now: Callable[[], datetime]) -> Found:
    """Whether the job book can be opened and is sound. A book that is not there yet is not made."""
    from rig.book.book import Book
    from rig.book.place import Place

    try:
        place = Place.of(name)
        if place.file is not None and not place.file.exists():
            return Found("book", Standing.NOTE, f"there is no job book yet (it would be {place})")
        with Book(place, now) as opened:
            faults = opened.faults()
    except BenchError as fault:
        return Found("book", Standing.IN_THE_WAY, f"{fault.where}: {fault.what}" if fault.where else fault.what, fault.remedy)
    except ImportError as fault:
        return Found("book", Standing.IN_THE_WAY, f"the job book's library does not load: {fault}", INSTALL_ANEW)
    if faults:
        remedy = "restore a backup, or rebuild it from its recordings (platepull book)"
        return Found("book", Standing.IN_THE_WAY, f"{place} is not sound: {'; '.join(faults)}", remedy)
    return Found("book", Standing.GOOD, f"{place} is sound")


def log(path: Path) -> Found:
    """Where the log is that a user can send, and whether it can be written."""
    stands = folder("log", path)
    if stands.standing is Standing.IN_THE_WAY:
        return stands
    file = path / FILE
    text = f"{file}, without names, to be sent with a report" if file.exists() else f"none yet (it would be {file})"
    return Found("log", Standing.GOOD, text)


def document(found: Sequence[Found]) -> dict[str, Any]:
    """What was found as JSON values, after rig/schemas/doctor.schema.json."""
    clear = all(one.standing is not Standing.IN_THE_WAY for one in found)
    return {"doctor_version": 1, "clear": clear, "checks": [{**asdict(one), "standing": str(one.standing)} for one in found]}


def lines(found: Sequence[Found]) -> list[str]:
    """What was found, for a person: what stands in the way with its remedy, and all else."""
    marks = {Standing.GOOD: say("ok"), Standing.NOTE: say("note"), Standing.IN_THE_WAY: say("FIX")}
    wide = max(map(len, marks.values()))
    rows = []
    for one in found:
        rows.append(f"{marks[one.standing]:<{wide}}  {say(one.check):<16} {retold(one.text)}")
        if one.remedy:
            remedy = retold(one.remedy)
            rows.append(
                f"{'':{wide + 18}} {say('to fix: {remedy}', remedy=remedy) if one.standing is Standing.IN_THE_WAY else remedy}"
            )
    return rows


def tried(check: str, look: Callable[[], Found | Iterable[Found]]) -> list[Found]:
    """What a check finds; where it fails itself that is told, and costs none of the others."""
    try:
        found = look()
        return [found] if isinstance(found, Found) else list(found)
    except Exception as fault:  # noqa: BLE001  whatever this machine does: that is what the doctor is asked for
        return [Found(check, Standing.IN_THE_WAY, f"this check failed by a fault of ours ({fault!r})", "report this")]
