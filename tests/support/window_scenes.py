"""Every page of the window in what it shows in a day, one scene after the other, on a job book and a bench of a test's own."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from support.shop import Shop

from analysis.window import Window
from drivers.items import ConnectionLost
from rig.files.metadata import TraceInfo
from rig.files.profile import read_profile
from rig.live.line_tap import RawTap
from rig.window.openers import Opened
from rig.words.language import say, speak, spoken
from rig.words.units import UnitChoice

PROFILE = """[device]
name = "bench 1"
port = "COM3"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]", "angle [deg]"]
rate = "500 Hz"
"""
GOOD_NM = (47.1, 48.6, 46.4, -46.9, -48.0, -47.2)
"""Peaks of a good series, three each way."""

NOTICES = (
    (
        "job {job} has no spec card: pulls are judged by the window set, {window}",
        "",
        "another one: before a pull (F3), or enter a spec card in the job",
    ),
    (
        "this is the simulated bench: SIMULATED pulls go into job {job}",
        "",
        "for practice open a job of its own; 'Without a job' (Ctrl+J) enters nothing",
    ),
    ("this is the simulated bench without --out: nothing is recorded, nothing is entered in job {job}", "", ""),
    (
        "the sheet is written, and is being entered",
        "/quillfen/jobs/2026/2026-0001/sheets/of_the_unit/hand_over.pdf",
        "",
    ),
    (
        "the torque that arrives is far beyond the sensor's capacity",
        "bench 1 (/dev/serial/by-id/usb-made_up_0001)",
        "check capacity, unit and scale in the profile",
    ),
)
"""Long ones, with where they come from and what helps."""


def scenes(shop: Shop, events: Callable[[], None], pack: Path | None = None) -> Iterator[str]:
    """Bring the window from scene to scene; the name of each. `events` lets Qt work; `pack` is a folder with a pack sheet."""
    window, model, controller = shop.window, shop.controller.model, shop.controller

    def tick() -> None:
        window.tick()
        events()

    def wait(done: Callable[[], bool]) -> None:
        until = time.monotonic() + 60
        while not done() and time.monotonic() < until:
            tick()
            time.sleep(0.005)

    def show(page: object) -> None:
        window.show_page(page)
        shop.settle()
        tick()

    model.unit = UnitChoice("N.m", "lbf.ft")
    window.dress()
    window.pages.setCurrentWidget(window.cautions)
    tick()
    yield "cautions"
    for page, name in ((window.of_job.jobs, "jobs_empty"), (window.of_job.job, "job_none"), (window.pull, "pull_none")):
        show(page)
        yield name
    for page, name in ((window.sides, "sides_none"), (window.pack, "pack_none")):
        show(page)
        yield name
    language = spoken()
    shop.filled()
    speak(language)  # the command line speaks that of the settings
    shop.desk.find("")
    show(window.of_job.jobs)
    yield "jobs"
    window.of_job.jobs.page.show_part(1)
    shop.settle()
    tick()
    yield "jobs_trend"
    window.of_job.jobs.page.show_part(0)
    window._acts()["last job"]()
    show(window.bench)
    yield "bench_ready_with_job"
    show(window.of_job.job)
    for at, name in enumerate(("overview", "steps", "sheets", "record")):
        window.of_job.job.page.show_part(at)
        tick()
        yield f"job_{name}"
    show(window.of_job.refit)
    for at, part in enumerate(window.of_job.refit.page.parts):
        window.of_job.refit.page.show_part(at)
        tick()
        yield f"refit_{part._part.section}"
    show(window.conditions)
    page = window.conditions
    now = replace(controller.entry.now, window="35..60 N.m", temperature="hot", closure="final")
    window._after(controller.entry.edit, now)
    tick()
    assert page.refusals.isVisible()
    yield "conditions_marked"
    window._after(controller.entry.edit, replace(now, temperature="21 degC"))
    page.ask(say("Another unit: what is shown below held for {unit}. Does it still?", unit="demo 2"))
    tick()
    yield "conditions_asking"
    page.ask("")
    model.set_window(Window.parse("35..60 N.m"))
    window.show_bench()
    shop.bench.pull(48.0, until_s=3.4)
    tick()
    yield "bench_pulling"
    shop.bench._at_s = 20.0
    for name, peaks in (("in_window", GOOD_NM), ("below", (20.0,)), ("above", (95.0,))):
        controller.new_series()
        for peak_nm in peaks:
            shop.bench.pull(abs(peak_nm), back=peak_nm < 0)
            tick()
        model.notices.read()
        tick()
        yield f"bench_{name}"
    model.step_series(-2)
    show(window.bench)
    yield "bench_earlier_series"
    show(window.pull)
    yield "pull"
    window.pull.show_spectrum.setChecked(True)
    window.pull.show_earlier.setChecked(True)
    tick()
    yield "pull_spectrum"
    window.pull.show_spectrum.setChecked(False)
    window.sides.take_series(window.sides.before)
    wait(lambda: controller.reading.work is None)
    controller.new_series()
    for peak_nm in (61.0, 62.5, 60.2, -60.9, -62.0, -61.2):
        shop.bench.pull(abs(peak_nm), back=peak_nm < 0)
        tick()
    window.sides.take_series(window.sides.after)
    wait(lambda: controller.reading.work is None)
    show(window.sides)
    yield "sides"
    if pack is not None:
        copy = Path(shutil.copytree(pack, shop.folder / "pack"))
        controller.pack.open(copy / "PACK.toml", window.pack.show_pack)
        wait(lambda: controller.reading.work is None)
        show(window.pack)
        yield "pack"
        controller.pack.measure()
        show(window.pack)
        yield "pack_measuring"
        controller.lengths.end()
    (shop.folder / "bench.toml").write_text(PROFILE)
    tap = RawTap()
    tap.note(b"x\n" + b"".join(b"%d.5,0.25\n" % n for n in range(9)))
    controller.lines.opened = Opened(shop.bench, None, None, read_profile(shop.folder / "bench.toml"), TraceInfo(), tap)
    show(window.line)
    yield "line"
    controller.lines.opened = None
    show(window.sensor)
    for at, name in enumerate(("calibration", "guess", "machine")):
        window.sensor.show_part(at)
        tick()
        yield f"sensor_{name}"
    for page, name in ((window.guide, "guide"), (window.keys, "keys")):
        show(page)
        yield name
    model.look_back(None)
    show(window.bench)
    for at, (what, where, remedy) in enumerate(NOTICES):
        model.tell(say(what, job="2026-0001", window="40.0–65.0 N·m"), where, say(remedy, channel="x") if remedy else "")
        tick()
        yield f"notice_{at + 1}"
        model.notices.read()
    shop.bench.told.append(ConnectionLost("COM3", "the line went away", "check plug, cable and power"))
    show(window.bench)
    yield "bench_line_lost"
