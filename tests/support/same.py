"""Whether two readings are the same. To the last few bits: how sums are vectorised may depend on where an array lies in memory."""

from dataclasses import fields, is_dataclass

import pytest


def assert_same(one, other, where="it"):
    """Fail, saying where, unless both hold the same values, numbers to within a millionth of a millionth."""
    assert type(one) is type(other), where
    if is_dataclass(one):
        for entry in fields(one):
            assert_same(getattr(one, entry.name), getattr(other, entry.name), f"{where}.{entry.name}")
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key, mine in one.items():
            assert_same(mine, other[key], f"{where}.{key}")
    elif isinstance(one, tuple | list):
        assert len(one) == len(other), where
        for at, (mine, theirs) in enumerate(zip(one, other, strict=True)):
            assert_same(mine, theirs, f"{where}[{at}]")
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-12), where
    else:
        assert one == other, where
