"""Every text of the window has its German; what is filled in stays filled in."""

import ast
import itertools
import re
from pathlib import Path

import pytest

import rig.words.language as language
from analysis.results import BudgetSource
from analysis.window import Window, WindowError
from drivers.emulated.scenarios import SCENARIOS
from rig.calibration.point_taker import CAUTIONS as WEIGHING
from rig.commands.book import LEVELS, RULE_WORDS
from rig.commands.guess import EXAMPLES
from rig.commands.job import WHAT_WORDS
from rig.errors import LanguageError
from rig.pack.words import ADVICE as PACK_ADVICE
from rig.pack.words import FROM_SHOP, LIMITS
from rig.refit.words import ADVICE as REFIT_ADVICE
from rig.refit.words import APPLIED_ONLY
from rig.window.conditions import FIELD_NAMES
from rig.window.keys import KEY_NAMES, rows
from rig.window.qt.compare_page import HEADINGS
from rig.window.qt.conditions_page import CHOICES
from rig.window.qt.pull_page import REASONS
from rig.window.qt.sensor_page import HEADINGS as SENSOR_HEADINGS
from rig.window.views.compare import EXCLUDED_HERE, HINT
from rig.window.views.panel import LACKS, SPOILERS
from rig.window.views.sensor import CHECKS, MARKS
from rig.words import comparison, comparison_sides, verdicts
from rig.words.arrangements import ARRANGEMENTS
from rig.words.bench import CHECK_FIRST, NOT_A_PULL
from rig.words.language import LANGUAGES, catalogue, number, read_po, say, speak
from rig.words.retold import fault_text, retold
from rig.words.sentences import CAUTIONS, EXERCISE, NAME_OF, QUALITY_WORDS, STATE_WORD, WHY_NOT
from rig.words.verdicts import FREE_CHECKS, MISSING, OTHER_ARRANGEMENT

RIG = Path(language.__file__).parents[1]


@pytest.fixture(autouse=True)
def english_again():
    yield
    speak("en")


def said():
    """Every text handed to `say` as it stands in the code; printed sheets have words, and a test, of their own."""
    texts = set()
    for path in (path for path in RIG.rglob("*.py") if "sheets" not in path.parts):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("say", "say_n"):
                choices = [
                    arg for each in node.args[:2] for arg in ((each.body, each.orelse) if isinstance(each, ast.IfExp) else (each,))
                ]
                texts |= {each.value for each in choices if isinstance(each, ast.Constant) and isinstance(each.value, str)}
    return texts


def of_packs():
    """Sentences of a pack's answer, made in the analysis and in its words."""
    sources = [*(RIG.parent / "analysis" / "pack").glob("*.py"), RIG / "pack" / "words.py"]
    calls = [node for path in sources for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)]
    named = [node for node in calls if isinstance(node.func, ast.Name) and node.func.id in ("Told", "tell") and node.args]
    made = {node.args[0].value for node in named if isinstance(node.args[0], ast.Constant)}
    return {
        text
        for text in (made | set(LIMITS.values()) | set(FROM_SHOP.values()))
        if re.search(r"[a-z]{2}", re.sub("{.*?}", "", text))
    }


