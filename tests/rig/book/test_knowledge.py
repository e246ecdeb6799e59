"""What the book knows of the bench: its scatter, pooled over jobs, and a control chart of it."""

import json
from pathlib import Path

import numpy as np
import pytest
from support.jobs import START, Chain

from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.window import Basis
from rig import cli
from rig.book.book import Book
from rig.book.gates import gate, judging_of
from rig.book.knowledge import LEAST_DEGREES, RUN, JobScatter, chart, known_scatter, pool, scatters
from rig.book.place import Place


def open_book(url):
    return Book(Place.of(url), lambda: START)


def enter(book, chain):
    places = {(entry.entry, part): Path(name) for entry in chain.record.entries for part, (name, _) in enumerate(entry.files)}
    return book.adopt(chain.events, places)


def job(counter, values, *, serial="S1", **terms):
    """A job of pulls of these values, half of them each way."""
    chain = Chain(job=f"2026-{counter:04d}")
    for at, value in enumerate(values):
        chain.pull(value, 1 if at % 2 else -1, transducer={"serial": serial}, **terms)
    return chain


@pytest.fixture
def drawn():
    """Values of twelve jobs with a scatter of 3 %, each at a level of its own."""
    rng = np.random.default_rng(4)
    return [level * (1 + rng.normal(0, 0.03, 8)) for level in rng.uniform(30, 90, 12)]


def test_the_scatter_is_that_within_states_and_directions_pooled_over_jobs(book_url, drawn):
    with open_book(book_url) as book:
        for counter, values in enumerate(drawn, start=1):
            enter(book, job(counter, values))
        told = pool(scatters(book, Basis.BREAKAWAY))
    groups = [values[way::2] for values in drawn for way in (0, 1)]
    squares = sum(float(np.sum((group / group.mean() - 1) ** 2)) for group in groups)  # by numpy, from the values themselves
    degrees = sum(group.size - 1 for group in groups)
    assert told.degrees_of_freedom == degrees == 72
    assert told.relative == pytest.approx(np.sqrt(squares / degrees), rel=1e-9)
    assert told.relative == pytest.approx(0.03, rel=0.25)


def test_directions_states_and_strikes_are_told_apart(book_url):
    with open_book(book_url) as book:
        chain = job(1, [50.0, 40.0, 50.0, 40.0])  # each way alike
        chain.pull(90.0, phase="as found")
        wrong = chain.pull(70.0)
        chain.strike(wrong)
        enter(book, chain)
        [told] = scatters(book, Basis.BREAKAWAY)
    assert (told.degrees_of_freedom, told.relative) == (2, pytest.approx(0.0, abs=1e-6))


def test_a_job_is_judged_with_the_history_of_its_sensor_without_itself(book_url, drawn):
    with open_book(book_url) as book:
        for counter, values in enumerate(drawn, start=1):
            enter(book, job(counter, values, serial="S1" if counter % 2 else "S2"))
        own = enter(book, job(99, [50.0, 50.0, 60.0, 60.0, 70.0, 70.0]))
        known = known_scatter(book, own, Basis.BREAKAWAY, USUAL_SCATTER)
        assert known.degrees_of_freedom == 6 * 6
        assert known.relative < 0.06  # its own 17 % are not in it
        new = enter(book, job(100, [50.0, 51.0], serial="new"))
        assert known_scatter(book, new, Basis.BREAKAWAY, USUAL_SCATTER) == USUAL_SCATTER


def test_too_short_a_history_says_nothing(book_url):
    with open_book(book_url) as book:
        enter(book, job(1, [50.0, 50.0, 51.0, 51.0]))  # two degrees of freedom
        record = enter(book, job(2, [50.0]))
        stated = Scatter(0.06, 9.0)
        assert LEAST_DEGREES > 2
        assert known_scatter(book, record, Basis.BREAKAWAY, stated) == stated


def test_a_bench_that_is_known_to_be_quiet_decides_sooner():
    near = Chain()
    near.spec()
    near.oil()
    near.pulls(torque_nm=63.4, scatter_nm=0.2)
    near.refit()
    record = near.record
    step = record.step("lock_tabs")
    assert [one.code for one in gate(record, step).missing] == ["verdict"]
    quiet = judging_of(record, Scatter(0.005, 40.0))
    assert gate(record, step, judging=quiet).missing == ()


def scattered(*values, degrees=8):
    return [
        JobScatter(job=f"2026-{at:04d}", relative=value, degrees_of_freedom=degrees) for at, value in enumerate(values, start=1)
    ]


def test_a_job_beyond_its_limits_is_named_and_few_pulls_have_wide_ones():
    usual = scattered(*[0.03, 0.034, 0.027, 0.031] * 5)
    told = chart([*usual, JobScatter(job="2026-0099", relative=0.09, degrees_of_freedom=8)])
    assert [point.job for point in told.points if "beyond" in point.rules] == ["2026-0099"]
    told = chart([*usual, JobScatter(job="2026-0099", relative=0.09, degrees_of_freedom=1)])
    assert not [point for point in told.points if "beyond" in point.rules]


def test_a_run_on_one_side_is_a_shift():
    told = chart(scattered(*[0.026, 0.034] * 4, *[0.034] * RUN))
    assert [point.job for point in told.points if "run" in point.rules] == [f"2026-{8 + RUN - 1:04d}", f"2026-{8 + RUN:04d}"]


def test_a_bench_that_does_not_change_is_seldom_suspected():
    rng = np.random.default_rng(7)
    jobs = [
        JobScatter(job=str(at), relative=float(np.sqrt(rng.chisquare(8) / 8)) * 0.03, degrees_of_freedom=8) for at in range(4000)
    ]
    beyond = sum("beyond" in point.rules for point in chart(jobs).points)
    assert 2 <= beyond <= 25  # 10.8 expected of two shares of 0.135 %


def test_no_repeats_no_chart():
    assert chart([]).centre is None


def test_the_trend_is_told_as_text_and_as_json(book_url, drawn, capsys):
    with open_book(book_url) as book:
        for counter, values in enumerate(drawn, start=1):
            enter(book, job(counter, values))
    assert cli.main(["book", "trend", "--json", "--book", book_url]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["degrees_of_freedom"] == 72
    assert [point["job"] for point in told["points"]] == [f"2026-{counter:04d}" for counter in range(1, 13)]
    assert cli.main(["book", "trend", "--book", book_url]) == 0
    assert "scatter from pull to pull, breakaway" in capsys.readouterr().out
