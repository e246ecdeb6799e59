"""Measured open data: real stick-slip, breakaways and look-alikes. Sources and licences stand in each test; no copy is kept here.

Force times arm is torque, position over arm is angle. The data sets come with labels, most of them computed, not eye-made.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.shareddata import shared_data

from analysis.pull.reading import read_pull
from analysis.results import PullResult, QualityCode
from analysis.trace import Trace


def columns(path: Path) -> dict[str, np.ndarray]:
    """Columns by the first word of their header."""
    header = path.read_text(encoding="utf-8").split("\n", 1)[0].split(",")
    table = np.loadtxt(path, delimiter=",", skiprows=1, ndmin=2)
    return {name.split(" [")[0].strip(): table[:, i] for i, name in enumerate(header)}


def labels(folder: Path) -> Any:
    return json.loads((folder / "labels.json").read_text(encoding="utf-8"))


@cache
def paper(name: str) -> tuple[Trace, PullResult, dict[str, Any]]:
    """Paper on paper drawn by a spring, 2 kHz: trace, reading, label. Arm 1 mm for the angle; force stands for torque.

    N. Pustelnik, V. Vidal and others, ENS de Lyon, repository npusteln/stickslip, CeCILL-B; J. Colas et al., accepted by Physical
    Review E, 2019.
    """
    folder = shared_data("paper_stick_slip")
    data = columns(folder / f"{name}.csv")
    trace = Trace(data["time"], data["force"], np.degrees(data["position"]))
    return trace, read_pull(trace), labels(folder)[name]


@pytest.mark.parametrize("name", ["k168_v42_a", "k1002_v42_a"])
def test_real_slips_are_counted(name: str) -> None:
    """Slow stick-slip. The reference slips come from the authors' thresholds on their filter, so a tenth either way is allowed.

    Counted from where steady sliding begins (by definition after the first slip), which must be most of the record.
    """
    trace, result, label = paper(name)
    assert result.chatter.present is True
    assert result.sliding is not None
    assert result.sliding.to_s - result.sliding.from_s > 0.85 * trace.duration_s
    slips = [event["t_start"] for event in label["events"] if event["t_start"] > result.sliding.from_s]
    assert len(result.chatter.slip_times_s) == pytest.approx(len(slips), rel=0.10)
    near = [min(abs(slip - one) for one in result.chatter.slip_times_s) < 0.25 for slip in slips]
    assert np.mean(near) >= 0.9
    assert result.chatter.peak_to_peak_nm == pytest.approx(label["event_reference"]["median_drop_N"], rel=0.30)


def test_small_slips_between_large_ones_are_counted() -> None:
    """At 1100 um/s slips of all sizes follow each other. Of the authors' 115, whose threshold lies below the drive speed, some are
    no larger than the noise: 15 % fewer are allowed, and a median a fifth higher.
    """
    _, result, label = paper("k168_v1100")
    assert result.chatter.present is True
    assert len(result.chatter.slip_times_s) == pytest.approx(len(label["events"]), rel=0.15)
    assert result.chatter.peak_to_peak_nm == pytest.approx(label["event_reference"]["median_drop_N"], rel=0.20)


def test_smooth_oscillation_is_not_chatter() -> None:
    """At 4300 um/s the slider swings without sticking: the authors' inertial regime."""
    _, result, _ = paper("k168_v4300")
    assert result.chatter.present is not True


@pytest.mark.parametrize("name", ["k168_v42_a", "k1002_v42_a"])
def test_torque_rises_by_stiffness_times_speed_between_real_slips(name: str) -> None:
    """While stuck, dF/dt = k V: physics that nobody had to label. The set's own medians are within 6 % of it."""
    trace, result, label = paper(name)
    slopes = []
    for begin, end in zip(result.chatter.slip_times_s[:-1], result.chatter.slip_times_s[1:], strict=True):
        # The middle of the stick: away from the fall at its start and the creep before its end.
        part = trace.between(begin + 0.35 * (end - begin), begin + 0.85 * (end - begin))
        if part.duration_s > 0.3:
            slopes.append(np.polyfit(part.time_s, part.torque_nm, 1)[0])
    assert len(slopes) >= 10
    assert np.median(slopes) == pytest.approx(label["loading_slope_while_stuck_N_per_s"], rel=0.15)


def test_continuous_sliding_with_dips_is_not_chatter() -> None:
    """The authors call this record continuous sliding; small dips of some 7 % remain, between which the slider is not stuck."""
    _, result, _ = paper("k2254_v42_a")
    assert result.chatter.present is not True


def test_breakaway_of_a_real_pull_from_zero() -> None:
    """Block on a rough track, 4 samples a second (F. Guldstrand, repository FrankGuldstrand/stick_slip_1d_lab_model, GPL-3.0):
    slack, ramp, first slip at 37.75 s, 9.65 N; then some 72 falls in 533 s (counted by the authors' criterion)."""
    folder = shared_data("spring_slider_loadcell")
    data = columns(folder / "pull_part1.csv")
    result = read_pull(Trace(data["time"], data["force"]))
    label = labels(folder)["pull_part1"]
    assert result.breakaway is not None
    assert result.breakaway.time_s == pytest.approx(label["events"][0]["t_before"], abs=0.5)
    zero = float(np.median(data["force"][:8]))
    assert result.breakaway.torque_nm == pytest.approx(label["events"][0]["F_before_N"] - zero, rel=0.02)
    assert result.chatter.present is not False
    assert QualityCode.LOW_RATE in {flag.code for flag in result.quality}
    if result.chatter.present:
        assert result.chatter.cycles == pytest.approx(label["event_reference"]["n_drops_of_at_least_0p5_N"], rel=0.10)


