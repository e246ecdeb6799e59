"""Hand-over sheet and label: what stands on them, in both languages and units; the same for the same job and day."""

import ast
import io
import re
import unicodedata
from datetime import date
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

import rig.sheets
from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.cli import main
from rig.errors import LanguageError
from rig.files.pull_file import read_recording
from rig.refit import answer
from rig.sheets import said
from rig.sheets.blocks import Columns, Drawing, Line, NewPage, plain
from rig.sheets.drawings import arrangement, decimated, nice_ticks
from rig.sheets.hand_over import hand_over
from rig.sheets.label import label
from rig.sheets.outcome import as_found_and_final
from rig.sheets.phrases import Phrases
from rig.sheets.printing import set_pdf, write_pdf
from rig.words.arrangements import SCENES

RECORDINGS = Path(__file__).resolve().parents[3] / "recordings"
DAY = date(2026, 1, 17)
HEAD = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
WINDOW = Window.parse("40..65 N.m")

REFIT = """
[[bearing]]
name = "side bearings"
form = "gap"
gap = ["0.11 mm", "0.13 mm", "0.12 mm", "0.12 mm"]
wanted = "0.15..0.21 mm"
shims_now = ["1.10 mm"]
thicker_shim = "more preload"
shelf = ["0.05 mm", "0.10 mm", "1.10 mm", "1.20 mm"]
[[drag]]
name = "side bearings"
torque = ["1.7 N.m", "1.6 N.m"]
window = "1.0..2.5 N.m"
sensor_u = "0.05 N.m"
[[backlash]]
name = "ring gear"
points = ["0.15 mm", "0.17 mm", "0.16 mm", "0.14 mm"]
window = "0.10..0.23 mm"
[[fasteners]]
name = "ring gear bolts"
count = 8
torque = "98 N.m"
single_use = true
state = "new"
locked_by = "tabs"
peaks = ["97 N.m", "98 N.m", "99 N.m", "98 N.m", "97 N.m", "80 N.m"]
[[fill]]
name = "gear oil"
filled = "2.0 l"
additive = "4 %"
additive_added = "80 ml"
"""


def series(phase, entries, verdict, value=55.0, **others):
    known = {
        "phase": phase,
        "arrangement": "A",
        "closure": "final" if phase == "rebuilt" else None,
        "lubricant": "invented gear oil",
        "additive": "none",
        "n": len(entries),
        "entries": entries,
        "basis": "breakaway",
        "breakaway_nm": value,
        "u_nm": 1.0,
        "expanded_u_nm": 2.05,
        "by_direction_nm": [value + 1, value - 1],
        "chattering": 0,
        "chatter_assessable": len(entries),
        "verdict": verdict,
        "probability_in_window": 0.998,
    }
    return {**known, **others}


@pytest.fixture(scope="module")
def recordings():
    names = {3: "as_found_low", 4: "rebuilt_good", 5: "rebuilt_good_other_way"}
    sensor_of = SensorChoice(DAY).of
    return {entry: read_recording(RECORDINGS / f"{name}.csv", sensor_of) for entry, name in names.items()}


