"""What the bench asks between pulls, and what follows from the answers: free turns, a level at rest that moved, knocks."""

import io

import numpy as np
import pytest
from support import busy_bench as bench
from support.busy_bench import Piece, busy_bench
from support.made import MOMENT, made_stream, pieces_of

from analysis.pull.events import NoPullKind
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace, join
from analysis.window import Window
from rig.files.metadata import TraceInfo
from rig.files.pull_file import known_of_rest, read_recording
from rig.files.trace_csv import read_trace
from rig.live.news import Failed, FreeTurnSeen, NotAPull, PullBegan, PullJudged, RestLevelExplained, RestLevelMoved
from rig.live.recorder import Recorder
from rig.live.session import Session
from rig.live.terminal import Keys, Terminal
from rig.live.wishes import CountFreeTurn, ExplainRest

SENSOR = Sensor(capacity_nm=200.0, u_relative=0.005)
STEP_NM = 6.0
TRUE_NM = 60.0
MOVED = {QualityCode.REST_MOVED}


def of(kind, news):
    return [item for item in news if isinstance(item, kind)]


def finals(news):
    return [item for item in of(PullJudged, news) if item.final]


def run(session, stream):
    return [item for piece in pieces_of(stream, [10]) for item in session.step(piece)]


def free_turn(start_s=0.0):
    rng = np.random.default_rng(3)
    return busy_bench([bench.turned_free(rng)], rng, start_s=start_s)


def stepped(by_nm=STEP_NM):
    """Rest, a step of the level, rest; then a pull of 60 N.m from the new level."""
    step = Piece(np.where(np.arange(200) > 100, by_nm, 0.0), np.zeros(200), moved_nm=by_nm)
    rest = busy_bench([step], np.random.default_rng(1))
    pull = made_stream(1, start_s=float(rest.time_s[-1]) + 0.002)
    return join([rest, Trace(pull.time_s, pull.torque_nm + by_nm, pull.angle_deg)])


def recorder_in(folder):
    return Recorder(folder, TraceInfo(), lambda: MOMENT, lambda: 0.0)


def test_a_free_turn_is_kept_asked_about_and_has_no_vote(tmp_path):
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path), window=Window.parse("10.. N.m"))
    news = run(session, free_turn())
    (turn,) = of(FreeTurnSeen, news)
    assert not finals(news)
    assert (turn.number, session.pulls) == (1, 0)
    assert turn.result.held_nothing
    assert read_trace(turn.file)[1].free_turn is True
    (judged,) = session.carry_out(CountFreeTurn())
    assert (judged.number, judged.file, judged.verdict.state) == (1, turn.file, "below")
    assert session.pulls == 1
    assert read_trace(turn.file)[1].free_turn is None
    assert isinstance(session.carry_out(CountFreeTurn())[0], Failed)


def test_a_free_turn_that_was_no_pull_stays_without_a_vote(tmp_path):
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path))
    (turn,) = of(FreeTurnSeen, run(session, free_turn()))
    assert session.carry_out(CountFreeTurn(counts=False, number=1)) == []
    assert session.pulls == 0
    assert read_trace(turn.file)[1].free_turn is True


def test_free_turns_count_where_a_person_said_so_beforehand(tmp_path):
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path), count_free_turns=True)
    (judged,) = finals(run(session, free_turn()))
    assert judged.result.held_nothing
    assert session.pulls == 1
    assert read_trace(judged.file)[1].free_turn is None


def test_the_pull_after_a_free_turn_has_the_next_number():
    session = Session(sensor=SENSOR)
    news = run(session, free_turn()) + run(session, made_stream(1, start_s=50.0))
    assert [item.number for item in finals(news)] == [2]


def test_a_level_at_rest_that_moved_is_asked_about_and_nothing_decides_until_it_is_answered(tmp_path):
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path), window=Window.parse("40..80 N.m"))
    news = run(session, stepped())
    (asked,) = of(RestLevelMoved, news)
    assert asked.by_nm == pytest.approx(STEP_NM, abs=0.1)
    (pull,) = finals(news)
    assert {flag.code for flag in pull.result.quality} >= MOVED
    assert pull.result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.01)
    assert read_trace(pull.file)[1].rest_moved_nm == pytest.approx(STEP_NM, abs=0.1)


