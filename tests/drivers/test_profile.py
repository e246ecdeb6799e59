"""Device profiles: what the contract shows is read, and every refusal names file, key and what is expected."""

from __future__ import annotations

from pathlib import Path

import pytest

from drivers.errors import ProfileError
from drivers.profile import load_profile

CONTRACT = """
[device]
name = "bench 1"
port = "/dev/ttyUSB0"          # any pyserial port or URL
baud = 115200
protocol = "text"              # text | frames | modbus
capacity = "200 N.m"
[text]                         # a line a sample, as a microcontroller or an indicator prints it
columns = ["torque [lbf.ft]", "angle [deg]"]     # "skip" for a field of no interest; "time [ms]" when it stamps
delimiter = ","
rate = "500 Hz"                # needed when no time column is sent
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_contract_example_is_read(tmp_path: Path) -> None:
    profile = load_profile(written(tmp_path, CONTRACT))
    assert (profile.name, profile.port, profile.baud, profile.protocol) == ("bench 1", "/dev/ttyUSB0", 115200, "text")
    assert profile.capacity_nm == pytest.approx(200.0)
    assert profile.text is not None
    assert [(column.kind, column.unit) for column in profile.text.columns] == [("torque", "lbf.ft"), ("angle", "deg")]
    assert (profile.text.delimiter, profile.text.rate_hz) == (",", 500.0)


@pytest.mark.parametrize(
    ("line", "u_nm", "u_relative"),
    [('u = "0.5 N.m"', 0.5, None), ('u = "0.5%"', None, 0.005), ('u = "50 cN.m"', 0.5, None), ("", None, None)],
)  # fmt: skip
def test_the_sensor_is_told_with_its_uncertainty(tmp_path: Path, line: str, u_nm: float | None, u_relative: float | None) -> None:
    text = CONTRACT.replace("[text]", f'{line}\nresolution = "0.1 N.m"\npatience = "1 min"\n[text]')
    profile = load_profile(written(tmp_path, text))
    sensor = profile.sensor
    assert (sensor.u_nm, sensor.u_relative) == (pytest.approx(u_nm) if u_nm else None, u_relative)
    assert (sensor.capacity_nm, sensor.resolution_nm) == (pytest.approx(200.0), pytest.approx(0.1))
    assert profile.patience_s == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('name = "bench 1"', "", ["[device]", "'name' is missing"]),
        ('port = "/dev/ttyUSB0"', 'prot = "/dev/ttyUSB0"', ["[device]", "'port' is missing", "'prot'"]),
        ("baud = 115200", 'baud = "115200"', ["'baud' is '115200'", "whole number"]),
        ("baud = 115200", "baud = true", ["'baud' is True", "whole number"]),
        ("baud = 115200", "baud = 3", ["'baud' is 3", "from 50"]),
        ("baud = 115200", "buad = 115200", ["'buad' is not known", "did you mean 'baud'"]),
        ('"text"  ', '"txt"  ', ["'protocol' is 'txt'", "did you mean 'text'", "modbus"]),
        ('capacity = "200 N.m"', 'capacity = "200"', ["'capacity'", "no unit", "200 N.m"]),
        ('capacity = "200 N.m"', "capacity = 200", ["'capacity' is 200", "in quotes"]),
        ('capacity = "200 N.m"', 'capacity = "200 kg"', ["'capacity'", "not a unit of torque"]),
        ('capacity = "200 N.m"', 'capacity = "-200 N.m"', ["'capacity'", "not above zero"]),
        ('capacity = "200 N.m"', 'capacity = "200 N.m"\nu = "half"', ["'u' is 'half'", "0.5%"]),
        ('capacity = "200 N.m"', 'capacity = "200 N.m"\nu = "0 N.m"', ["'u' is '0 N.m'", "not above zero"]),
        ('capacity = "200 N.m"', 'capacity = "200 N.m"\npatience = "10 m"', ["'patience'", "not a unit of time"]),
        ('"torque [lbf.ft]", ', "", ["[text]", "'columns' has no torque"]),
        ('"torque [lbf.ft]"', '"torqe [lbf.ft]"', ["'columns'", "did you mean 'torque'"]),
        ('"torque [lbf.ft]"', '"torque"', ["'columns'", "without a unit"]),
        ('"torque [lbf.ft]"', '"torque [furlong]"', ["'columns'", "furlong"]),
        ('"torque [lbf.ft]"', "7", ["'columns' holds 7"]),
        ('"angle [deg]"', '"torque [N.m]"', ["'columns' tells something twice"]),
        ('"angle [deg]"', '"T = angle [deg]"', ["key for some columns only"]),
        ('rate = "500 Hz" ', "", ["[text]", "'rate' is missing", "500 Hz"]),
        ('delimiter = ","', 'delimiter = ""', ["'delimiter' is ''"]),
        ('delimiter = ","', 'delimiter = ","\ndecimal = ","', ["'delimiter' is ','"]),
        ('delimiter = ","', 'delimeter = ","', ["'delimeter' is not known", "did you mean 'delimiter'"]),
        ('delimiter = ","', 'delimiter = ","\noverload = ["OL", 3]', ["'overload'"]),
        ("[text]  ", "[txt]  ", ["'txt' is not a section", "did you mean [text]"]),
        ("[device]", "[devices]", ["'devices' is not a section", "did you mean [device]"]),
        ("[device]", "[device", ["not TOML", "line 2"]),
    ],
)  # fmt: skip
def test_every_refusal_names_file_key_and_what_is_expected(tmp_path: Path, old: str, new: str, expected: list[str]) -> None:
    assert old in CONTRACT
    with pytest.raises(ProfileError) as refusal:
        load_profile(written(tmp_path, CONTRACT.replace(old, new)))
    sentence = str(refusal.value)
    assert "\n" not in sentence
    for word in ("bench.toml", *expected):
        assert word in sentence


def test_a_missing_file_and_a_missing_section_are_told(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="no such profile"):
        load_profile(tmp_path / "none.toml")
    with pytest.raises(ProfileError, match=r"\[text\] is missing"):
        load_profile(written(tmp_path, CONTRACT[: CONTRACT.index("[text]")]))
    with pytest.raises(ProfileError, match="cannot be read"):
        load_profile(tmp_path)


def test_a_byte_order_mark_and_the_wild_keys_are_read(tmp_path: Path) -> None:
    text = CONTRACT.replace('["torque [lbf.ft]", "angle [deg]"]', '["T = torque [N.m]", "n = counter"]').replace(
        'delimiter = ","', 'delimiter = ";"\ndecimal = ","\ntag = "$TQ"\nsign = "after"\noverload = ["hi"]'
    )
    layout = load_profile(written(tmp_path, "\ufeff" + text)).text
    assert layout is not None
    assert [(column.kind, column.key) for column in layout.columns] == [("torque", "T"), ("counter", "n")]
    assert (layout.decimal, layout.tag, layout.sign_after, layout.overload_words) == (",", "$TQ", True, ("HI",))