CABLE = (
    "toolA_left_0.1Hz_10pct",
    "toolA_left_0.1Hz_40pct",
    "toolA_left_0.2Hz_20pct",
    "toolA_right_0.4Hz_10pct",
    "toolB_left_0.1Hz_30pct",
)


@cache
def cable(name: str) -> PullResult:
    """Torque sensor and encoder on a reversing cable drive, 1 kHz.

    J. J. O'Neill, T. K. Stephens, T. M. Kowalewski, IEEE RA-L 3(4), 2018, 3027-3034; repository MRDLab/mis-tool-characterization,
    ODbL 1.0.
    """
    data = columns(shared_data("cable_drive_torque_angle") / f"{name}.csv")
    return read_pull(Trace(data["time"], data["torque"], data["angle"]))


@pytest.mark.parametrize("name", CABLE)
def test_a_cable_drive_does_not_chatter(name: str) -> None:
    """By eye smooth loops with small ripple; stick-slip is not mentioned by the authors."""
    assert cable(name).chatter.present is not True


def test_sliding_torque_follows_the_set_reaction_torque() -> None:
    """Same tool and side: 10 < 20 < 40 per cent set, so read."""
    read = [cable(name).sliding for name in (CABLE[0], CABLE[2], CABLE[1])]
    assert all(one is not None for one in read)
    torques = [one.torque_nm for one in read if one is not None]
    assert torques == sorted(torques)


def test_run_out_and_drift_of_an_oiled_disc_are_not_chatter() -> None:
    """Rotating disc in oil, 10 samples a second, ripple once a turn (UEF-BBC-LUPE, NewportFrictionDataRead, 2021, MIT)."""
    folder = shared_data("oiled_disc_torque")
    for name in labels(folder):
        data = columns(folder / f"{name}.csv")
        result = read_pull(Trace(data["time"], data["torque"], data["angle"]))
        assert result.chatter.present is None, name  # at 10 samples a second nobody can tell: that is not 'smooth'
        assert QualityCode.LOW_RATE in {flag.code for flag in result.quality}, name


def test_run_out_and_drift_of_an_oiled_disc_are_not_chatter_where_the_rate_would_show_it() -> None:
    """The same ripple at 1000 samples a second, over the same angle: a judgement is possible, and it is 'no'."""
    folder, judged = shared_data("oiled_disc_torque"), 0
    for name in labels(folder):
        data = columns(folder / f"{name}.csv")
        time_s = np.arange(data["time"][0], data["time"][-1], 0.1) / 100
        quicker = data["time"] / 100
        torque, angle = (np.interp(time_s, quicker, data[key]) for key in ("torque", "angle"))
        fine_s = np.arange(time_s[0], time_s[-1], 0.001)
        noise = 0.002 * float(np.abs(torque).max()) * np.random.default_rng(5).standard_normal(fine_s.size)
        fine = Trace(fine_s, np.interp(fine_s, time_s, torque) + noise, np.interp(fine_s, time_s, angle))
        result = read_pull(fine)
        judged += result.chatter.present is not None
        assert result.chatter.present is not True, name
    assert judged


@cache
def loosening() -> list[tuple[dict[str, Any], PullResult]]:
    """Screws turned loose by a hand-held tool, 40 to 150 samples a second, 5.3 degrees a sample (A. Al Assadi et al., Journal of
    Manufacturing Systems 65 (2022) 19-32; repository AAAipa/dataset_unfastening, CC BY 4.0). Loosening torque is negative."""
    folder = shared_data("loosening")
    found = []
    for label in labels(folder):
        data = columns(folder / label["trace"])
        keep = np.concatenate([[True], np.diff(data["time"]) > 0])
        found.append((label, read_pull(Trace(data["time"][keep], data["torque"][keep], data["angle"][keep]))))
    return found


def test_a_joint_that_came_loose_broke_away() -> None:
    """Load, peak, low sliding torque: all but a few of the joints that came loose must read as something that held."""
    loose = [result for label, result in loosening() if label["label"] == "came loose"]
    assert len(loose) == 90
    assert sum(result.breakaway is not None for result in loose) >= 86


def test_breakaway_of_a_loosened_joint_is_its_largest_torque() -> None:
    """Peaks of two to four samples; yet the peak cannot be far from the largest sample: a tenth, or 0.15 N.m of zero."""
    near = [
        abs(result.breakaway.torque_nm - label["largest_magnitude_nm"]) <= max(0.15, 0.1 * label["largest_magnitude_nm"])
        for label, result in loosening()
        if label["label"] == "came loose" and result.breakaway is not None
    ]
    assert np.mean(near) >= 0.9


def test_no_loosened_joint_is_said_to_chatter() -> None:
    """At 5.3 degrees and some 20 ms a sample nothing of the kind can be seen."""
    assert not any(result.chatter.present for _, result in loosening())
