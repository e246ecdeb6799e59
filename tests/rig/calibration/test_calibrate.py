"""From plan and points to a certificate: what is read, what is refused, what the person at the bench is asked."""

import json
import math
import re
import unicodedata
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from support.calibrated import made_certificate

from analysis.sensor.calibration import Weighing
from analysis.sensor.correction import calibration_u, true_torque
from analysis.sensor.known_weights import check_by_weights
from rig.calibration.plan import TEMPLATE, load_plan, months_later
from rig.calibration.point_taker import PointTaker, Stopped
from rig.calibration.points import points_header, points_row, read_points
from rig.cli import main
from rig.errors import CertificateError, DocumentError, SheetError
from rig.files.certificate import certified, read_certificate, to_document
from rig.sheets.blocks import plain
from rig.sheets.certificate import certificate_page, sheet_lines
from rig.sheets.phrases import Phrases
from rig.sheets.printing import set_pdf

DAY = date(2026, 11, 25)
DEMO = Path(__file__).resolve().parents[3] / "recordings" / "calibration"
FILLED = re.sub(r'^(\w+) = "" +# such as ("[^"]*")$', r"\1 = \2", TEMPLATE, flags=re.MULTILINE)
"""The template with its own examples in what is empty."""
BY_REFERENCE = (
    FILLED[: FILLED.index("[weights]")]
    + """
[reference]
name = "master 7, certificate M-1"
expanded_u = "0.2%"
loads = ["20 N.m", "40 N.m"]
[run]
directions = "first"
series = 1
"""
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plan.toml").write_text(FILLED)
    return tmp_path


def plan_with(folder, text, day=DAY):
    (folder / "plan.toml").write_text(text)
    return load_plan(folder / "plan.toml", day)


def test_the_template_is_a_plan_and_its_torques_are_weight_times_arm(folder, capsys):
    assert main(["calibrate", "--template"]) == 0
    assert capsys.readouterr().out == TEMPLATE
    plan = plan_with(folder, FILLED)
    # Definition of torque, normal gravity at 52 degrees 9.8125 m/s2 (GRS80; its own check stands in tests/outside).
    assert plan.reference.torque_nm(10.0) == pytest.approx(10 * 0.5 * 9.8127, rel=5e-5)
    assert (plan.draft.made, plan.draft.due) == (DAY, date(2027, 11, 25))
    # Limits either way, rectangular (JCGM 100, 4.3.7); level to second order, air (both far below these).
    expected = math.hypot(0.5 / 500, 0.001) / math.sqrt(3)
    assert plan.reference.u_relative == pytest.approx(expected, rel=0.1)
    loads = plan.all_loads()
    assert [load.size for load in loads[:11]] == [0, 2, 4, 6, 8, 10, 8, 6, 4, 2, 0]
    assert [load.direction for load in loads[::11]] == [1, 1, -1, -1]


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(1, 60))
def test_months_later_is_the_same_day_or_the_month_s_last(day, months):
    later = months_later(day, months)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day == day.day or (later + timedelta(days=1)).day == 1


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[weights]", "[wieghts]", "section"),
        ("[certificate]", "[[certificate]]", "certificate"),
        ('latitude = "52 deg"', "", "latitude"),
        ('latitude = "52 deg"', 'latitude = "52 deg"\ngravity = "9.81 m/s^2"', "latitude"),
        ('latitude = "52 deg"', 'latitude = "152 deg"', "latitude"),
        ('latitude = "52 deg"', 'gravity = "1.62 m/s^2"', "gravity"),
        ('arm = "500 mm"', 'arm = "500 kg"', "arm"),
        ('arm = "500 mm"', "", "arm"),
        ('"2 kg", "4 kg"', '"4 kg", "2 kg"', "loads"),
        ('"2 kg", "4 kg"', '"2 N", "4 kg"', "loads"),
        ('"2 kg", "4 kg"', "2, 4", "loads"),
        ('number = "2026-1"', 'nummer = "2026-1"', "number"),
        ('temperature = "21 degC"', 'temperature = "warm"', "temperature"),
        ('directions = "both"', 'directions = "left"', "directions"),
        ("series = 2", "series = 0", "series"),
        ("mountings = 1", "mountings = 1\nspeed = 1", "speed"),
        ("[certificate]", "[certificate", "TOML"),
    ],
)
def test_an_odd_plan_is_refused_with_its_key(folder, old, new, said):
    assert old in FILLED
    with pytest.raises(DocumentError, match=said) as caught:
        plan_with(folder, FILLED.replace(old, new, 1))
    assert caught.value.remedy


