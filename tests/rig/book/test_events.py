"""The chain of a job: what was altered by hand is found."""

import hashlib
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.jobs import ready_chain

from rig.book.events import canonical, chain_faults, true_hash

CHAIN = ready_chain().events


def test_a_chain_as_it_was_written_holds():
    assert chain_faults(CHAIN) == []


@given(
    place=st.integers(0, len(CHAIN) - 1), field=st.sampled_from(["at_utc", "offset_min", "who", "kind", "body", "previous", "hash"])
)
def test_any_field_that_is_altered_is_found(place, field):
    value = getattr(CHAIN[place], field)
    altered = replace(
        CHAIN[place], **{field: value + 60 if field == "offset_min" else value[:-1] + ("x" if value[-1] != "x" else "y")}
    )
    assert chain_faults([*CHAIN[:place], altered, *CHAIN[place + 1 :]])


@given(place=st.integers(0, len(CHAIN) - 2))
def test_an_entry_removed_or_doubled_or_out_of_order_is_found(place):
    assert chain_faults([*CHAIN[:place], *CHAIN[place + 1 :]])
    assert chain_faults([*CHAIN[: place + 1], *CHAIN[place:]])
    assert chain_faults([*CHAIN[:place], CHAIN[place + 1], CHAIN[place], *CHAIN[place + 2 :]])


def test_an_entry_altered_with_its_own_hash_made_anew_is_found_by_the_next():
    altered = replace(CHAIN[3], who="somebody else")
    altered = replace(altered, hash=true_hash(altered))
    assert [number for number, _ in chain_faults([*CHAIN[:3], altered, *CHAIN[4:]])] == [5]


def test_the_canonical_text_does_not_depend_on_the_order_of_keys():
    assert canonical({"b": 1.5, "a": "ä"}) == canonical({"a": "ä", "b": 1.5}) == '{"a":"ä","b":1.5}'
    with pytest.raises(ValueError, match="JSON"):
        canonical({"a": float("nan")})


def test_the_hash_is_the_one_that_the_docs_describe():
    for event in CHAIN:
        parts = [1, event.job, event.number, event.at_utc, event.offset_min, event.who, event.kind, event.body, event.previous]
        text = json.dumps(parts, separators=(",", ":"), ensure_ascii=False)
        assert event.hash == hashlib.sha256(text.encode("utf-8")).hexdigest()
    assert CHAIN[0].previous == "0" * 64
