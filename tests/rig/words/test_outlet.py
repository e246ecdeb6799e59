"""The filter at the outlets: nothing that steers a terminal goes out, wherever it came from; JSON stays the same JSON."""

import contextlib
import json
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import LONGEST_SENTENCE, BenchError
from rig.cli import main
from rig.words.outlet import plain, plain_outlets, unfiltered


@given(st.text())
def test_nothing_that_steers_a_terminal_is_left(text: str) -> None:
    assert all(char.isprintable() or char in "\n\t" or char.isspace() or not char.isascii() for char in plain(text))
    assert not set(plain(text)) & {chr(code) for code in (*range(9), 0x1B, 0x7F, *range(0x80, 0xA0), 0x202E, 0x2066)}


@given(st.dictionaries(st.text(), st.text()))
def test_json_stays_the_same_json(document: dict[str, str]) -> None:
    assert json.loads(plain(json.dumps(document, ensure_ascii=False))) == document


def test_the_streams_themselves_are_filtered_and_ours_are_not(capsys: pytest.CaptureFixture[str]) -> None:
    with plain_outlets():
        print("pull\x1b[2J\x9b31m")
        sys.stderr.writelines(["a\x07", "b"])
        unfiltered(sys.stdout).write("\a")
    assert capsys.readouterr() == ("pull\\u001b[2J\\u009b31m\n\a", "a\\u0007b")


def test_a_message_is_one_short_line_whatever_it_quotes() -> None:
    """Findings 7.6: messages quoted 100,000 characters."""
    said = str(BenchError(f"the cell '{'x' * 100_000}' is no number", where="a\nb\x1b.csv", remedy="y" * 100_000))
    assert said.startswith(f"a b?.csv: the cell '{'x' * 57}...' is no number; y")
    assert len(said) < 2 * LONGEST_SENTENCE
    assert said.isprintable()


@pytest.mark.parametrize(
    "words", [["analyse", "\x1b[2J.csv"], ["analyse", "\x1b[2J"], ["\x1b[2J"], ["analyse", "--window", "\x1b[2J", "x.csv"]]
)
def test_what_was_typed_comes_back_harmless(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with contextlib.suppress(SystemExit):
        main(words)
    out, err = capsys.readouterr()
    assert err
    assert "\x1b" not in out + err
