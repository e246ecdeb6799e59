"""Options that several verbs share: what a person states of a pull, and what is believed of it."""

import argparse

import pytest

from rig.commands._options import STATED, add_stated, scatter_of, stated_info
from rig.errors import ArgumentError
from rig.files.metadata import TraceInfo


def stated(*words):
    parser = argparse.ArgumentParser()
    add_stated(parser)
    return stated_info(parser.parse_args(list(words)))


def test_what_is_stated_goes_into_the_metadata_by_its_own_keys():
    free = {"--lubricant": "oil", "--additive": "none", "--plates": "pack", "--lever": "long", "--adapter": "hub"}
    words = [part for pair in free.items() for part in pair] + ["--arrangement", "a", "--closure", "Final"]
    found = stated(*words, "--plate-state", "run in", "--temperature", "70 degF", "--rest", "2 min")
    info = TraceInfo(**found)
    assert (info.arrangement, info.closure, info.plate_state) == ("A", "final", "run_in")
    assert info.temperature_c == pytest.approx(21.11, abs=0.01)
    assert info.rest_s == 120.0
    assert len(found) == len(STATED)


def test_bare_numbers_are_degrees_celsius_and_seconds():
    assert stated("--temperature", "21", "--rest", "30") == {"temperature_c": 21.0, "rest_s": 30.0}
    assert stated() == {}


@pytest.mark.parametrize(
    "words",
    [
        ["--temperature", "-300 degC"],
        ["--temperature", "warm"],
        ["--rest", "5 kg"],
        ["--rest", "99999999 h"],
        ["--closure", "open"],
        ["--arrangement", "C"],  # case and other output both held: nothing can turn
        ["--arrangement", "left turned"],
        ["--plate-state", "worn"],
    ],
)
def test_what_cannot_be_is_refused_with_its_option(words):
    with pytest.raises(ArgumentError) as refused:
        stated(*words)
    assert words[0] in str(refused.value)


def test_the_scatter_of_the_bench_is_four_per_cent_as_well_as_five_pulls_tell_it_unless_stated():
    assert (scatter_of(None).relative, scatter_of(None).degrees_of_freedom) == (0.04, 4.0)
    assert (scatter_of("2,5 % (12)").relative, scatter_of("2,5 % (12)").degrees_of_freedom) == (0.025, 12.0)
    assert scatter_of("0 %").relative == 0.0
