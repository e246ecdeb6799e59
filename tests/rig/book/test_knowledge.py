"""What the book knows of the bench: its scatter, pooled over jobs, and a control chart of it."""

import json
from pathlib import Path

import numpy as np
import pytest
from support.jobs import START, Chain

from analysis.pack.shop import FrictionSeen, ShopHistory, prior_of
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.window import Basis
from rig import cli
from rig.book.book import Book
from rig.book.gates import gate, judging_of
from rig.book.knowledge import (
    LEAST_DEGREES,
    JobLevel,
    JobScatter,
    directions_apart,
    known_scatter,
    pool,
    scatters,
    shims_did,
    shop_history,
    zero_moves,
)
from rig.book.place import Place
from rig.book.trend import RUN, TREND, chart, level_chart


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


# -- what shims did, friction by oil ------------------------------------------------------------------------------------------


def test_what_a_change_of_shims_alone_did_is_learnt_from_the_pulls_around_it(book_url):
    chain = Chain(job="2026-0001")
    chain.pack(left_shims=("0.30 mm",))
    chain.pulls(torque_nm=40.0, scatter_nm=0.0)
    chain.pack(left_shims=("0.30 mm", "0.10 mm"))
    chain.pulls(torque_nm=52.0, scatter_nm=0.0)
    with open_book(book_url) as book:
        enter(book, chain)
        history = shop_history(book)
        assert shop_history(book, without="2026-0001") == ShopHistory()
    [seen] = history.sensitivities
    assert (seen.nm_per_mm, seen.torque_nm) == (pytest.approx(120.0), pytest.approx(46.0))
    # 4 % a pull over six pulls and 3.5 % a rebuild, of 40 and 52 N.m over 0.1 mm, by hand
    assert seen.u_nm_per_mm == pytest.approx(10 * np.hypot(40, 52) * np.hypot(0.04 / np.sqrt(6), 0.035), rel=1e-6)
    assert [level.value for level in shims_did(history)] == [pytest.approx(120.0 / 46.0)]


@pytest.mark.parametrize(
    ("change", "terms"),
    [({"left_shims": ("0.30 mm",)}, {}), ({"plates": 3}, {}), ({}, {"lubricant": "another"}), ({}, {"closure": "trial"})],
)
def test_nothing_is_learnt_where_more_or_nothing_changed(book_url, change, terms):
    chain = Chain(job="2026-0001")
    chain.pack()
    chain.pulls(torque_nm=40.0)
    number = chain.pack(left_shims=change.get("left_shims", ("0.40 mm",)))
    if "plates" in change:
        chain.strike(number)
    chain.pulls(torque_nm=52.0, **terms)
    with open_book(book_url) as book:
        enter(book, chain)
        assert shop_history(book).sensitivities == ()


@pytest.mark.parametrize("rebuild", [0.0, 0.05])
def test_scatter_from_rebuild_to_rebuild_is_learnt_where_nothing_was_changed(book_url, rebuild):
    rng = np.random.default_rng(5)
    with open_book(book_url) as book:
        for number in range(1, 13):
            chain = Chain(job=f"2026-{number:04d}")
            for mean in 40.0 * np.exp(rng.normal(0, rebuild, 4)):
                chain.pack()
                for sign in (1, -1):
                    for torque in mean * (1 + 0.01 * rng.normal(size=3)):
                        chain.pull(torque_nm=float(torque), direction=sign)
            enter(book, chain)
        history = shop_history(book)
    assert history.pull_scatter.relative == pytest.approx(0.01, rel=0.2)
    if rebuild:
        assert history.rebuild_scatter.relative == pytest.approx(rebuild, rel=0.35)
        assert history.rebuild_scatter.degrees_of_freedom == 36
    else:
        assert history.rebuild_scatter is None or history.rebuild_scatter.relative < 0.006


def answered(chain, median, low, high, oil="plain"):
    sheet = {"pack": {"oil": oil}, "left": {}, "right": {}}
    answer = {"basis": "breakaway", "friction": {"median": median, "low": low, "high": high}}
    chain.add("pack", {"files": [{"name": "p.toml", "sha256": "0" * 64}], "sheet": sheet, "answer": answer})
    return chain


def test_friction_by_oil_is_that_of_the_last_sheets_that_count(book_url):
    chain = answered(answered(Chain(job="2026-0001"), 0.11, 0.10, 0.12), 0.12, 0.11, 0.13)
    chain.strike(3)
    with open_book(book_url) as book:
        enter(book, chain)
        enter(book, answered(Chain(job="2026-0002"), 0.10, 0.09, 0.11, oil="strong"))
        history = shop_history(book)
    assert [(one.job, one.friction) for one in history.frictions] == [("2026-0001", 0.11), ("2026-0002", 0.10)]
    assert history.friction_of(" PLAIN", Basis.BREAKAWAY).units == 1
    assert history.friction_of("plain", Basis.SLIDING) is None


