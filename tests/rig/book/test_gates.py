"""The gate before the lock tabs, need by need (contract BOOK.md 3)."""

import copy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.jobs import CARD, GOOD_REFIT, Chain, ready_chain

from rig.book.events import Kind
from rig.book.gates import CHATTER_ACKNOWLEDGED, READS_IN_WINDOW, gate, last_change


def missing(chain, step="lock_tabs", acknowledged=()):
    record = chain.record
    return [one.code for one in gate(record, record.step(step), acknowledged).missing]


def changed(**change):
    chain = Chain()
    chain.spec()
    chain.pack()
    chain.oil()
    chain.pulls(**change)
    chain.refit()
    return chain


def test_nothing_is_missing_in_a_job_that_has_everything():
    assert missing(ready_chain()) == []


def test_an_empty_job_lacks_what_does_not_follow_from_something_else():
    # Arrangement and verdict follow from the card, closure, calibration and chatter from the pulls.
    assert missing(Chain()) == ["spec_card", "pulls_each_way", "oil", "fasteners", "drag", "backlash"]


def test_what_pulls_must_be_like_to_count_is_said_before_the_first():
    record = Chain().record
    texts = {one.code: one.text for one in gate(record, record.step("lock_tabs")).missing}
    assert texts["pulls_each_way"].endswith("to count they need: case closed as it will run, service oil, sensor in calibration")
    chain = ready_chain()
    chain.pack(["0.80 mm"])
    record = chain.record
    [changed] = [one for one in gate(record, record.step("lock_tabs")).missing if one.code == "after_pack_change"]
    assert "arrangement A, service oil, sensor in calibration" in changed.text


def test_without_a_spec_card_the_line_says_how_to_give_one():
    chain = Chain()
    chain.oil()
    chain.pulls()
    chain.refit()
    record = chain.record
    [one] = gate(record, record.step("lock_tabs")).missing
    assert one.code == "spec_card"
    assert "platepull job add 2026-0001 spec SPEC.toml" in one.text


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"closure": "trial"}, "closure"),
        ({"closure": None}, "closure"),
        ({"arrangement": "B"}, "arrangement"),
        ({"arrangement": None}, "arrangement"),
        ({"lubricant": "another oil"}, "oil"),
        ({"additive": "4 % modifier"}, "oil"),
        ({"calibration": {"due": "2026-03-04"}}, "calibration"),
        ({"calibration": None}, "calibration"),
        ({"each_way": 2}, "pulls_each_way"),
        ({"torque_nm": 30.0}, "verdict"),
        ({"torque_nm": 64.9}, "verdict"),
        ({"chatter": True}, "chatter"),
        ({"chatter": None}, "chatter"),
    ],
)
def test_each_flaw_of_the_pulls_is_told_alone(change, code):
    assert missing(changed(**change)) == [code]


def test_the_due_day_itself_is_in_calibration():
    assert missing(changed(calibration={"due": "2026-03-05"})) == []


def test_the_texts_of_the_oil_are_compared_without_case_and_blanks():
    assert missing(changed(lubricant=" Invented  GEAR oil", additive=None)) == []


def test_a_new_oil_asks_for_pulls_with_it():
    chain = ready_chain()
    entry = chain.oil("invented gear oil", additive="4 % modifier")
    assert missing(chain) == ["oil"]
    chain.strike(entry)
    assert missing(chain) == []


def test_the_closure_of_the_pack_sheet_counts_where_the_pulls_say_nothing():
    chain = Chain()
    chain.spec()
    chain.pack(closure="final")
    chain.oil()
    chain.pulls(closure=None)
    chain.refit()
    assert missing(chain) == []


def test_a_changed_pack_asks_for_new_pulls_and_nothing_that_follows():
    chain = ready_chain()
    chain.pack(["0.40 mm"])
    assert missing(chain) == ["after_pack_change"]
    chain.pulls()
    assert missing(chain) == []


def test_an_oil_that_was_never_entered_does_not_follow_from_a_changed_pack():
    chain = Chain()
    chain.spec()
    chain.pulls()
    chain.pack()
    chain.refit()
    assert missing(chain) == ["after_pack_change", "oil"]


def test_a_sheet_that_changes_nothing_asks_for_nothing():
    chain = ready_chain()
    chain.pack(["0.0118110 in"])  # 0.30 mm
    assert missing(chain) == []


def test_a_struck_sheet_changes_nothing_and_a_struck_strike_does():
    chain = ready_chain()
    sheet = chain.pack(["0.40 mm"])
    strike = chain.strike(sheet)
    assert missing(chain) == []
    assert last_change(chain.record).entry == 3
    chain.strike(strike)
    assert missing(chain) == ["after_pack_change"]


def test_a_pull_made_before_the_sheet_does_not_count_though_entered_after_it():
    chain = Chain()
    chain.spec()
    chain.pack(when="2026-03-05T12:00:00+01:00")
    chain.oil()
    chain.pulls(when="2026-03-05T11:00:00+01:00")
    chain.refit()
    assert missing(chain) == ["after_pack_change"]
    chain.pulls(when="2026-03-05T13:00:00+01:00")
    assert missing(chain) == []


