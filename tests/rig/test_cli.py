"""The command line: verbs, light help, one line for every complaint."""

import errno
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.errors import BenchError
from drivers.errors import LineLostError
from rig import cli


@pytest.mark.parametrize("verb", ["analyse", "emulate", "live", "ports", "record", "replay"])
def test_every_verb_has_its_help(verb, capsys):
    with pytest.raises(SystemExit) as end:
        cli.main([verb, "--help"])
    assert end.value.code == 0
    assert f"platepull {verb}" in capsys.readouterr().out


def test_every_module_of_commands_is_a_verb_named_like_it():
    folder = Path(cli.__file__).parent / "commands"
    there = {path.stem for path in folder.glob("*.py") if not path.stem.startswith("_")}
    assert set(cli.verb_names()) == there
    assert {"analyse", "live", "record", "shim", "compare", "refit", "job", "book", "doctor"} <= there
    for name in cli.verb_names():
        assert name == cli._verb(name).NAME


def test_the_general_help_imports_nothing_heavy():
    code = (
        "import sys; from rig.cli import main; main([]); "
        "print([name for name in ('scipy', 'PySide6', 'pyqtgraph', 'pint') if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "analyse" in done.stdout


@pytest.mark.parametrize(("typed", "meant"), [(["analyze", "x.csv"], "analyse"), (["guide", "first"], "first_pull")])
def test_a_word_that_is_nearly_a_choice_is_asked_back(typed, meant, capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(typed)
    assert end.value.code == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert f"did you mean '{meant}'?" in told


def test_version_and_nothing(capsys):
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("platepull ")
    assert cli.main([]) == 2


@pytest.mark.parametrize("words", [["nix"], ["analyse"], ["analyse", "--nix", "a.csv"], ["record", "--pulls", "0"]])
def test_a_misused_option_is_one_line_and_status_2(words, capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(words)
    assert end.value.code == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (BenchError("it is bent", where="lever", remedy="straighten it"), 2),
        (LineLostError("the line\nwent away", where="COM3", remedy="check it"), 3),
        (KeyboardInterrupt(), 130),
        (BrokenPipeError(), 0),
    ],
)
def test_what_a_verb_raises_becomes_a_status_and_one_line(error, status, capsys, monkeypatch):
    def fails(args):
        raise error

    from rig.commands import ports

    monkeypatch.setattr(cli.os, "dup2", lambda *_: None)
    monkeypatch.setattr(ports, "run", fails)
    assert cli.main(["ports"]) == status
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == isinstance(error, BenchError)


def test_an_output_that_takes_no_more_is_one_line_and_status_2(monkeypatch, capsys):
    class Full(io.StringIO):
        def write(self, text):
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(sys, "stdout", Full())
    assert cli.main(["ports"]) == 2
    told = capsys.readouterr().err
    assert told == "platepull ports: the output cannot be written (No space left on device); send it elsewhere, or make room\n"


def test_our_own_mistakes_are_not_hidden(monkeypatch):
    from rig.commands import ports

    def fails(args):
        raise ZeroDivisionError

    monkeypatch.setattr(ports, "run", fails)
    with pytest.raises(ZeroDivisionError):
        cli.main(["ports"])


@pytest.mark.parametrize(
    ("typed", "offered"),
    [("platepull an", {"analyse"}), ("platepull schema m", {"metadata"}), ("platepull guide fi", {"first_pull", "files"})],
)
def test_a_shell_that_asks_is_told_how_the_line_goes_on(tmp_path, typed, offered):
    """What argcomplete's shell functions send, and where they look for the answer."""
    asked = {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_IFS": "\v",
        "COMP_LINE": typed,
        "COMP_POINT": str(len(typed)),
        "_ARGCOMPLETE_STDOUT_FILENAME": str(tmp_path / "answer"),
    }
    command = [sys.executable, "-c", "from rig.cli import main; main()"]
    subprocess.run(command, env={**os.environ, **asked}, check=True, capture_output=True, timeout=90)
    answer = (tmp_path / "answer").read_text(encoding="utf-8")
    assert {word.strip() for word in answer.split("\v")} == offered