def points_of(folder, text):
    (folder / "points.csv").write_text(text)
    return read_points(folder / "points.csv", load_plan(folder / "plan.toml", DAY).reference)


def test_what_a_list_of_points_does_not_tell_is_taken_from_its_order(folder):
    """A zero ends a series and begins the next; loads above the one before are rising; negative indications turn the other way."""
    points = points_of(folder, "mass [kg],indication [N.m]\n0,0.1\n2,9.9\n4,19.7\n2,9.95\n0,0.12\n2,-9.8\n4,-19.6\n0,0.11\n")
    assert [point.series for point in points] == [1] * 5 + [2] * 4
    assert [point.rising for point in points] == [True, True, True, False, False, True, True, True, False]
    assert [math.copysign(1, point.torque_nm) for point in points if point.torque_nm] == [1, 1, 1, -1, -1]
    assert points[5].indication_nm == 0.12
    assert points[6].torque_nm == pytest.approx(-2 * 0.5 * 9.8127, rel=5e-5)


def test_points_in_other_units_and_with_columns_told(folder):
    text = "torque [lbf.ft],series,indication [kgf.m],load,mounting,remark\n0,3,0,up,2,x\n10,3,1.38,up,2,\n 5,3,0.69,down,2,y\n"
    points = points_of(folder, text)
    # Exact by definition: 1 lbf.ft = 1.3558179483314004 N.m, 1 kgf.m = 9.80665 N.m (NIST SP 811, B.8).
    assert points[1].torque_nm == pytest.approx(13.558179483314004, rel=1e-12)
    assert points[1].indication_nm == pytest.approx(1.38 * 9.80665, rel=1e-12)
    assert [(point.series, point.mounting, point.rising) for point in points] == [(3, 2, True), (3, 2, True), (3, 2, False)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "indication"),
        ("mass [kg],torque [N.m],indication [N.m]\n", "indication"),
        ("mass [m],indication [N.m]\n1,2\n", "mass"),
        ("mass,indication [N.m]\n1,2\n", "mass"),
        ("mass [kg],indication [N.m]\n1\n", "row 2"),
        ("mass [kg],indication [N.m]\n0,0\none,2\n", "row 3"),
        ("mass [kg],indication [N.m]\n0,inf\n", "row 2"),
        ("mass [kg],indication [N.m],load\n0,1,sideways\n", "row 2"),
        ("mass [kg],indication [N.m],direction\n0,1,0.5\n", "row 2"),
        ("mass [kg],indication [N.m],series\n0,1,1.5\n", "row 2"),
        ("mass [kg],indication [N.m]\n,1\n", "row 2"),
    ],
)
def test_odd_points_are_refused_with_their_row(folder, text, said):
    with pytest.raises(CertificateError) as caught:
        points_of(folder, text)
    assert said in str(caught.value)


@pytest.mark.parametrize("text", ["mass [kg],indication [N.m]\n", "mass [kg],indication [N.m]\n0,0\n2,9\n0,0\n"])
def test_too_few_points_make_no_certificate(folder, text, capsys):
    (folder / "points.csv").write_text(text)
    assert main(["calibrate", str(folder / "plan.toml")]) == 2
    assert "points" in capsys.readouterr().err
    assert not list(folder.glob("*.json"))