def test_struck_and_excluded_pulls_do_not_count():
    chain = ready_chain()
    first = chain.record.pulls[0].entry.entry
    chain.strike(first)
    assert missing(chain) == ["pulls_each_way"]
    excluded = changed(each_way=2)
    excluded.pull(excluded="the vice slipped")
    excluded.pull(direction=-1, free_turn=True)
    assert missing(excluded) == ["pulls_each_way"]


def test_one_pull_with_another_closure_leaves_too_few():
    chain = changed(each_way=2)
    chain.pull(closure="trial")
    chain.pull(direction=-1)
    assert missing(chain) == ["closure"]


def test_what_was_pulled_last_is_what_the_unit_is_now():
    chain = ready_chain()
    chain.pull(30.0, phase="after run-in")
    assert missing(chain) == ["pulls_each_way"]
    chain.pulls(torque_nm=30.0, phase="after run-in")
    assert missing(chain) == ["verdict"]


def test_an_undecided_series_passes_after_five_pulls_each_way_where_it_is_likely_enough():
    few, enough, unlikely = (
        changed(each_way=n, torque_nm=nm, scatter_nm=0.0, u_nm=1.0) for n, nm in ((3, 63.4), (5, 63.4), (5, 64.9))
    )
    assert missing(few) == ["verdict"]
    assert missing(unlikely) == ["verdict"]
    record = enough.record
    passed = gate(record, record.step("lock_tabs"))
    assert passed.missing == ()
    assert READS_IN_WINDOW in passed.remarks


@pytest.mark.parametrize(("each_way", "torque_nm", "told"), [(3, 62.4, True), (3, 64.9, False), (5, 64.9, False)])
def test_where_two_more_pulls_each_way_would_do_that_is_said(each_way, torque_nm, told):
    record = changed(each_way=each_way, torque_nm=torque_nm, scatter_nm=0.0, u_nm=1.0).record
    [verdict] = gate(record, record.step("lock_tabs")).missing
    assert ("pull on to 5 each way" in verdict.text) is told


def test_chatter_that_cannot_be_told_may_be_acknowledged_but_chatter_may_not():
    assert missing(changed(chatter=None), acknowledged=[CHATTER_ACKNOWLEDGED]) == []
    assert missing(changed(chatter=True), acknowledged=[CHATTER_ACKNOWLEDGED]) == ["chatter"]


def with_refit(change):
    chain = ready_chain()
    content = copy.deepcopy(GOOD_REFIT)
    change(content["answer"])
    chain.refit(content)
    return chain


def test_a_newer_refit_sheet_counts():
    def loose(answer):
        answer["fasteners"][0]["complete"] = False

    assert missing(with_refit(loose)) == ["fasteners"]


def test_only_the_groups_that_the_tabs_lock_count_where_any_is_named():
    def cover(answer):
        answer["fasteners"].append({"name": "cover", "complete": False})

    assert missing(with_refit(cover)) == []

    def none_named(answer):
        cover(answer)
        del answer["fasteners"][0]["locked_by"]

    assert missing(with_refit(none_named)) == ["fasteners"]


@pytest.mark.parametrize(("section", "code"), [("drags", "drag"), ("backlashes", "backlash")])
def test_drag_and_backlash_are_in_their_windows_or_set_later(section, code):
    def off(answer):
        answer[section][0]["state"] = "above"

    def uneven(answer):
        answer[section][0]["variation_state"] = "above"

    def later(answer):
        off(answer)
        answer[section][0]["set_after"] = "by the manual, T.W."

    assert missing(with_refit(off)) == [code]
    assert missing(with_refit(uneven)) == [code]
    assert missing(with_refit(later)) == []


def test_a_card_without_an_arrangement_takes_that_of_the_pulls():
    chain = Chain()
    card = {"window": {key: value for key, value in CARD["window"].items() if key != "arrangement"}}
    chain.spec(card)
    chain.oil()
    chain.pulls(arrangement="B")
    chain.refit()
    assert missing(chain) == []


def test_the_seals_wait_for_the_tabs():
    assert missing(ready_chain(), "seals") == ["step"]


def test_bearings_want_a_series_in_the_window_but_no_final_closure():
    assert missing(changed(closure="trial"), "bearings") == []
    assert missing(changed(closure="trial", torque_nm=30.0), "bearings") == ["verdict"]


KINDS = (Kind.NOTE, Kind.PART, Kind.CERTIFICATE)


@settings(max_examples=25)
@given(flaw=st.sampled_from([{}, {"closure": "trial"}, {"each_way": 2}, {"chatter": True}]), kinds=st.lists(st.sampled_from(KINDS)))
def test_what_has_nothing_to_do_with_a_need_changes_none(flaw, kinds):
    chain = changed(**flaw)
    before = missing(chain)
    for kind in kinds:
        chain.add(kind, {"text": "x", "single_use": True, "batch": None, "files": []})
    assert missing(chain) == before


@settings(max_examples=25)
@given(data=st.data())
def test_a_strike_that_is_struck_leaves_everything_as_it_was(data):
    chain = ready_chain()
    chain.pack(["0.40 mm"])
    chain.pulls(phase="after run-in")
    before = missing(chain)
    entry = data.draw(st.integers(2, len(chain.events)))
    strike = chain.strike(entry)
    chain.strike(strike)
    assert missing(chain) == before
    chain.strike(chain.strike(chain.strike(entry)))  # struck, unstruck, and the unstriking struck
    assert chain.record.entry(entry).struck is not None
