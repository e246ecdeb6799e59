"""`demo` and `schema`: what is packed with the program comes out as it was kept."""

import json
from pathlib import Path

import pytest

from rig.cli import main
from rig.commands.schema import schema_names

ROOT = Path(__file__).resolve().parents[3]
LEFT_OUT = {"make.py", "__init__.py"}


def kept(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in LEFT_OUT and not {"__pycache__", "build"} & set(path.parts)
    }


def test_the_demo_is_the_recordings_and_the_senders_firmware(tmp_path, capsys):
    assert main(["demo", str(tmp_path / "demo")]) == 0
    written = kept(tmp_path / "demo")
    sender = {f"sender/{name}": data for name, data in kept(ROOT / "drivers" / "sender").items()}
    assert written == {**kept(ROOT / "recordings"), **sender}
    assert {"rebuilt_good.csv", "calibration/plan.toml", "refit/REFIT.toml", "sender/main.c"} <= written.keys()
    assert "invented" in capsys.readouterr().out


def test_what_the_demo_says_to_try_works(tmp_path, capsys):
    assert main(["demo", str(tmp_path)]) == 0
    tried = [line.split()[1:] for line in capsys.readouterr().out.splitlines() if line.startswith("  platepull")]
    assert {words[0] for words in tried} == {"analyse", "replay", "calibrate", "refit"}
    for words in tried:
        if words[0] != "replay":  # that one takes as long as the pull took
            assert main(words) == 0, words


def test_a_second_demo_changes_nothing_and_a_file_of_ones_own_is_left_alone(tmp_path, capsys):
    assert main(["demo", str(tmp_path)]) == 0
    assert main(["demo", str(tmp_path)]) == 0
    (tmp_path / "rebuilt_good.csv").write_text("mine")
    assert main(["demo", str(tmp_path)]) == 2
    assert "another file of that name" in capsys.readouterr().err
    assert (tmp_path / "rebuilt_good.csv").read_text() == "mine"


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["demo", str(tmp_path / "file" / "demo")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize("name", schema_names())
def test_a_schema_is_printed_as_it_is_packed(name, capsys):
    assert main(["schema", name]) == 0
    printed = capsys.readouterr().out
    assert printed == (ROOT / "rig" / "schemas" / f"{name}.schema.json").read_text("utf-8")
    assert "$schema" in json.loads(printed)


def test_without_a_name_the_schemas_are_listed(capsys):
    assert main(["schema"]) == 0
    assert capsys.readouterr().out.split() == schema_names()