def test_the_demo_makes_a_certificate_and_its_sheet_and_never_over_another(tmp_path, capsys):
    out = tmp_path / "c.json"
    command = ["calibrate", str(DEMO / "plan.toml"), "--out", str(out)]
    assert main(command) == 0
    printed = capsys.readouterr().out
    certificate = read_certificate(out)
    # What recordings/make.py built in: 1.2 % and 0.8 % too much, a bend, and an offset that is not to matter.
    for sign, function, gain in ((1, certificate.forward, 1.012), (-1, certificate.back, 1.008)):
        for torque in (20.0, 60.0, 90.0):
            shown = sign * torque * gain * (1 + 1e-5 * (torque - 50))
            read = sign * true_torque(np.array([shown]), certificate.on(DAY))[0]
            assert abs(read - torque) < 2 * calibration_u(function, torque).u_nm
    findings = certificate.findings()[1]
    assert findings.steps[0].reversibility_nm == pytest.approx(0.03, abs=0.04)
    text = "".join(page.extract_text() for page in PdfReader(tmp_path / "c.pdf").pages)
    assert len(PdfReader(tmp_path / "c.pdf").pages) == 1
    for word in ("QG-C-7", "2027-01-12", "dead weights", "0.9876", "no certificate of an accredited laboratory"):
        assert word in " ".join(unicodedata.normalize("NFKC", text).split())  # fi may be set as one letter
    assert "0.9876" in printed
    assert main(command) == 2
    assert "there already" in capsys.readouterr().err


def test_a_sheet_that_cannot_be_made_is_said_and_the_certificate_stands(tmp_path, capsys, monkeypatch):
    def fails(*_, **__):
        raise SheetError("printed sheets need the library typst", remedy="install it")

    monkeypatch.setattr("rig.sheets.printing.write_pdf", fails)
    assert main(["calibrate", str(DEMO / "plan.toml"), "--out", str(tmp_path / "c.json")]) == 0
    assert "typst" in capsys.readouterr().err
    assert read_certificate(tmp_path / "c.json").number == "QG-C-7"


# -- the page ---------------------------------------------------------------------------------------------------------------------


def text_of(page):
    return " ".join(texts(plain((page.title, page.subtitle, page.right, page.blocks, page.foot))))


def texts(value):
    if isinstance(value, str):
        return [value]
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for each in inside for text in texts(each)]


def test_the_unedited_template_is_no_plan(tmp_path):
    with pytest.raises(DocumentError, match="'number' is empty"):
        plan_with(tmp_path, TEMPLATE)


@pytest.mark.parametrize("key", re.findall(r'^(\w+) = ""', TEMPLATE, flags=re.MULTILINE))
def test_what_is_left_empty_in_the_template_is_refused_by_name(tmp_path, key):
    left = re.sub(rf'^{key} = "[^"]*"$', f'{key} = ""', FILLED, flags=re.MULTILINE)
    assert left != FILLED
    with pytest.raises(DocumentError, match=f"'{key}'"):
        plan_with(tmp_path, left)


def test_points_taken_after_the_certificate_are_refused(tmp_path):
    days = "[certificate]\nmade = 2026-11-25\nmeasured = 2026-11-26\n"
    with pytest.raises(CertificateError, match="after the certificate"):
        plan_with(tmp_path, FILLED.replace("[certificate]\n", days, 1))


def test_the_page_says_whose_when_with_what_and_how_sure():
    certificate = replace(
        made_certificate(), workshop="Quillfen Gearworks", identity="set 3, discs 1 to 6", measured=date(2026, 1, 11), serial="0042"
    )
    step = certificate.findings()[1].steps[-1]
    text = text_of(certificate_page(certificate, Phrases()))
    for words in (
        "Quillfen Gearworks",
        "set 3, discs 1 to 6",
        "2026-01-11",
        "no. 0042",
        "U (k = 2)",
        f"{2 * step.u_nm:.3f}",
        f"{step.largest_residual_nm:.3f}".replace("-", "−"),
        "calibrated from",
        "no certificate of an accredited laboratory",
        "page {page} of {pages}",
    ):
        assert words in text + " " + certificate_page(certificate, Phrases()).page_of, words
    for claim in ("DIN", "EURAMET", "ISO 6789", "BS 7882"):
        assert claim not in text


def test_what_nobody_stated_is_said_to_be_missing():
    text = text_of(certificate_page(made_certificate(), Phrases()))
    assert "workshop not stated" in text
    assert text.count("not stated") >= 3


