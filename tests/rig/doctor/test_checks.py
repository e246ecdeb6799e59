"""The checks of the doctor, each with what stands in the way injected: found, named, with a remedy; what is well is left alone."""

import json
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import jsonschema
import pytest
from support.calibrated import made_certificate

from drivers.line import PortInfo
from rig.cli import main
from rig.doctor import checks
from rig.doctor.checks import Found, Standing
from rig.files.certificate import write_certificate
from rig.files.profile import read_profile
from rig.settings import Settings, load_settings

SCHEMA = json.loads((Path(__file__).resolve().parents[3] / "rig" / "schemas" / "doctor.schema.json").read_text())
TODAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, tzinfo=UTC)
PORT = PortInfo("/dev/ttyUSB0", "bridge", "")
PROFILE = """[device]
name = "bench 1"
port = "/dev/ttyUSB0"
protocol = "frames"
capacity = "200 N.m"
"""


def stands_in_the_way(found: Found, *said: str) -> None:
    assert found.standing is Standing.IN_THE_WAY
    assert found.remedy
    for words in said:
        assert words in found.text + found.remedy


def test_versions() -> None:
    found = checks.versions()
    assert found.standing is Standing.GOOD
    assert "platepull" in found.text


def test_a_library_that_is_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checks, "LIBRARIES", ("numpy", "no-such-thing"))
    stands_in_the_way(checks.versions(), "not installed: no-such-thing")


def test_the_window(monkeypatch: pytest.MonkeyPatch) -> None:
    def lacking(_: str) -> object:
        raise ImportError("libEGL.so.1: cannot open shared object file")

    stands_in_the_way(checks.qt(True, lacking), "libEGL.so.1", "--terminal")
    assert checks.qt(False, lacking).standing is Standing.NOTE
    assert checks.qt(False, lambda _: None).standing is Standing.NOTE
    assert checks.qt(True, lambda _: None).standing is Standing.GOOD


def test_ports_and_rights() -> None:
    def group(port: str) -> str:
        return f"join the group of {port}"

    assert checks.ports([], lambda _: True, group).standing is Standing.NOTE
    assert checks.ports([PORT], lambda _: True, group).standing is Standing.GOOD
    stands_in_the_way(checks.ports([PORT], lambda _: False, group), "you may not open /dev/ttyUSB0", "join the group")


def test_folders(tmp_path: Path) -> None:
    assert checks.folder("data", tmp_path / "new" / "data").standing is Standing.GOOD
    assert list((tmp_path / "new" / "data").iterdir()) == []
    (tmp_path / "taken").write_text("")
    stands_in_the_way(checks.folder("data", tmp_path / "taken" / "data"), "nothing can be written into")


@pytest.mark.parametrize(("free_mb", "standing"), [(50_000, Standing.GOOD), (500, Standing.NOTE), (20, Standing.IN_THE_WAY)])
def test_room(tmp_path: Path, free_mb: int, standing: Standing) -> None:
    found = checks.room(tmp_path / "not" / "there", lambda _: free_mb * 1_000_000)
    assert found.standing is standing
    assert bool(found.remedy) is (standing is Standing.IN_THE_WAY)


def test_the_clock() -> None:
    now = datetime(2026, 6, 1, tzinfo=UTC)
    assert checks.clock(now, [0.02] * 9).standing is Standing.GOOD
    stands_in_the_way(checks.clock(datetime(1970, 1, 1, tzinfo=UTC), [0.02]), "1970-01-01", "set the computer's clock")
    stands_in_the_way(checks.clock(now, [0.02, 0.2, 0.3]), "too busy")


def test_settings(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    assert checks.settings_file(path, load_settings) == (
        Found("settings", Standing.GOOD, f"there are none yet (they would be in {path})"),
        Settings(),
    )
    path.write_text('basis = "odd"')
    found, settings = checks.settings_file(path, load_settings)
    stands_in_the_way(found, "'basis' is 'odd'")
    assert settings == Settings()


def test_the_device_its_port_and_its_certificate(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"

    def look(may_open: bool = True) -> list[Found]:
        def rights(port: PortInfo) -> Found:
            return checks.ports([port], lambda _: may_open, lambda port: f"join the group of {port}")

        return list(checks.device(path, [PORT], TODAY, read_profile, rights))

    stands_in_the_way(*look(), "there is no such profile")
    path.write_text(PROFILE)
    assert [one.standing for one in look()] == [Standing.GOOD, Standing.NOTE]
    path.write_text(PROFILE.replace("USB0", "USB7"))
    assert [one.standing for one in look()] == [Standing.NOTE, Standing.NOTE]
    link = tmp_path / "sensor"  # a port under a name of its own, which stands in no list
    link.write_text("")
    path.write_text(PROFILE.replace("/dev/ttyUSB0", str(link)))
    assert look()[0].standing is Standing.GOOD
    stands_in_the_way(look(may_open=False)[0], f"you may not open {link}", "join the group")
    path.write_text(PROFILE + 'certificate = "c.json"\n')
    stands_in_the_way(look()[1], "there is no such certificate")
    write_certificate(tmp_path / "c.json", made_certificate(due=date(2026, 5, 31)))
    stands_in_the_way(look()[1], "was due on 2026-05-31")
    write_certificate(tmp_path / "c.json", made_certificate(due=date(2026, 6, 1)))
    assert look()[1].standing is Standing.GOOD


def test_the_log(tmp_path: Path) -> None:
    assert checks.log(tmp_path / "log").standing is Standing.GOOD
    (tmp_path / "taken").write_text("")
    stands_in_the_way(checks.log(tmp_path / "taken"), "nothing can be written into")


def test_the_book(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    assert checks.book(str(path), lambda: NOW).standing is Standing.NOTE
    assert not path.exists()
    assert main(["job", "new", "--unit-id", "demo", "--book", str(path)]) == 0
    assert checks.book(str(path), lambda: NOW).standing is Standing.GOOD
    path.write_bytes(b"this is no database" * 100)
    stands_in_the_way(checks.book(str(path), lambda: NOW))
    path.unlink()
    with sqlite3.connect(path) as other:
        other.execute("create table something_else (x)")
    other.close()
    assert checks.book(str(path), lambda: NOW).standing is not Standing.NOTE


def test_a_check_that_fails_itself_costs_none_of_the_others() -> None:
    def broken() -> Found:
        raise RuntimeError("odd machine")

    stands_in_the_way(*checks.tried("odd", broken), "odd machine")


@pytest.mark.usefixtures("own_home")
def test_the_verb_tells_it_and_its_status_is_4_where_something_stands_in_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("drivers.line.list_ports", list)
    monkeypatch.setattr("rig.doctor.checks.pauses", lambda _: [0.02])
    monkeypatch.setattr("rig.commands._display.has_screen", lambda *_: False)
    assert main(["doctor", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    assert document["clear"] is True
    assert main(["doctor", "--device", str(tmp_path / "none.toml")]) == 4
    told = capsys.readouterr().out
    assert "FIX   device" in told
    assert "to fix: " in told