@pytest.fixture
def job(tmp_path):
    (tmp_path / "REFIT.toml").write_text(REFIT, "utf-8")
    pulls = [
        {"entry": entry, "trace": f"pulls/{entry}.csv", "sha256": "ab" * 32, "phase": phase, "arrangement": "A", "direction": way}
        | {"breakaway_nm": 50.0 + entry, "sliding_nm": 48.0, "u_nm": 0.2, "chatter": False, "verdict": "in_window"}
        | {"struck": "the vice slipped" if entry == 6 else None}
        for entry, phase, way in ((3, "as found", 1), (4, "rebuilt", 1), (5, "rebuilt", -1), (6, "rebuilt", 1))
    ]
    return {
        "job": "2026-0001",
        "unit": "QF-7 (invented)",
        "customer": "invented customer",
        "complaint": "chatters when hot",
        "opened_at": "2026-01-12T08:10:00+00:00",
        "closed_at": None,
        "spec": {"card": {"card": {"page": "invented sheet 12"}}},
        "pulls": pulls,
        "series": [series("as found", [3], "below", 17.7), series("rebuilt", [4, 5], "in_window")],
        "packs": [
            {
                "entry": entry,
                "at": "2026-01-13",
                "sheet": {side: {"plates": ["outer"], "shims": shims} for side in ("left", "right")},
            }
            for entry, shims in ((1, ["0.30 mm"]), (2, ["0.30 mm", "0.10 mm"]))
        ],
        "refits": [{"entry": 7, "at": "2026-01-14", "answer": answer(tmp_path / "REFIT.toml")}],
        "parts": [{"entry": 8, "text": "lock tabs, 10", "single_use": True, "batch": "B-77"}],
        "oils": [{"entry": 9, "text": "invented gear oil", "volume": "2.0 l", "additive": "invented modifier", "dose": "80 ml"}],
        "notes": [{"entry": 10, "at": "2026-01-15T09:00:00+00:00", "text": "shim 1.45 sat left"}],
        "photos": [{"entry": 11, "name": "plug.jpg", "sha256": "cd" * 32}],
        "steps": [
            {"step": "lock_tabs", "name": "Bend the lock tabs", "state": "although", "who": "T.W.", "at": "2026-01-16T10:00:00Z"}
            | {"reason": "bolt 6 pulled by feel"},
            {"step": "seals", "name": "Fit the seals", "state": "open"},
        ],
        "struck": [{"entry": 6, "why": "the vice slipped", "who": "T.W.", "at": "2026-01-15T10:00:00+00:00"}],
        "events": 12,
        "head": HEAD,
    }


def page_of(job, recordings=None, phrases=None):
    phrases = phrases or Phrases()
    return hand_over(job, recordings or {}, phrases, window=WINDOW, printed=DAY.isoformat(), workshop="Quillfen Gearworks")


def set_sheet(job, recordings=None, phrases=None):
    return set_pdf(page_of(job, recordings, phrases), language=(phrases or Phrases()).language, day=DAY)


def texts(value):
    """Every text in blocks, in order."""
    if isinstance(value, str):
        return [value]
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for each in inside for text in texts(each)]


def sheet(job, recordings=None, phrases=None):
    """What stands on the first page and what in the annex."""
    page = page_of(job, recordings, phrases)
    turn = next(at for at, block in enumerate(page.blocks) if isinstance(block, NewPage))
    head = [page.title, page.subtitle, *page.right, page.foot]
    return " ".join(head + texts(plain(page.blocks[:turn]))), " ".join(texts(plain(page.blocks[turn:])))


def plainly(text):
    """Ligatures and blanks made plain, as a PDF's text may have them."""
    return " ".join(unicodedata.normalize("NFKC", text).split())