@pytest.mark.parametrize("units", [5, 40])
def test_the_prior_of_an_oil_does_not_count_once_a_unit(units):
    """Units drawn by a truth 15 % off the prior, answered by Bayes with the prior: the pooled friction is the truth's."""
    rng = np.random.default_rng(units)
    prior, prior_sd = prior_of("plain", Basis.BREAKAWAY)
    truth, own_sd = prior + 0.15, 0.12
    seen = []
    for at in range(units):
        read = truth + rng.normal(0, np.hypot(0.14, own_sd))
        precision = 1 / own_sd**2 + 1 / prior_sd**2
        mean, sd = (read / own_sd**2 + prior / prior_sd**2) / precision, precision**-0.5
        low, median, high = np.exp([mean - 1.959964 * sd, mean, mean + 1.959964 * sd])
        seen.append(FrictionSeen(job=str(at), oil="plain", basis=Basis.BREAKAWAY, friction=median, low=low, high=high))
    pooled = ShopHistory(frictions=tuple(seen)).friction_of("plain", Basis.BREAKAWAY)
    assert pooled.units == units
    assert pooled.log_sd == pytest.approx(np.hypot(0.14, own_sd) / np.sqrt(units), rel=1e-6)
    assert abs(np.log(pooled.friction) - truth) < 3 * pooled.log_sd


def test_a_unit_whose_pulls_told_nothing_repeats_no_prior():
    mean, sd = prior_of("plain", Basis.BREAKAWAY)
    low, median, high = np.exp([mean - 1.959964 * sd, mean, mean + 1.959964 * sd])
    silent = FrictionSeen(job="1", oil="plain", basis=Basis.BREAKAWAY, friction=median, low=low, high=high)
    assert ShopHistory(frictions=(silent,)).friction_of("plain", Basis.BREAKAWAY) is None


# -- levels over the jobs -----------------------------------------------------------------------------------------------------


def levels(*values):
    return [JobLevel(job=f"2026-{at:04d}", value=value, n=6) for at, value in enumerate(values, start=1)]


def rules(told):
    return [set(point.rules) for point in told.points]


def test_a_level_chart_names_the_jump_the_run_and_the_drift():
    rng = np.random.default_rng(1)
    calm = list(rng.normal(0, 0.1, 20))
    assert not [at for at, broken in enumerate(rules(level_chart(levels(*calm)))) if "beyond" in broken]
    assert "beyond" in rules(level_chart(levels(*calm, 1.0)))[-1]
    assert "run" in rules(level_chart(levels(*calm, *(0.15 + 0.01 * rng.normal(0, 1, RUN)))))[-1]
    assert "trend" in rules(level_chart(levels(*calm, *np.linspace(-0.1, 0.15, TREND))))[-1]


def test_limits_of_a_level_are_three_standard_deviations():
    values = np.random.default_rng(2).normal(5.0, 2.0, 5000)
    told = level_chart(levels(*values))
    assert (told.high - told.low) / 2 == pytest.approx(3 * 2.0, rel=0.03)
    assert 2 <= sum("beyond" in broken for broken in rules(told)) <= 28  # 13.5 expected of a share of 0.27 %


def test_few_jobs_have_no_limits():
    told = level_chart(levels(1.0, 2.0))
    assert (told.centre, len(told.points)) == (None, 2)


def test_directions_and_zero_are_told_by_job(book_url):
    with open_book(book_url) as book:
        enter(book, job(1, [45.0, 55.0, 45.0, 55.0]))
        enter(book, job(2, [50.0, 50.0]))
        apart, zero = directions_apart(book, Basis.BREAKAWAY), zero_moves(book)
    assert [(one.job, one.n, one.value) for one in apart] == [
        ("2026-0001", 4, pytest.approx(0.2)),
        ("2026-0002", 2, pytest.approx(0.0)),
    ]
    assert [one.n for one in zero] == [4, 2]


@pytest.mark.parametrize("of", ["zero", "directions", "shims"])
def test_each_trend_is_told_as_text_and_as_json(book_url, drawn, capsys, of):
    with open_book(book_url) as book:
        for counter, values in enumerate(drawn, start=1):
            enter(book, job(counter, values))
    assert cli.main(["book", "trend", "--of", of, "--json", "--book", book_url]) == 0
    told = json.loads(capsys.readouterr().out)
    assert len(told["points"]) == (0 if of == "shims" else 12)
    assert cli.main(["book", "trend", "--of", of, "--book", book_url]) == 0
    assert capsys.readouterr().out
    assert cli.main(["book", "trend", "--of", of, "--sensor", "S1", "--book", book_url]) == 2
    assert "--sensor" in capsys.readouterr().err
