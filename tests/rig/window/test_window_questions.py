"""What the bench asks stands on the panel with its two answers; the pedal answers; nothing is decided before."""

import numpy as np
import pytest
from support import busy_bench as bench_noise
from support.busy_bench import Piece, busy_bench
from support.fed import FedBench
from support.made import made_stream

from analysis.trace import Trace, join
from analysis.window import Window
from rig.window.controller import Controller, Means
from rig.window.keys import KEYS, Act
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.qt.main_window import MainWindow
from rig.window.sounds import Sounds
from rig.window.views.verdict import Tone

WINDOW = Window.parse("35..70 N.m")
STEP_NM = 6.0


@pytest.fixture
def played():
    return []


@pytest.fixture
def window(qtbot, played):
    bench = FedBench(WINDOW)
    controller = Controller(BenchModel(bench, window=WINDOW), Remembered(), Means(sounds=Sounds("list", played.append)))
    window = MainWindow(controller, cautions=False)
    window._timer.stop()
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.tick()
    yield window
    window.close()


def free_turn():
    rng = np.random.default_rng(3)
    return busy_bench([bench_noise.turned_free(rng)], rng)


def rest_that_steps_and_a_pull():
    step = Piece(np.where(np.arange(200) > 100, STEP_NM, 0.0), np.zeros(200), moved_nm=STEP_NM)
    rest = busy_bench([step], np.random.default_rng(1))
    pull = made_stream(1, start_s=float(rest.time_s[-1]) + 0.002)
    return join([rest, Trace(pull.time_s, pull.torque_nm + STEP_NM, pull.angle_deg)])


def feed(window, stream):
    window.model.line.bench.feed(stream)
    window.tick()


def answer(window, act):
    assert act in {key.act for key in KEYS}
    window._acts()[act]()
    window.tick()
    return window.bench.panel.accessibleName()


def test_a_free_turn_is_asked_about_and_counts_only_when_a_person_says_so(window, played):
    feed(window, free_turn())
    said = window.bench.panel.accessibleName()
    assert said.startswith("NOTHING HELD")
    assert "SPACE: YES" in said
    assert "check first" in said
    assert window.model.pulls == []
    assert played == [Tone.UNDECIDED]
    said = answer(window, Act.ANSWER_FIRST)
    assert said.startswith("TURNS FREELY")
    assert [pull.number for pull in window.model.pulls] == [1]
    assert window.model.stand.question is None


def test_a_unit_turned_round_is_no_pull(window):
    feed(window, free_turn())
    answer(window, Act.ANSWER_SECOND)
    assert window.model.pulls == []
    assert window.model.stand.question is None
    feed(window, made_stream(1, start_s=50.0))
    assert [pull.number for pull in window.model.pulls] == [2]


@pytest.mark.parametrize(("act", "expected_nm"), [(Act.ANSWER_FIRST, 60.0 + STEP_NM), (Act.ANSWER_SECOND, 60.0)])
def test_a_rest_level_that_moved_is_asked_about_and_the_answer_reads_the_pull_again(window, act, expected_nm):
    feed(window, rest_that_steps_and_a_pull())
    assert window.model.stand.question is not None
    (pull,) = window.model.pulls
    assert pull.verdict.state == "undecided"
    window.model.look_at(None)
    window.refresh(window.model.poll() | type(window.model.poll()).PULLS)
    assert window.bench.panel.accessibleName().startswith("REST MOVED. +6")
    answer(window, act)
    assert window.model.stand.question is None
    (pull,) = window.model.pulls
    assert pull.result.breakaway.torque_nm == pytest.approx(expected_nm, rel=0.01)
    assert pull.verdict.state != "no_reading"


def test_near_the_sensor_s_end_panel_and_tone_say_stop(window, played):
    window.model.line.capacity_nm = 64.0
    window.model.line.bench.pull(60.0, until_s=3.9)
    window.tick()
    assert window.bench.panel.accessibleName().startswith("STOP")
    assert played == [Tone.STOP]
    window.tick()
    assert played == [Tone.STOP]  # once a pull


def test_a_question_stands_in_sight_while_it_can_be_answered_whatever_pull_is_looked_at(window):
    """The pedal answers it: an answer to what nobody sees would be a wrong zero in silence."""
    feed(window, rest_that_steps_and_a_pull())
    assert window.model.shown is window.model.last
    assert window.model.stand.question is not None
    assert window.bench.panel.accessibleName().startswith("REST MOVED. +6")