def pages(pdf):
    """Each page's text."""
    return [plainly(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


# -- what stands on it ------------------------------------------------------------------------------------------------------------


def test_the_first_page_says_what_came_of_it_how_sure_and_by_which_rule(job, recordings):
    first, annex = pages(set_sheet(job, recordings))
    for words in (
        "IN WINDOW",
        "(55.0 ± 2.1) N·m",  # two figures of U, rounded up, and the value to the same place
        "40.0 … 65.0 N·m",
        "invented sheet 12",
        "k = 2.05",
        "guarded acceptance",
        "99.8 %",
        "Arrangement A: one output held",
        "21 °C",
        "invented modifier, 80 ml",
        "preload only, not lock-up",
        "Never run the engine in gear with one wheel raised",
        "left 0.30 mm + 0.10 mm",
        "ring gear bolts: 8 bolts at 98.0 N·m: NOT COMPLETE",
        "Quillfen Gearworks",
        HEAD[:12],
    ):
        assert plainly(words) in first, words
    assert HEAD in annex


def test_a_step_done_against_its_gate_stands_on_the_first_page_for_good(job):
    first, _ = sheet(job)
    assert "DONE ALTHOUGH SOMETHING WAS MISSING" in first
    assert "bolt 6 pulled by feel" in first
    job["steps"][0]["state"] = "done"
    assert "ALTHOUGH" not in sheet(job)[0]


def test_what_was_struck_stays_visible_with_its_reason(job):
    _, annex = sheet(job)
    assert "entry 6 does not count: the vice slipped" in annex
    assert "entry 6 was struck" in annex


def test_an_undecided_series_likely_enough_says_that_it_reads_in_the_window(job):
    words = "reads in the window; the limit lies within the uncertainty"
    job["series"][1] |= {"verdict": "undecided", "probability_in_window": 0.93}
    assert words in sheet(job)[0]
    job["series"][1] |= {"probability_in_window": 0.6}
    assert words not in sheet(job)[0]


def test_what_the_verdict_lacks_is_told_and_a_lower_bound_is_no_value(job):
    job["series"][1] |= {"missing": ["sensor", "lower_bound"], "verdict": "undecided", "value_nm": 55.0, "verdict_u_nm": 2.05}
    first, _ = sheet(job)
    assert "at least (55.0 ± 2.1) N·m" in first
    assert "The sensor's uncertainty is not known" in first
    assert "The sensor was at its limit" in first


def test_a_unit_that_turned_freely_has_no_torque(job):
    job["series"][1] |= {"held_nothing": True, "verdict": "below", "value_nm": 0.0, "breakaway_nm": None}
    assert "none: the unit turned freely" in sheet(job)[0]


def test_the_direction_that_decides_is_named(job):
    job["series"][1] |= {"value_nm": 55.0, "deciding": {"direction": -1, "value_nm": 52.0, "expanded_u_nm": 3.0}}
    assert "The direction that stands worse decides: other way, (52.0 ± 3.0) N·m." in sheet(job)[0]


def test_what_was_missing_at_a_step_stays_on_the_first_page(job):
    needs = [{"code": "fasteners", "text": "bolt 6 is too low"}]
    job["although"] = [{"step": "lock_tabs", "reason": "in a hurry", "who": "T.W.", "at": "2026-01-16", "missing": needs}]
    first, _ = sheet(job)
    assert "Bend the lock tabs: in a hurry (T.W., 2026-01-16); missing then: bolt 6 is too low" in first


def test_traces_that_could_not_be_read_are_named(job, recordings):
    assert "No curve of entries" not in sheet(job, recordings)[0]
    left = {entry: one for entry, one in recordings.items() if entry != 5}
    assert "No curve of entries 5: their traces are missing" in sheet(job, left)[0]


def test_the_first_page_stays_one_page_and_the_annex_has_the_rest(job, recordings):
    job["complaint"] = "chatters " * 400
    job["parts"] = [{"entry": at, "text": f"part {at}"} for at in range(60)]
    first, annex = sheet(job, recordings)
    assert "more in the annex" in first
    assert "part 59" not in first
    assert "part 59" in annex
    assert annex.count("chatters") >= 400
    assert "What this sheet does not show" in pages(set_sheet(job, recordings))[0]


def test_what_does_not_stand_comes_first_on_the_first_page(job):
    first, _ = sheet(job)
    assert first.index("NOT COMPLETE") < first.index("side bearings: shims")


def test_plates_stand_as_they_were_measured_last(job):
    job["packs"][1]["sheet"]["plates"] = [{"id": "L1", "kind": "outer", "thickness": ["2.01 mm", "2.00 mm"], "unworn": "2.02 mm"}]
    _, annex = sheet(job)
    assert "Plates as measured" in annex
    assert "2.01 mm, 2.00 mm" in annex


def test_curves_are_drawn_for_the_pulls_that_could_be_read(job, recordings):
    assert "no curve" in sheet(job)[0]
    assert "no curve" not in sheet(job, recordings)[0]
    assert len(set_sheet(job, recordings)) > len(set_sheet(job)) + 2000


def test_a_pull_the_other_way_is_drawn_as_a_magnitude_in_dashes(job, recordings):
    page = page_of(job, {entry: recordings[entry] for entry in (4, 5)})
    (final,) = [drawing for columns in page.blocks for drawing in drawings_in(columns) if "as it goes out" in drawing.alt]
    top, bottom = 5.0, final.height_mm - 8.5  # the frame: y grows downwards
    curves = [
        shape for shape in final.shapes if isinstance(shape, Line) and shape.ink in ("first", "second") and len(shape.points) > 2
    ]
    assert {(curve.ink, curve.dash) for curve in curves} == {("first", None), ("second", "densely-dashed")}
    for curve in curves:  # both reach the same height: breakaway near 57 and 60 N.m of an axis that ends at 70
        assert min(y for _, y in curve.points) < top + 0.3 * (bottom - top)


def drawings_in(block):
    return [each for part in block.parts for each in part if isinstance(each, Drawing)] if isinstance(block, Columns) else []


def test_an_empty_job_still_makes_a_sheet():
    page = hand_over({"job": "2026-0002", "unit": "x"}, {}, Phrases(), window=None, printed="2026-01-17")
    (first, _) = pages(set_pdf(page, language="en", day=DAY))
    assert "NO FINAL PULL" in first


@given(st.lists(st.sampled_from(["as found", "As_found", "rebuilt", "after run-in"]), max_size=6))
def test_as_found_is_the_first_before_and_final_the_last_after(phases):
    made = [{"phase": phase, "entries": [at]} for at, phase in enumerate(phases)]
    found, final = as_found_and_final(made)
    before = [at for at, phase in enumerate(phases) if phase.casefold().replace("_", " ") == "as found"]
    after = [at for at in range(len(phases)) if at not in before]
    assert (found is None, final is None) == (not before, not after)
    assert found is None or found["entries"] == [before[0]]
    assert final is None or final["entries"] == [after[-1]]


# -- units and language -----------------------------------------------------------------------------------------------------------


def test_inches_quarts_and_fahrenheit_go_with_pounds(job, recordings):
    text = " ".join(sheet(job, recordings, Phrases("en", "lbf.ft")))
    for words in ("(40.6 ± 1.6) lbf·ft", "29.5 … 47.9 lbf·ft", "70 °F", "2.11 qt", "0.0457 in", "lbf·in"):
        assert words in text, words
    assert "N·m" not in text
    assert not re.search(r"\d (mm|l|ml|°C)\b", text)  # nothing is left as it was typed in the other system


@pytest.mark.parametrize(
    ("unit", "typed", "shown"),
    [
        ("N.m", "2.010 mm", "2.010 mm"),
        ("N.m", "0.0787 in", "1.999 mm"),  # 1 in = 25.4 mm exactly
        ("lbf.ft", "0.0787 in", "0.0787 in"),
        ("lbf.ft", "2.01 mm", "0.0791 in"),
        ("lbf.ft", "as new", "as new"),
    ],
)
def test_a_length_is_printed_in_the_system_of_the_sheet(unit, typed, shown):
    assert Phrases("en", unit).typed_length(typed) == shown


@pytest.mark.parametrize(
    ("unit", "language", "typed", "shown"),
    [
        ("N.m", "de", "2.0 l", "2,0 l"),
        ("N.m", "en", "2 qt", "1.89 l"),  # NIST SP 811, B.8: a US quart is 0.946 352 9 l
        ("lbf.ft", "en", "2.0 l", "2.11 qt"),
        ("lbf.ft", "en", "80 ml", "2.7 fl oz"),
        ("lbf.ft", "de", "4 %", "4 %"),
        ("N.m", "de", "2.5 %", "2,5 %"),
    ],
)
def test_a_volume_and_a_dose_are_too(unit, language, typed, shown):
    phrases = Phrases(language, unit)
    assert (phrases.typed_dose if "ml" in typed or "%" in typed else phrases.typed_volume)(typed) == shown


def test_german_with_its_decimal_mark(job):
    text = " ".join(pages(set_sheet(job, None, Phrases("de"))))
    for words in ("Übergabeblatt", "IM FENSTER", "(55,0 ± 2,1) N·m", "nur die Vorspannung, nicht den Sperrwert", "Seite 1 von 2"):
        assert words in text, words


def test_an_unknown_language_is_refused():
    with pytest.raises(LanguageError, match="choose one of en, de"):
        Phrases("xx")


def said_texts():
    """Every text that the sheets say, as it stands in their source."""
    texts = [*said.STATE.values(), *said.STANDING.values(), *said.ARRANGEMENT.values(), *said.CAUTIONS, said.FOOT, said.PAGE_OF]
    for path in Path(rig.sheets.__path__[0]).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                texts += [node.args[0].value] if name == "say" else []
    return texts


def test_every_text_has_its_german_line_with_the_same_braces():
    table, texts = Phrases("de")._table, said_texts()
    assert len(texts) > 100
    assert not [text for text in texts if text not in table]
    braces = re.compile(r"\{\w+\}")
    assert not [text for text, german in table.items() if sorted(braces.findall(text)) != sorted(braces.findall(german))]


def test_every_arrangement_that_is_said_has_its_picture():
    assert set(said.ARRANGEMENT) == set(SCENES)
    assert arrangement("C", alt="", caption="") is None  # cannot turn: never pulled


# -- the file ---------------------------------------------------------------------------------------------------------------------


def test_the_same_job_and_day_are_the_same_bytes(job, recordings):
    assert set_sheet(job, recordings) == set_sheet(job, recordings)
    page = label(job, Phrases(), window=WINDOW, printed="2026-01-17")
    assert set_pdf(page, language="en", day=DAY) == set_pdf(page, language="en", day=DAY)
    assert set_pdf(page, language="en", day=DAY) != set_pdf(page, language="en", day=date(2026, 1, 18))


def test_it_is_pdf_a_and_tagged_with_its_own_fonts(job):
    # ISO 19005-2: identification in the XMP packet, every font embedded, no outside reference; ISO 32000, 14.7:
    # marked, with a language.
    pdf = set_sheet(job, None, Phrases("de"))
    reader = PdfReader(io.BytesIO(pdf))
    packet = reader.trailer["/Root"]["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfaid:part>2<", packet)
    assert re.search(r"pdfaid:conformance>A<", packet)
    assert re.search(r"pdfuaid:part>1<", packet)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "de"
    fonts = [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]
    inside = [font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object() for font in fonts]
    assert inside
    assert all("/FontFile3" in one or "/FontFile2" in one for one in inside)
    assert {str(font["/BaseFont"]).split("+")[1].split("-")[0] for font in fonts} <= {"LibertinusSerif", "NewCMMath"}
    assert b"/URI" not in pdf


HOSTILE = (
    "#panic(1)",
    "*bold* _x_ $1/0$ @a <b> `c`",
    "\\",
    '"',
    "{head}",
    "日本語",
    "a\x1b[31mb\x00",
    "\u202eabc",
    "🚗",
    "x" * 3000,
    "é̂",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_what_was_typed_is_text_and_nothing_else(job, text):
    job |= {"unit": text, "customer": text, "complaint": text}
    job["notes"][0]["text"] = text
    job["steps"][0]["reason"] = text
    job["refits"] = []
    assert set_sheet(job)
    (first,) = pages(set_pdf(label(job, Phrases(), window=WINDOW, printed="2026-01-17"), language="en", day=DAY))
    if text.isascii() and text.isprintable() and len(text) < 100:
        assert text in first


def test_a_sheet_where_nothing_may_be_written_is_said(job, tmp_path):
    page = label(job, Phrases(), window=WINDOW, printed="2026-01-17")
    with pytest.raises(Exception, match="cannot be written"):
        write_pdf(tmp_path / "none" / "x.pdf", page, language="en", day=DAY)


def test_the_label_is_one_page_and_says_the_torque(job):
    page = label(job, Phrases("en", "lbf.ft"), window=WINDOW, printed="2026-01-17")
    (text,) = pages(set_pdf(page, language="en", day=DAY))
    assert "(40.6 ± 1.6) lbf·ft" in text
    assert "not lock-up" in text


def test_the_label_never_hides_a_step_that_was_done_although(job):
    done_although = str(label(job, Phrases("en", "N.m"), window=WINDOW, printed="2026-01-17"))
    job["steps"] = [step | {"state": "done"} for step in job["steps"]]
    done = str(label(job, Phrases("en", "N.m"), window=WINDOW, printed="2026-01-17"))
    assert ("although" in done_although, "although" in done) == (True, False)


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("letter", ["W", "long name "])
def test_the_label_is_one_page_whatever_was_typed(job, letter, language):
    job |= {"unit": letter * 200, "customer": letter * 200}
    job["oils"][0] |= {"text": letter * 200}
    job["series"][1] |= {"verdict": "undecided", "arrangement": letter * 200}
    page = label(job, Phrases(language, "lbf.ft"), window=WINDOW, printed="2026-01-17", workshop=letter * 100)
    assert len(pages(set_pdf(page, language=language, day=DAY))) == 1


def test_templates_say_nothing_of_their_own():
    # Words in a template would have no German line.
    for path in (resources.files("rig.sheets") / "templates").iterdir():
        body = re.sub(r"//.*", "", path.read_text(encoding="utf-8"))
        quoted = re.findall(r'"([^"]*)"', body)
        assert not [text for text in quoted if " " in text and text not in ("Libertinus Serif",)], path


# -- drawings ---------------------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=4000))
def test_a_printed_curve_loses_no_peak(values):
    torque = np.array(values)
    along, kept = decimated(np.arange(torque.size, dtype=float), torque)
    assert kept.size <= max(440, 2)
    assert (kept.max(), kept.min()) == (torque.max(), torque.min())
    assert np.all(np.diff(along) > 0)


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4))
def test_ticks_lie_within_and_are_evenly_spaced(low, width):
    ticks = nice_ticks(low, low + width)
    assert all(low - 1e-6 * width <= tick <= low + width + 1e-6 * width for tick in ticks)
    assert 2 <= len(ticks) <= 12
    assert np.ptp(np.diff(ticks)) < 1e-6 * width + 1e-9


# -- as a command -----------------------------------------------------------------------------------------------------------------


def test_the_sheet_of_a_job_in_the_book(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    book = ["--book", str(tmp_path / "book.sqlite")]
    for name in ("rebuilt_good", "rebuilt_good_other_way"):
        for suffix in (".csv", ".csv-metadata.json"):
            (tmp_path / (name + suffix)).write_bytes((RECORDINGS / (name + suffix)).read_bytes())
    assert main(["job", "new", "--unit-id", "QF-7 (invented)", *book]) == 0
    traces = [str(tmp_path / f"{name}.csv") for name in ("rebuilt_good", "rebuilt_good_other_way")]
    assert main(["job", "add", "last", "pull", *traces, *book]) == 0
    capsys.readouterr()
    out = tmp_path / "sheet.pdf"
    assert main(["job", "sheet", "last", "--out", str(out), "--language", "de", *book]) == 0
    assert "altered" not in capsys.readouterr().err
    assert "Übergabeblatt" in pages(out.read_bytes())[0]
    # A trace that is no longer the one that was entered is not drawn.
    (tmp_path / "rebuilt_good.csv").write_bytes(b"time [s],torque [N.m]\n0,0\n1,1\n")
    assert main(["job", "sheet", "--out", str(out), *book]) == 0
    assert "is not the file that was entered (entry 2)" in capsys.readouterr().err
    assert main(["job", "label", "--out", str(tmp_path / "label.pdf"), *book]) == 0
    assert main(["job", "sheet", "2020-0001", "--out", str(out), *book]) == 2
    with pytest.raises(SystemExit, match="2"):
        main(["job", "sheet", "--out", str(out), "--language", "xx", *book])
    assert main(["job", "sheet", "--out", str(out), "--unit", "kg", *book]) == 2
