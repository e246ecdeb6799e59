"""The last pass recorded from the sensor: each pull kept, read as the sheet will read it, and the picture moved on."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.refit.bolt_pass import BoltPass, PassRules, TighteningCatcher
from analysis.refit.fasteners import BoltReading
from analysis.refit.limits import State
from analysis.trace import Trace
from drivers.errors import LineLostError
from rig.cli import main
from rig.files.metadata import TraceInfo, Transducer
from rig.live.news import Ended
from rig.live.runner import Status
from rig.refit import answer
from rig.refit.bolt_recording import Keeper, record_pass
from rig.refit.document import read_refit

RATE_HZ = 200.0
SHEET = """
[[fasteners]]
name = "ring gear bolts"
count = 4
torque = "60 N.m"
state = "new"
"""


def stream_of(peaks_nm, zero_nm=0.0, pause_s=3.0, sign=1):
    """Pulls one after the other, each up in a second and let go in a fifth, `pause_s` apart."""
    parts = [np.zeros(int(2 * RATE_HZ))]
    for peak in peaks_nm:
        parts += [np.linspace(0, peak, int(RATE_HZ)), np.linspace(peak, 0, int(RATE_HZ / 5)), np.zeros(int(pause_s * RATE_HZ))]
    torque = sign * np.concatenate([*parts, np.zeros(int(3 * RATE_HZ))]) + zero_nm
    return Trace(np.arange(torque.size) / RATE_HZ, torque, None)


def cut(trace, at):
    edges = [0, *sorted(at), len(trace)]
    return [Trace(trace.time_s[a:b], trace.torque_nm[a:b], None) for a, b in itertools.pairwise(edges) if b > a]


def caught(pieces, torque_nm=60.0, zero_nm=0.0, **options):
    catcher = TighteningCatcher(torque_nm, **options)
    return [one for piece in pieces for one in catcher.feed(piece, zero_nm)]


# -- the catcher ------------------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(25, 90), min_size=1, max_size=4), st.lists(st.integers(1, 3000), max_size=30), st.sampled_from([1, -1]))
def test_the_same_tightenings_however_the_stream_is_cut(peaks, at, sign):
    whole = stream_of(peaks, sign=sign)
    at_once, in_pieces = caught([whole]), caught(cut(whole, [each for each in at if each < len(whole)]))
    assert len(at_once) == len(peaks)
    for one, other in zip(at_once, in_pieces, strict=True):
        assert np.array_equal(one.time_s, other.time_s)
        assert np.array_equal(one.torque_nm, other.torque_nm)
    assert [float(np.abs(one.torque_nm).max()) for one in at_once] == pytest.approx(peaks, rel=0.01)


def test_rest_before_a_pull_is_kept_for_its_zero():
    (one,) = caught([stream_of([60.0], zero_nm=5.0)], zero_nm=5.0)
    assert np.allclose(one.torque_nm[: int(RATE_HZ)], 5.0)


def test_a_knock_is_no_tightening_and_a_second_grip_is_the_same_bolt():
    assert caught([stream_of([10.0])]) == []
    assert len(caught([stream_of([50.0, 60.0], pause_s=1.0)])) == 1
    assert len(caught([stream_of([50.0, 60.0], pause_s=2.2)])) == 2
    assert len(caught([stream_of([50.0, 60.0], pause_s=2.2)], with_angle=True)) == 1


def test_a_device_that_begins_anew_is_begun_anew_with():
    trace = stream_of([60.0])
    half = len(trace) // 3
    found = caught([*cut(trace, [half])[:1], trace])
    assert len(found) == 1


def test_what_hangs_on_the_sensor_ends_at_last():
    flat = Trace(np.arange(0, 200, 0.01), np.full(20_000, 50.0), None)
    found = caught(cut(flat, range(500, 20_000, 500)))
    assert found
    assert all(float(one.time_s[-1] - one.time_s[0]) <= PassRules().longest_s + PassRules().before_s + 0.1 for one in found)


# -- the pass ---------------------------------------------------------------------------------------------------------------------


def test_a_pass_goes_in_its_order_and_waits_for_what_can_be_mended():
    done = BoltPass.of(4)
    assert (done.order, done.next_bolt) == ((1, 3, 2, 4), 1)
    done = done.noted(1, BoltReading(50.0), State.BELOW)
    assert done.next_bolt == 1
    done = done.noted(1, BoltReading(60.0), State.IN_TOLERANCE).noted(3, BoltReading(70.0), State.ABOVE)
    assert done.next_bolt == 2  # a bolt that is too tight is not mended by pulling
    back = done.without_last()
    assert (back.next_bolt, back.states[2]) == (3, State.NOT_RECORDED)


@given(
    st.lists(st.sampled_from([State.IN_TOLERANCE, State.BELOW, State.ABOVE, State.NOT_RECORDED]), max_size=30), st.integers(1, 9)
)
def test_a_pass_ends_when_no_bolt_is_left_to_pull(states, count):
    done = BoltPass.of(count)
    for state in states:
        if (number := done.next_bolt) is None:
            break
        done = done.noted(number, BoltReading(1.0), state)
    settled = [state in (State.IN_TOLERANCE, State.ABOVE) for state in done.states]
    assert (done.next_bolt is None) == all(settled)


# -- recording --------------------------------------------------------------------------------------------------------------------


class Stepped:
    """A clock that a test steps, and the bench whose pieces come with it."""

    def __init__(self, pieces, error=None):
        self.pieces, self.error, self.status, self.at_s = list(pieces), None, Status(), 0.0
        self._last = error

    def now(self):
        return self.at_s

    def wait_until(self, moment_s, stop):
        self.at_s = moment_s
        return False

    def scope(self):
        return [self.pieces.pop(0)] if self.pieces else []

    def news(self):
        if self.pieces:
            return []
        self.error = self._last
        return [Ended("" if self.error is None else "gone")]


@pytest.fixture
def sheet(tmp_path):
    (tmp_path / "REFIT.toml").write_text(SHEET, "utf-8")
    return tmp_path / "REFIT.toml"


def recorded(sheet, peaks, typed=(), **options):
    part = read_refit(sheet).value.fasteners[0]
    info = TraceInfo(transducer=Transducer(name="made sensor", capacity_nm=200.0, u_nm=0.3))
    keeper, said, lines = Keeper(sheet.parent / "bolts", part, info), [], list(typed)
    bench = Stepped(cut(stream_of(peaks), range(20, 100_000, 20)), **options)
    done = record_pass(
        bench,
        keeper,
        bench,
        say=said.append,
        tell=lambda _: None,
        asked_to_end=lambda: False,
        typed=lambda: [lines.pop(0)] if lines and len(said) >= 3 else [],
    )
    return keeper, done, said


def test_bolt_after_bolt_is_kept_and_the_sheet_reads_the_same(sheet):
    keeper, done, said = recorded(sheet, [60.2, 55.0, 60.9, 59.8, 61.0])  # the second is pulled again
    assert done.next_bolt is None
    assert said[0].startswith("bolt 1: 60")
    assert any("too low in torque: pull again" in line for line in said)
    assert done.taken == (1, 3, 3, 2, 4)
    names = ", ".join(f'"{name}"' for name in keeper.names(done, sheet.parent))
    sheet.write_text(SHEET + f"traces = [{names}]\n", "utf-8")
    (group,) = answer(sheet)["fasteners"]
    assert group["complete"]
    assert [bolt["peak_nm"] for bolt in group["bolts"]] == [reading.peak_nm for reading in done.readings]
    assert [bolt["peak_nm"] for bolt in group["bolts"]] == pytest.approx([60.2, 59.8, 60.9, 61.0], rel=0.01)


def test_the_last_bolt_is_pulled_again_on_a_word(sheet):
    _, done, said = recorded(sheet, [60.0, 61.0], typed=["b"])
    assert sum(line.startswith("bolt 1: 60.0 N.m (4") for line in said) == 2
    assert done.taken == (1,)


def test_a_line_that_ends_leaves_what_was_taken(sheet):
    keeper, done, _ = recorded(sheet, [60.0])
    assert (done.taken, done.next_bolt) == ((1,), 3)
    assert keeper.path(1).exists()
    with pytest.raises(LineLostError):
        recorded(sheet, [60.0], error=LineLostError("gone"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--record", "no such group", "--device", "x.toml"], "no group of fasteners"),
        (["--record", "ring gear bolts", "--device", "missing.toml"], "missing.toml"),
    ],
)
def test_what_cannot_be_recorded_is_said(sheet, capsys, words, said):
    assert main(["refit", str(sheet), *words]) == 2
    assert said in capsys.readouterr().err


def test_single_use_bolts_used_again_are_not_recorded(sheet, capsys):
    sheet.write_text(SHEET.replace('"new"', '"reused"') + "single_use = true\n", "utf-8")
    assert main(["refit", str(sheet), "--record", "ring gear bolts", "--device", "x.toml"]) == 2
    assert "hold once" in capsys.readouterr().err
