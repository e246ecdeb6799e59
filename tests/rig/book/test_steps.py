"""The list of steps: our own, and a shop's."""

import pytest

from drivers.errors import FileError
from rig.book.steps import NEEDS, own_steps, read_steps
from rig.errors import DocumentError


def test_our_own_list_has_what_the_trade_needs_and_nobody_writes_down():
    steps = {step.key: step for step in own_steps()}
    assert {"oil_sample", "bearings_off", "lock_tabs", "seals", "warm_drive", "recheck_500_km"} <= set(steps)
    assert "which shim sat under which bearing" in steps["bearings_off"].write_down
    assert set(steps["lock_tabs"].needs) == set(NEEDS)
    assert {key for key, step in steps.items() if step.one_way} == {"threadlock", "bearings", "lock_tabs", "seals"}
    assert all(step.name_de for step in steps.values())
    assert all(step.needs for step in steps.values() if step.one_way)


def test_a_list_reads_back_from_the_opening_of_a_job():
    assert [type(step).of(step.document()) for step in own_steps()] == list(own_steps())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[step]", "not TOML"),
        ("a = 1", "expected one of step"),
        ('[[step]]\nkey = "a"', "'name' is missing"),
        ('[[step]]\nkey = "a"\nname = "b"\none_wy = true', "did you mean 'one_way'"),
        ('[[step]]\nkey = "a"\nname = "b"\none_way = "yes"', "true or false"),
        ('[[step]]\nkey = "a"\nname = "b"\nneeds = ["verdikt"]', "did you mean 'verdict'"),
        ('[[step]]\nkey = "a"\nname = "b"\nneeds = ["step:c"]', "which is no step"),
        ('[[step]]\nkey = "a"\nname = "b"\n[[step]]\nkey = "a"\nname = "c"', "stands twice"),
    ],
)
def test_a_list_that_is_off_is_refused_with_what_to_write(text, said, tmp_path):
    (tmp_path / "steps.toml").write_text(text)
    with pytest.raises(DocumentError) as error:
        read_steps(tmp_path / "steps.toml")
    assert said in str(error.value)


def test_a_list_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileError, match="no such list of steps"):
        read_steps(tmp_path / "nix.toml")
