"""What the README and the guide tell people to type is what the program takes."""

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from analysis.window import Window
from drivers.wiring import wiring_for
from rig.cli import parser_for, verb_names
from rig.files.profile import profile_of
from rig.guide import LANGUAGES, page
from rig.settings import load_settings

README = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")


def blocks(language, text=README):
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)


def test_each_of_the_two_commands_is_a_single_line():
    setups = [block for block in blocks("sh") if "apt-get" in block]
    assert len(setups) == 2
    assert all(block.count("\n") == 1 for block in setups)
    assert setups[0].rstrip().endswith("platepull live --pretend")
    assert "pytest" in setups[1]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_profile_is_one_and_the_line_beside_it_is_read_with_it(language):
    text = page("sensor", language)
    profile = profile_of(tomllib.loads(next(block for block in blocks("toml", text) if "[device]" in block)), "guide")
    sample = re.search(r"/\* (.*?) \*/", text).group(1)
    codec = wiring_for(profile).codec
    (reading,) = codec.feed(f"\r\n{sample}\r\n".encode())
    assert (reading.torque, reading.angle, reading.stamp) == (46.87, 12.40, 1234000)
    assert codec.faults.total == 0


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_modbus_section_and_the_further_keys_of_text_are_ones(language):
    text = page("sensor", language)
    device, modbus = (next(block for block in blocks("toml", text) if head in block) for head in ("[device]", "[modbus]"))
    asked = profile_of(tomllib.loads(device.split("[text]")[0].replace('"text"', '"modbus"') + modbus), "README").modbus
    assert (asked.torque.type, asked.torque.scale.factor, asked.angle.register) == ("int32", 0.001, 2)
    keys = re.search(r"`\[text\]`: (.*?)\n\n", text, flags=re.DOTALL).group(1)
    outlier = "\n".join(key for key in re.findall(r"`([^`]*)`", keys) if " = " in key)
    sample = 'columns = ["T = torque [N.m]", "A = angle [deg]"]\ndelimiter = " "\nrate = "500 Hz"\n'
    layout = profile_of(tomllib.loads(f"{device.split('[text]')[0]}[text]\n{sample}{outlier}"), "README").text
    assert (layout.decimal, layout.tag, layout.sign_after, layout.check) == (",", "$TQ", True, True)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_offset_adapter_goes_into_that_profile(language):
    text = page("sensor", language)
    texts = [next(block for block in blocks("toml", text) if head in block) for head in ("[device]", "[offset_adapter]")]
    profile = profile_of(tomllib.loads("".join(texts)), "README")
    assert profile.adapter.factor == pytest.approx(1.15)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_settings_are_ones(tmp_path, language):
    path = tmp_path / "settings.toml"
    path.write_text(next(block for block in blocks("toml", page("questions", language)) if "who = " in block))
    settings = load_settings(path)
    assert Window.parse(settings.window)
    assert settings.who == "T.W."


def commands():
    shells = [line for block in blocks("sh") for line in block.splitlines() if line.startswith("platepull")]
    inline = re.findall(r"`(platepull [^`]*)`", README)
    return shells + [line for line in inline if not re.search(r"[A-Z]{2,}|\.\.\.|--help", line)]


@pytest.mark.parametrize("command", commands())
def test_every_command_parses(command):
    _, *words = shlex.split(command, comments=True)
    parser_for(words).parse_args(words)


def test_every_verb_is_in_the_table():
    assert all(re.search(rf"`(platepull )?{verb}\b", README) for verb in verb_names())


def test_the_cautions_defer_to_the_maker_and_to_qualified_persons():
    section = README.split("## Before you pull", 1)[1].split("\n## ", 1)[0]
    assert "maker's manual" in section
    assert "qualified persons" in section