def test_one_bad_point_is_seen_though_the_mean_hides_it():
    # Two opposite errors at one load: their mean is nothing, and each is many times U of the others.
    certificate = made_certificate()
    loads = [at for at, point in enumerate(certificate.points) if point.torque_nm == max(p.torque_nm for p in certificate.points)]
    points = list(certificate.points)
    for at, error in zip(loads[:2], (0.5, -0.5), strict=True):
        points[at] = replace(points[at], indication_nm=points[at].indication_nm + error)
    step = certified(replace(certificate, points=tuple(points))).findings()[1].steps[-1]
    assert abs(step.largest_residual_nm) > 0.3
    assert abs(step.residual_nm) < 0.5 * abs(step.largest_residual_nm)


def test_the_class_is_the_workshops_own_and_its_limits_stand_beside_it():
    certificate = made_certificate()
    text = text_of(certificate_page(certificate, Phrases()))
    assert "workshop class" in text
    assert "class_scheme" in json.dumps(to_document(certificate))
    assert "workshop" in to_document(certificate)["findings"]["forward"]["class_scheme"]


def test_a_page_in_german_and_the_same_bytes():
    certificate = made_certificate()
    page = certificate_page(certificate, Phrases("de"))
    assert "Restabweichung" in text_of(page)
    pdf = set_pdf(page, language="de", day=certificate.made)
    assert pdf == set_pdf(page, language="de", day=certificate.made)


def test_what_is_typed_into_a_plan_stands_on_the_sheet_as_it_was_typed():
    odd = replace(made_certificate(), sensor="<b>bench & 1</b> #panic()")
    assert "<b>bench & 1</b> #panic()" in text_of(certificate_page(odd, Phrases()))
    assert any("<b>bench & 1</b>" in line for line in sheet_lines(odd))
    assert set_pdf(certificate_page(odd, Phrases()), language="en", day=DAY)


# -- at the bench -----------------------------------------------------------------------------------------------------------------


class MadeGauge:
    """A gauge that indicates what hangs on it: `load_nm` with gain, offset; `restless` weighings swing first."""

    def __init__(self, gain=1.01, offset_nm=0.3):
        self.gain, self.offset_nm, self.load_nm, self.restless = gain, offset_nm, 0.0, 0

    def weigh(self):
        self.restless -= 1
        steady = self.restless < 0
        return Weighing(self.offset_nm + self.gain * self.load_nm, 0.01, 0.0 if steady else 2.0, steady)


class MadePerson:
    """Hangs what is asked for and answers with Enter, or as `says` has it for a question that holds the key."""

    def __init__(self, plan, gauges, says=(), wrong=None):
        self.plan, self.gauges, self.says, self.wrong = plan, gauges, list(says), wrong
        self.heard, self.asked = [], []

    def ask(self, question):
        self.asked.append(question)
        for at, (key, answer) in enumerate(self.says):
            if key in question:
                del self.says[at]
                return answer
        if question[0].isdigit():
            count, what = question.split(":")[0], question.split(": ")[1]
            load = self.plan.all_loads()[int(count.split(" of ")[0]) - 1]
            size = 0.0 if what.startswith("no load") else load.size
            if self.wrong is not None and size == self.wrong:
                size, self.wrong = 2 * size, None
            for gauge in self.gauges:
                gauge.load_nm = load.direction * self.plan.reference.torque_nm(size)
        return ""

    def say(self, line):
        self.heard.append(line)


def test_points_are_taken_in_the_plan_s_order_and_make_the_sensor_s_gain(folder):
    plan, gauge = load_plan(folder / "plan.toml", DAY), MadeGauge()
    person = MadePerson(plan, [gauge])
    PointTaker(plan, gauge, None, person).run()
    points = read_points(plan.points, plan.reference)
    assert len(points) == len(plan.all_loads()) == 44
    assert sum("three times" in line for line in person.heard) == 2  # each direction is exercised first
    assert any("feet" in line for line in person.heard)
    assert main(["calibrate", str(folder / "plan.toml"), "--no-pdf"]) == 0
    (made,) = folder.glob("*.json")
    assert made.name == "certificate_2026-1.json"
    assert json.loads(made.read_text())["forward"]["coefficients"][0] == pytest.approx(1 / 1.01, rel=1e-6)