OF_THE_TERMINAL = (
    "combined", "pack breakaway", "pack sliding", "first step", "chatter", "quality", "note", "limit", "answer", "parts",
    "hint", "missing", "shop", "stop", "warn", "SIMULATED", "complaint", "opened", "window", "oil", "arrangement", "closure",
    "lubricant", "additive", "plates", "plate state", "as found", "rebuilt", "in window", "below", "above", "undecided",
    "no reading", "breakaway", "sliding", "ok", "FIX", "versions", "ports", "folder", "room", "clock", "settings", "device",
    "certificate", "book", "log", "sound", "CHATTERS", "NO WINDOW SET", "positional arguments", "options",
    "show this help message and exit", "usage: ", "argument {1}", "expected one argument", "expected at least one argument",
    "argument {1}: invalid {2} value: {3}", "argument {1}: invalid choice: {2} (choose from {3})",
    "the following arguments are required: {1}", "argument {1}: not allowed with argument {2}",
    "one of the arguments {1} is required", "argument {1}: ignored explicit argument {2}", "unrecognized arguments: {1}",
    "there is no option {1}; did you mean {2}?", "there is no option {1}", "'{1}' is not above zero",
    "argument {1}: '{2}' is none; did you mean '{3}'?",
)  # fmt: skip
"""Labels of the terminal, and what argparse says (its own texts, Python 3.11 to 3.13)."""
SENTENCES_OF = (
    "drivers/guess.py", "drivers/line.py", "drivers/source.py", "drivers/watch.py", "rig/doctor/checks.py",
    "rig/live/listening.py", "rig/live/runner.py", "rig/live/session.py", "rig/files/one_state.py", "rig/files/_document_words.py",
    "drivers/opening.py", "analysis/stated.py", "rig/book/verify.py", "rig/book/export.py", "rig/commands/guess.py",
)  # fmt: skip
"""Where every sentence may come to the window."""
FAULTS_OF = ("analysis/**/*.py", "drivers/**/*.py", "rig/**/*.py")
"""Where those of faults do: every one may end at the terminal or the window."""
NEVER_SHOWN = {
    "Object contains unknown field `(.*)`", "Object missing required field `(.*)`", "SELECT {1} FROM {2} WHERE job = :job{3}",
    r"\s*\b(?:of\s+(?:the\s+)?|v\.?\s*)?(?:reading|rdg|indicated value|messwert|m\.)\s*$",
    "exclusively lock", "keys that would do nothing: {1}", "{1} to fix: {2}",
}  # fmt: skip
"""Searched for in a message of the system or of a library; a mistake of ours; of the database; a pattern."""


