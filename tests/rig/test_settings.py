"""Settings and shared options: found where the system keeps them, refused with file and key, overruled by options."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from analysis.errors import BenchError
from analysis.judgement import DecisionRule
from analysis.results import Sensor
from analysis.stated import parse_uncertainty
from drivers.profile import DeviceProfile
from rig.calibration.sensor_in_use import SensorChoice, sensor_with_u
from rig.commands._display import has_screen
from rig.commands._options import arm_of, rule_of, unit_of, window_of
from rig.errors import DocumentError
from rig.files.metadata import TraceInfo, Transducer
from rig.folders import config_folder
from rig.settings import Settings, load_settings, profile_path

HOME = Path("home")


@pytest.mark.parametrize(
    ("environ", "platform", "folder"),
    [
        # XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, else ~/.config, also where it is set but empty.
        ({}, "linux", HOME / ".config" / "platepull"),
        ({"XDG_CONFIG_HOME": ""}, "linux", HOME / ".config" / "platepull"),
        ({"XDG_CONFIG_HOME": "xdg"}, "linux", Path("xdg") / "platepull"),
        ({"APPDATA": "roaming"}, "win32", Path("roaming") / "platepull"),
        ({}, "win32", HOME / "AppData" / "Roaming" / "platepull"),
        ({}, "darwin", HOME / "Library" / "Application Support" / "platepull"),
    ],
)
def test_settings_lie_where_the_system_keeps_them(environ, platform, folder):
    assert config_folder(environ, platform, HOME) == folder


def test_no_file_is_no_choice_and_what_is_chosen_is_read(tmp_path):
    path = tmp_path / "settings.toml"
    assert load_settings(path) == Settings()
    path.write_text('window = "35..60 N.m"\nwho = "T.W."\n')
    assert load_settings(path) == Settings(window="35..60 N.m", who="T.W.")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('colour = "red"', "'colour' is not known"),
        ('rules = "simple"', "did you mean 'rule'?"),
        ("u = 0.5", "'u' is 0.5; expected an uncertainty"),
        ("u = ", "this is not TOML"),
        ('u = "half"', "'u' is 'half'"),
        ('scatter = "much"', "'scatter' is 'much'"),
        ('window = "25 N.m"', "'window' is '25 N.m'"),
        ('unit = "N.m/deg"', "'unit' is 'N.m/deg'"),
        ('basis = "odd"', "'basis' is 'odd'; expected one of"),
        ('rule = "kind"', "'rule' is 'kind'"),
    ],
)
def test_bad_settings_are_told_with_file_and_key(tmp_path, text, expected):
    path = tmp_path / "settings.toml"
    path.write_text(text)
    with pytest.raises(DocumentError) as told:
        load_settings(path)
    assert expected in str(told.value)
    assert str(path) in str(told.value)


def test_the_uncertainty_of_the_option_takes_the_place_of_the_sensors_own():
    own = Sensor(u_nm=1.0, capacity_nm=200.0)
    assert sensor_with_u(own, None) == own
    assert sensor_with_u(own, parse_uncertainty("0.5%")) == Sensor(u_relative=0.005, capacity_nm=200.0)
    assert sensor_with_u(own, parse_uncertainty("0.25 % of range")).u_nm == pytest.approx(0.5)
    # NIST Special Publication 811 (2008), appendix B.8: 1 lbf.ft = 1.355818 N.m.
    assert sensor_with_u(own, parse_uncertainty("2 lbf.ft")).u_nm == pytest.approx(2.711636, rel=1e-6)


@pytest.mark.parametrize("text", ["much", "0.5", "-1 N.m", "1 kg", ""])
def test_a_bad_uncertainty_is_told(text):
    with pytest.raises(BenchError):
        SensorChoice(date(2026, 3, 5), u=text)


def test_an_uncertainty_of_the_settings_counts_only_where_nothing_else_is_stated():
    choice = SensorChoice(date(2026, 3, 5), usual_u="within 0.5 % of range")
    told = TraceInfo(transducer=Transducer(capacity_nm=200.0, u_nm=0.3))
    untold = TraceInfo(transducer=Transducer(capacity_nm=200.0))
    assert (choice.of(told).u_nm, choice.stated(told)) == (0.3, None)
    # Limits of 0.5 % of 200 N.m, rectangular: JCGM 100, 4.3.7.
    assert choice.of(untold).u_nm == pytest.approx(1 / 3**0.5)
    assert choice.stated(untold) is not None
    with pytest.raises(BenchError, match="range is not known"):
        choice.of(TraceInfo())


def test_on_a_line_option_certificate_profile_and_settings_count_in_that_order():
    profile = DeviceProfile(name="a", port="COM3", protocol="frames", capacity_nm=200.0, u_text="within 0.5 % of range")
    certified = replace(profile, certificate="c.json")

    def meant(choice, profile):
        stated = choice.stated_of_line(profile)
        return None if stated is None else stated.text

    assert meant(SensorChoice(date(2026, 3, 5), u="1 %", usual_u="2 %"), certified) == "1 %"
    assert meant(SensorChoice(date(2026, 3, 5), usual_u="2 %"), certified) is None
    assert meant(SensorChoice(date(2026, 3, 5), usual_u="2 %"), profile) == "within 0.5 % of range"
    assert meant(SensorChoice(date(2026, 3, 5), usual_u="2 %"), replace(profile, u_text=None)) == "2 %"


def test_other_options_are_checked():
    assert window_of(None, None) is None
    assert rule_of(None) is DecisionRule.GUARDED
    assert unit_of(None) == "N.m"
    assert arm_of("600 mm") == pytest.approx(0.6)
    for wrong in (lambda: rule_of("kind"), lambda: unit_of("kg"), lambda: arm_of("0 m"), lambda: window_of("x", None)):
        with pytest.raises(BenchError):
            wrong()


def test_a_profile_of_a_plain_name_lies_beside_the_settings(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    kept = tmp_path / "platepull" / "bench.toml"
    kept.parent.mkdir()
    assert profile_path("bench.toml") == Path("bench.toml")
    kept.write_text("")
    assert profile_path("bench.toml") == kept
    assert profile_path(str(tmp_path / "bench.toml")) == tmp_path / "bench.toml"


def test_where_there_is_a_screen():
    assert has_screen({}, "win32")
    assert has_screen({}, "darwin")
    assert has_screen({"DISPLAY": ":0"}, "linux")
    assert has_screen({"WAYLAND_DISPLAY": "wayland-0"}, "linux")
    assert not has_screen({"DISPLAY": ""}, "linux")
