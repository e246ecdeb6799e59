"""Device profiles: what the contract shows is read, and every refusal names file, key and what is expected."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from drivers.errors import FileError
from drivers.profile import profile_text
from rig.files.profile import read_profile

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
    profile = read_profile(written(tmp_path, CONTRACT))
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
    profile = read_profile(written(tmp_path, text))
    assert (profile.u_nm, profile.u_relative) == (pytest.approx(u_nm) if u_nm else None, u_relative)
    assert (profile.capacity_nm, profile.resolution_nm) == (pytest.approx(200.0), pytest.approx(0.1))
    assert profile.patience_s == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('name = "bench 1"', "", ["[device]", "'name' is missing"]),
        ('port = "/dev/ttyUSB0"', 'prot = "/dev/ttyUSB0"', ["[device]", "'prot' is not known", "did you mean 'port'"]),
        ("baud = 115200", 'baud = "115200"', ["'baud' is '115200'", "whole number"]),
        ("baud = 115200", "baud = true", ["'baud' is true", "whole number"]),
        ("baud = 115200", "baud = 3", ["'baud' is 3", "from 50"]),
        ("baud = 115200", "buad = 115200", ["'buad' is not known", "did you mean 'baud'"]),
        ('"text"  ', '"txt"  ', ["'protocol' is 'txt'", "did you mean 'text'", "modbus"]),
        ('capacity = "200 N.m"', 'capacity = "200"', ["'capacity'", "no unit", "200 N.m"]),
        ('capacity = "200 N.m"', "capacity = 200", ["'capacity' is 200", "in quotes"]),
        ('capacity = "200 N.m"', 'capacity = "200 kg"', ["'capacity'", "not a unit of torque"]),
        ('capacity = "200 N.m"', 'capacity = "-200 N.m"', ["'capacity'", "below 0.01 N.m"]),
        ('capacity = "200 N.m"', 'capacity = "200 N.m"\nu = "half"', ["'u' is 'half'", "0.5 %"]),
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
        ('delimiter = ","', 'delimiter = ","\noverload = ["OL", 3]', ["'overload 2' is 3"]),
        ("[text]  ", "[txt]  ", ["[txt] is not known", "did you mean 'text'"]),
        ("[device]", "[devices]", ["[devices] is not known", "did you mean 'device'"]),
        ("[device]", "[device", ["not TOML", "line 2"]),
    ],
)  # fmt: skip
def test_every_refusal_names_file_key_and_what_is_expected(tmp_path: Path, old: str, new: str, expected: list[str]) -> None:
    assert old in CONTRACT
    with pytest.raises(FileError) as refusal:
        read_profile(written(tmp_path, CONTRACT.replace(old, new)))
    sentence = str(refusal.value)
    assert "\n" not in sentence
    for word in ("bench.toml", *expected):
        assert word in sentence


def test_a_missing_file_and_a_missing_section_are_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such profile"):
        read_profile(tmp_path / "none.toml")
    with pytest.raises(FileError, match=r"\[text\] is missing"):
        read_profile(written(tmp_path, CONTRACT[: CONTRACT.index("[text]")]))
    with pytest.raises(FileError, match="is a folder"):
        read_profile(tmp_path)


def test_a_byte_order_mark_and_the_wild_keys_are_read(tmp_path: Path) -> None:
    text = CONTRACT.replace('["torque [lbf.ft]", "angle [deg]"]', '["T = torque [N.m]", "n = counter"]').replace(
        'delimiter = ","', 'delimiter = ";"\ndecimal = ","\ntag = "$TQ"\nsign = "after"\noverload = ["hi"]'
    )
    layout = read_profile(written(tmp_path, "\ufeff" + text)).text
    assert layout is not None
    assert [(column.kind, column.key) for column in layout.columns] == [("torque", "T"), ("counter", "n")]
    assert (layout.decimal, layout.tag, layout.sign_after, layout.overload_words) == (",", "$TQ", True, ("HI",))


MODBUS = """
[device]
name = "indicator"
port = "COM4"
baud = 19200
bits = "8E1"
protocol = "modbus"
capacity = "500 N.m"
[modbus]
address = 17
rate = "20 Hz"
function = "input"
timeout = "250 ms"
[modbus.torque]
register = 107
type = "int16"
scale = "0.1 lbf.ft"
overload = 32767
[modbus.angle]
register = 108
type = "float32"
order = "CDAB"
scale = "0.5 deg"
"""


def test_a_modbus_profile_is_read(tmp_path: Path) -> None:
    profile = read_profile(written(tmp_path, MODBUS))
    layout = profile.modbus
    assert layout is not None
    assert profile.bits == "8E1"
    assert (layout.address, layout.rate_hz, layout.function, layout.timeout_s) == (17, 20.0, "input", pytest.approx(0.25))
    assert (layout.first, layout.count) == (107, 3)
    assert layout.torque.scale.factor == pytest.approx(0.1 * 0.3048 * 0.45359237 * 9.80665)
    assert layout.torque.overload == 32767
    assert layout.angle is not None
    assert (layout.angle.register, layout.angle.type, layout.angle.order, layout.angle.scale.factor) == (
        108,
        "float32",
        "CDAB",
        0.5,
    )


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('bits = "8E1"', 'bits = "9N1"', ["'bits' is '9N1'", "8E1"]),
        ("address = 17", "", ["[modbus]", "'address' is missing"]),
        ("address = 17", "address = 300", ["'address' is 300", "from 1 to 247"]),
        ('rate = "20 Hz"', "rate = 20", ["'rate' is 20", "20 Hz"]),
        ('function = "input"', 'function = "coil"', ["'function' is 'coil'", "holding"]),
        ('type = "int16"', 'type = "int61"', ["[modbus.torque]", "did you mean 'int16'"]),
        ("register = 107\n", "", ["[modbus.torque]", "'register' is missing"]),
        ("register = 108\n", "register = 500\n", ["'angle' lies too far", "125 registers"]),
        ("register = 108", "register = 65535", ["[modbus.angle]", "'register' is 65535"]),
        ('order = "CDAB"', 'order = "ADCB"', ["'order' is 'ADCB'", "BADC"]),
        ('scale = "0.5 deg"', 'scale = "0.5 N.m"', ["[modbus.angle]", "not a unit of angle"]),
        ("overload = 32767", "overlaod = 32767", ["'overlaod' is not known", "did you mean 'overload'"]),
        ("[modbus.torque]", "[modbus.trq]", ["[modbus]", "'trq' is not known", "did you mean 'torque'"]),
        ("[modbus.angle]", "[modbus.angel]", ["[modbus]", "'angel' is not known", "did you mean 'angle'"]),
        ("[modbus]\n", "[modbus]\nparity = 3\n", ["'parity' is not known"]),
    ],
)
def test_refusals_of_a_modbus_profile(tmp_path: Path, old: str, new: str, expected: list[str]) -> None:
    assert old in MODBUS
    with pytest.raises(FileError) as refusal:
        read_profile(written(tmp_path, MODBUS.replace(old, new)))
    for word in ("bench.toml", *expected):
        assert word in str(refusal.value)


def test_frames_need_no_section_and_refuse_keys_in_one(tmp_path: Path) -> None:
    head = CONTRACT[: CONTRACT.index("[text]")].replace('"text"  ', '"frames"')
    assert read_profile(written(tmp_path, head)).protocol == "frames"
    with pytest.raises(FileError, match="'rate' is not known"):
        read_profile(written(tmp_path, head + '[frames]\nrate = "1 kHz"\n'))


@pytest.mark.parametrize(
    "name", ['bench "1"', "back\\slash", "two\nlines", "tab\there", "Prüfstand 1", "\x00\x1b[0m\x7f", "😀", ""]
)
def test_whatever_a_device_is_called_its_profile_can_be_read(name):
    written = profile_text(name=name, port="COM3", baud=9600, bits="8N1", capacity="200 N.m", layout=None)
    assert tomllib.loads(written)["device"]["name"] == name