def template(node):
    """A text as the catalogue has it: what is filled in has a number."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    if not isinstance(node, ast.JoinedStr):
        return ""
    number = itertools.count(1)
    return "".join(part.value if isinstance(part, ast.Constant) else f"{{{next(number)}}}" for part in node.values)


def is_sentence(text):
    return " " in text and len(re.findall("[a-z]{2,}", text)) > 1


def sentences(path):
    """Every sentence in a file that is no docstring."""
    nodes = list(ast.walk(ast.parse(path.read_text("utf-8"))))
    left_out = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    left_out |= {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    return {text for node in nodes if id(node) not in left_out and is_sentence(text := template(node))}


def faults(path):
    """The sentences that the faults and failures of a file are made with."""
    calls = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)]
    makers = ("Error", "Failed", "read_document", "replace", "Kind")
    made = [node for node in calls if isinstance(node.func, ast.Name) and node.func.id.endswith(makers)]
    remedies = [word.value for node in made for word in node.keywords if word.arg in ("remedy", "if_missing")]
    parts = [*(part for node in made for part in node.args), *remedies]
    return {text for part in parts if is_sentence(text := template(part))}


def helps():
    """What the help of the verbs says."""
    found = set()
    for path in [RIG / "cli.py", *(RIG / "commands").glob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                found |= {template(word.value) for word in node.keywords if word.arg in ("help", "description", "epilog")}
                if getattr(node.func, "id", "") == "_action":
                    found |= {template(node.args[2])}
            if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict):
                found |= {text for each in node.value.values if is_sentence(text := template(each))}
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "HELP":
                found.add(template(node.value))
    return {text for text in found if re.search("[a-z]{2}", text.replace("%%", ""))} - NEVER_SHOWN


def in_tables():
    """Texts that stand in tables and are said from there."""
    choices = {words for pairs in CHOICES.values() for _, words in pairs if words}
    arrangements = {text for one in ARRANGEMENTS for text in (one.what, one.factor)}
    keys = {words for _, words in rows()} | {words for _, words in (*SPOILERS, *LACKS)}
    tables = (
        CAUTIONS,
        MISSING.values(),
        STATE_WORD.values(),
        NAME_OF.values(),
        WHY_NOT.values(),
        [EXERCISE, FREE_CHECKS, CHECK_FIRST, PACK_ADVICE, REFIT_ADVICE, APPLIED_ONLY],
        verdicts.APART.values(),
        WHAT_WORDS.values(),
        EXAMPLES.values(),
        [words for words, _, _ in LEVELS.values()],
        RULE_WORDS.values(),
        BudgetSource,
        OF_THE_TERMINAL,
        [each.help for each in SCENARIOS.values()],
        [words for pair in QUALITY_WORDS.values() for words in pair if words],
        FIELD_NAMES.values(),
        REASONS,
        WEIGHING,
        MARKS.values(),
        CHECKS.values(),
        SENSOR_HEADINGS,
        ("torque", "angle", "time"),
        *NOT_A_PULL.values(),
        KEY_NAMES,
        HEADINGS,
        (HINT, EXCLUDED_HERE, OTHER_ARRANGEMENT),
        comparison.FIGURE_NAMES.values(),
        comparison.CONCLUSION_WORDS.values(),
        comparison.APART_WORDS.values(),
        comparison.FIELD_NAMES.values(),
        comparison.QUESTION_WORDS.values(),
        comparison.STATE_WORDS.values(),
        comparison.SENTENCES.values(),
        comparison_sides.CRITERION_WORDS.values(),
        *comparison.REFUSED_WORDS.values(),
    )
    return choices | arrangements | keys | {text for table in tables for text in table}


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_every_text_of_the_window_is_translated(code):
    known = catalogue(code)
    assert len(said()) > 150
    assert len(of_packs()) > 90
    assert sorted((said() | in_tables() | of_packs()) - known.keys()) == []


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_what_drivers_checks_and_faults_tell_the_window_is_translated(code):
    told = {text for where in SENTENCES_OF for path in sorted(RIG.parent.glob(where)) for text in sentences(path)}
    raised = {text for where in FAULTS_OF for path in sorted(RIG.parent.glob(where)) for text in faults(path)}
    assert min(len(told), len(raised)) > 25
    assert sorted((told | raised | helps()) - catalogue(code).keys() - NEVER_SHOWN) == []


def test_a_sentence_made_elsewhere_is_told_in_the_language_spoken():
    assert retold("nothing has arrived for 2.5 s") == "nothing has arrived for 2.5 s"
    speak("de")
    assert retold("nothing has arrived for 2.5 s") == "seit 2,5 s ist nichts angekommen"
    assert retold("12,345 MB are free for recordings") == "12 345 MB sind frei für Aufzeichnungen"
    assert retold("certificate 20.4 is in force until 2027-01-02") == "Kalibrierschein 20.4 gilt bis 2027-01-02"
    assert retold("torque: it comes back to rest after a pull") == "Moment: kehrt nach einem Zug zur Ruhe zurück"
    assert retold("mV is no unit of torque, angle or time") == "mV ist keine Maßeinheit von Moment, Winkel oder Zeit"
    assert retold("something else: of which nothing is known") == "something else: of which nothing is known"
    with pytest.raises(WindowError) as refused:
        Window.parse("50..20 N.m")
    assert fault_text(refused.value) == "'50..20 N.m': die untere Grenze liegt nicht unter der oberen; VON..BIS EINHEIT schreiben"


def test_the_bench_and_a_series_have_one_word_in_german():
    shown = [path.read_text("utf-8") for path in (*RIG.glob("*/locale/de.po"), *(RIG / "guide" / "de").glob("*.md"))]
    assert len(shown) > 10
    assert [re.findall(r"(?i)\w*(?:werkbank|messplatz)\w*|\bSerien?\b", text) for text in shown] == [[] for _ in shown]


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_translations_have_the_same_places_to_fill(code):
    for english, other in catalogue(code).items():
        assert sorted(re.findall(r"{.*?}", english)) == sorted(re.findall(r"{.*?}", other)), english


def test_a_text_is_said_in_the_language_spoken():
    assert say("Pull {number}", number=3) == "Pull 3"
    speak("de")
    assert say("Pull {number}", number=3) == "Zug 3"
    assert say("no such text") == "no such text"


def test_numbers_follow_the_language():
    assert number(-1.25, 2) == "−1.25"
    assert number(-0.001, 1) == "0.0"
    assert number(2.0, 1, sign=True) == "+2.0"
    speak("de")
    assert number(1234.56, 1) == "1234,6"


def test_an_unknown_language_is_refused():
    with pytest.raises(LanguageError, match="xx"):
        speak("xx")


def test_a_po_file_with_long_and_missing_texts_reads():
    text = '# note\nmsgid ""\nmsgstr "head"\n\nmsgid "a "\n"b"\nmsgstr "c \\"d\\""\n\nmsgid "open"\nmsgstr ""\n'
    assert read_po(text, "x.po") == {"a b": 'c "d"'}


@pytest.mark.parametrize("text", ["msgid no quotes", '"text before any field"', 'msgid "a"\nmsgstr 5'])
def test_a_spoilt_po_file_names_its_row(text):
    with pytest.raises(LanguageError, match=r"x\.po, row \d"):
        read_po(text, "x.po")