def test_a_swinging_weight_and_a_wrong_one_are_noticed_and_taken_again(folder):
    plan, gauge = load_plan(folder / "plan.toml", DAY), MadeGauge()
    gauge.restless = 2
    person = MadePerson(plan, [gauge], wrong=6.0)
    PointTaker(plan, gauge, None, person).run()
    assert sum("not at rest" in question for question in person.asked) == 2
    assert sum("right one" in question for question in person.asked) == 1
    shown = {point.torque_nm: point.indication_nm for point in read_points(plan.points, plan.reference)}
    assert all(value == pytest.approx(0.3 + 1.01 * torque, abs=1e-5) for torque, value in shown.items())


def test_what_is_odd_can_be_kept_and_the_one_before_taken_again(folder):
    plan, gauge = load_plan(folder / "plan.toml", DAY), MadeGauge()
    person = MadePerson(plan, [gauge], says=[("right one", "k"), ("5 of 44", "b")], wrong=6.0)
    PointTaker(plan, gauge, None, person).run()
    asked = [question.split(":")[0] for question in person.asked if " of 44" in question]
    assert asked[:7] == ["1 of 44", "2 of 44", "3 of 44", "4 of 44", "5 of 44", "4 of 44", "5 of 44"]
    assert read_points(plan.points, plan.reference)[3].indication_nm == pytest.approx(0.3 + 1.01 * plan.reference.torque_nm(6.0))


def test_a_run_that_was_broken_off_keeps_its_points_and_begins_its_series_anew(folder):
    plan, gauge = load_plan(folder / "plan.toml", DAY), MadeGauge()
    with pytest.raises(Stopped):
        PointTaker(plan, gauge, None, MadePerson(plan, [gauge], says=[("15 of 44", "q")])).run()
    assert len(read_points(plan.points, plan.reference)) == 14
    person = MadePerson(plan, [gauge])
    PointTaker(plan, gauge, None, person).run()
    assert next(question for question in person.asked if " of 44" in question).startswith("12 of 44")
    assert len(read_points(plan.points, plan.reference)) == 44


def test_points_of_another_plan_are_not_gone_on_with(folder):
    plan, gauge = load_plan(folder / "plan.toml", DAY), MadeGauge()
    loads = plan.all_loads()
    rows = [points_row(load, load.size, 0.0) for load in (loads[0], loads[2], loads[6])]
    plan.points.write_text(points_header(plan.reference) + "".join(rows))
    with pytest.raises(CertificateError, match="not those of the plan"):
        PointTaker(plan, gauge, None, MadePerson(plan, [gauge])).run()
    assert len(plan.points.read_text().splitlines()) == 4


def test_against_a_reference_on_a_line_its_reading_from_its_own_zero_is_the_load(folder):
    plan = plan_with(folder, BY_REFERENCE)
    gauge, master = MadeGauge(gain=0.98), MadeGauge(gain=1.0, offset_nm=-0.7)
    PointTaker(plan, gauge, master, MadePerson(plan, [gauge, master])).run()
    assert [round(point.torque_nm, 3) for point in read_points(plan.points, plan.reference)] == [0, 20, 40, 20, 0]
    assert main(["calibrate", str(folder / "plan.toml"), "--no-pdf"]) == 0
    certificate = read_certificate(folder / "certificate_2026-1.json")
    assert certificate.forward.coefficients[0] == pytest.approx(1 / 0.98, rel=1e-5)
    assert certificate.forward.u_relative == pytest.approx(0.001)
    assert certificate.back is None