@pytest.mark.parametrize("by_nm", [STEP_NM, -STEP_NM])
@pytest.mark.parametrize("lever_on", [True, False])
def test_the_answer_reads_the_pulls_since_then_again(tmp_path, lever_on, by_nm):
    """A lever that hung on loads the plates too, so its 6 N.m count; a zero that moved does not. So says the file later on."""
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path))
    (before,) = finals(run(session, stepped(by_nm)))
    explained, again = session.carry_out(ExplainRest(lever_on=lever_on))
    assert (explained.by_nm, explained.lever_on) == (pytest.approx(by_nm, abs=0.1), lever_on)
    assert (again.number, again.file) == (before.number, before.file)
    assert not MOVED & {flag.code for flag in again.result.quality}
    expected = TRUE_NM + (by_nm if lever_on else 0.0)
    assert again.result.breakaway.torque_nm == pytest.approx(expected, rel=0.01)
    kept = read_recording(again.file, lambda info: SENSOR).result
    assert kept.breakaway.torque_nm == again.result.breakaway.torque_nm
    assert kept.quality == again.result.quality


def test_pulls_after_the_answer_need_none():
    session = Session(sensor=SENSOR)
    run(session, stepped())
    session.carry_out(ExplainRest(lever_on=True))
    pull = made_stream(1, start_s=100.0)
    (judged,) = finals(run(session, Trace(pull.time_s, pull.torque_nm + STEP_NM, pull.angle_deg)))
    assert judged.result.breakaway.torque_nm == pytest.approx(TRUE_NM + STEP_NM, rel=0.01)
    assert not MOVED & {flag.code for flag in judged.result.quality}


def test_a_lever_taken_off_again_leaves_nothing_to_ask():
    session = Session(sensor=SENSOR)
    steps = [Piece(np.where(np.arange(200) > 100, by, 0.0), np.zeros(200), moved_nm=by) for by in (STEP_NM, -STEP_NM)]
    asked = of(RestLevelMoved, run(session, busy_bench(steps, np.random.default_rng(1))))
    assert [item.by_nm for item in asked] == [pytest.approx(STEP_NM, abs=0.1), 0.0]
    assert isinstance(session.carry_out(ExplainRest(lever_on=True))[0], Failed)


def test_what_is_no_pull_is_counted_told_small_and_leaves_no_file(tmp_path):
    rng = np.random.default_rng(2)
    length = 1000
    push = Piece(12 * np.sin(np.pi * np.arange(length) / length), 0.3 * np.sin(np.pi * np.arange(length) / length))
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path))
    news = run(session, busy_bench([push, push, push], rng))
    told = of(NotAPull, news)
    assert [(item.kind, item.times) for item in told] == [(NoPullKind.LEANED_ON, n) for n in (1, 2, 3)]
    assert len(of(PullBegan, news)) == 3
    assert not list(tmp_path.iterdir())
    assert (session.pulls, len(finals(news))) == (0, 0)


def test_a_stated_zero_that_the_trace_contradicts_is_told_and_does_not_count(tmp_path):
    session = Session(sensor=SENSOR, recorder=recorder_in(tmp_path))
    (pull,) = finals(run(session, made_stream(1)))
    info = read_trace(pull.file)[1]
    assert read_recording(pull.file, lambda info: SENSOR).result.stated_zero_nm is None
    assert known_of_rest(info).stated_nm == pytest.approx(0.0, abs=0.05)
    metadata = pull.file.with_name(pull.file.name + "-metadata.json")
    metadata.write_text(metadata.read_text("utf-8").replace(f'"zero_before_nm": {info.zero_before_nm}', '"zero_before_nm": 26.76'))
    again = read_recording(pull.file, lambda info: SENSOR).result
    assert again.stated_zero_nm == 26.76
    assert again.breakaway.torque_nm == pull.result.breakaway.torque_nm


def test_the_terminal_asks_and_takes_the_answers():
    out, err = io.StringIO(), io.StringIO()
    terminal = Terminal(out, err, large=True)
    session = Session(sensor=SENSOR)
    for item in [*run(session, stepped()), *run(session, free_turn(60.0)), NotAPull(NoPullKind.KNOCK, 12.0, 3)]:
        terminal.show(item)
    terminal.show(RestLevelExplained(STEP_NM, lever_on=True))
    said = out.getvalue()
    assert "rest level moved by +6.0" in said or "rest level moved by +5.9" in said
    assert "lever hung on, or zero moved?" in said
    assert "nothing held" in said
    assert "was that the pull?" in said
    assert "3 knocks, no pull" in err.getvalue()
    assert Keys(io.StringIO("p\n")).wishes() == []  # no keyboard, no answers

    class Typed(io.StringIO):
        def isatty(self):
            return True

    keys = Keys(Typed("p\nx\nl\n"))
    found = []
    for _ in range(1000):
        found += keys.wishes()
        if len(found) == 2:
            break
    assert found == [CountFreeTurn(), ExplainRest(lever_on=True)]