def test_against_a_reference_that_is_read_off(folder):
    plan, gauge = plan_with(folder, BY_REFERENCE), MadeGauge(gain=0.98)
    answers = [("shows?", "about 20"), ("shows?", "20.4"), ("shows?", "30 lbf.ft"), ("shows?", "20 N.m")]
    person = MadePerson(plan, [gauge], says=answers)
    PointTaker(plan, gauge, None, person).run()
    sizes = [point.torque_nm for point in read_points(plan.points, plan.reference)]
    assert sizes == [0, pytest.approx(20.4), pytest.approx(40.6745, abs=1e-3), pytest.approx(20.0), 0]
    assert any("about 20" in line for line in person.heard)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--template"),
        (["none.toml"], "no such plan"),
        (["plan.toml", "--reference", "r.toml"], "--device"),
        (["plan.toml", "--device", "none.toml"], "no such profile"),
        (["plan.toml"], "no such file of points"),
    ],
)
def test_what_is_missing_is_told(folder, capsys, monkeypatch, words, said):
    monkeypatch.chdir(folder)
    assert main(["calibrate", *words]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("shown", "status", "said"),
    [
        ("29.5 N.m, 59.2 N.m", 0, 'u = "0.75 %"'),
        ("21.7 N.m, 43.4 N.m", 4, "the sensor sends lbf.ft, not N.m"),
        ("35 N.m, 70 N.m", 4, "too far off to work with"),
    ],
)
def test_two_known_weights_tell_what_may_be_stated(capsys, shown, status, said):
    """5 and 10 kg on 600 mm make 29.42 and 58.84 N.m (m g L, g = 9.80665 m/s^2)."""
    words = ["calibrate", "--check", "--weights", "5 kg, 10 kg", "--arm", "600 mm", "--shown", shown]
    assert main(words) == status
    out = capsys.readouterr().out
    assert "58.8 N.m" in out
    assert said in out


@pytest.mark.parametrize("wrong", [["--weights", "5 kg"], ["--weights", "5 kg, 5 kg"], ["--arm", "0 mm"], ["--shown", "29 N.m"]])
def test_a_check_that_cannot_be_made_says_why(capsys, wrong):
    words = {"--weights": "5 kg, 10 kg", "--arm": "600 mm", "--shown": "29.5 N.m, 59.2 N.m", **dict([wrong])}
    assert main(["calibrate", "--check", *(part for pair in words.items() for part in pair)]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


def test_what_a_check_states_holds_the_sensor_s_error():
    """Over sensors off by up to 1.5 % and weights off by up to 1 %: U of the stated u holds what the sensor is off by."""
    rng = np.random.default_rng(5)
    loads = np.array([29.42, 58.84])
    held = []
    for _ in range(500):
        gain, weights = 1 + rng.uniform(-0.015, 0.015), 1 + rng.uniform(-0.01, 0.01)
        found = check_by_weights(loads, gain * weights * loads, 0.01 / np.sqrt(3))
        held.append(abs(gain - 1) <= 1.96 * found.u_relative)
    assert np.mean(held) >= 0.93


def test_a_reference_may_state_its_uncertainty_as_a_torque(folder):
    """It is the larger share the smaller the load: that of the smallest load counts, on the safe side."""
    plan = '[certificate]\nnumber = "1"\nsensor = "bench 1"\n[reference]\nname = "R, 7"\nexpanded_u = "0.1 N.m"\n'
    with pytest.raises(DocumentError, match="no loads are given"):
        plan_with(folder, plan)
    reference = plan_with(folder, plan + 'loads = ["10 N.m", "20 N.m"]\n').reference
    assert reference.u_relative == pytest.approx(0.1 / 10 / 2)
    assert "0.1 N.m" in reference.method


def test_a_template_is_written_where_a_plan_is_named_and_never_over_one(tmp_path, capsys):
    path = tmp_path / "plan.toml"
    assert main(["calibrate", "--template", str(path)]) == 0
    assert "[certificate]" in path.read_text()
    path.write_text("mine")
    assert main(["calibrate", "--template", str(path)]) == 2
    assert path.read_text() == "mine"
    assert "such a file already" in capsys.readouterr().err


def test_how_far_the_loads_reach_is_said_before_the_work(tmp_path, capsys, monkeypatch):
    """12 kg at 800 mm are 94.2 N.m (at 9.8125 m/s^2): below the window in the settings."""
    (tmp_path / "settings.toml").write_text('window = "80..120 N.m"\nunit = "lbf.ft"\n')
    monkeypatch.setattr("rig.settings.settings_path", lambda: tmp_path / "settings.toml")
    plan = Path(__file__).resolve().parents[3] / "recordings" / "calibration" / "plan.toml"
    assert main(["calibrate", str(plan), "--out", str(tmp_path / "c.json"), "--no-pdf"]) == 0
    said = capsys.readouterr().err
    assert "the loads reach 69.5 lbf.ft" in said
    assert "goes to 88.5 lbf.ft: add heavier loads" in said
