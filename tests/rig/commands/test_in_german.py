"""The terminal in German: help, faults, figures; what programs read stays as it is in every language."""

import json
from importlib import resources
from pathlib import Path

import pytest

from rig import cli
from rig.words.language import speak

DEMO = Path(str(resources.files("recordings")))
GOOD = str(DEMO / "rebuilt_good.csv")
LOW = str(DEMO / "as_found_low.csv")


@pytest.fixture(autouse=True)
def english_again(own_home):
    yield
    speak("en")


def told(capsys, *words, status=0):
    """What a command line prints, out and err."""
    try:
        found = cli.main(list(words))
    except SystemExit as end:
        found = end.code
    assert found == status
    return capsys.readouterr()


def test_the_help_is_in_the_language_chosen(capsys):
    out = told(capsys, "--language", "de", "analyse", "--help").out
    assert "Aufruf: platepull analyse" in out
    assert "feste Argumente:" in out
    assert "diese Hilfe zeigen und enden" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["job", "new"], "diese Argumente fehlen: --unit-id"),
        (["job", "new", "--unit", "N.m"], "es gibt keine Option --unit; ist --unit-id gemeint?"),
        (["analyze"], "'analyze' gibt es nicht; ist 'analyse' gemeint?"),
        (["record", "--pulls", "-3"], "'-3' liegt nicht über null"),
    ],
)
def test_what_argparse_refuses_is_told_in_german_in_one_line(words, sentence, capsys):
    err = told(capsys, "--language", "de", *words, status=2).err
    assert sentence in err
    assert err.count("\n") == 1


def test_an_option_is_known_by_its_whole_name_only(capsys):
    assert (
        "there is no option --wind; did you mean --window?" in told(capsys, "analyse", GOOD, "--wind", "40..65 N.m", status=2).err
    )


def test_figures_and_faults_are_german_at_the_terminal(capsys):
    shown = told(capsys, "--language", "de", "analyse", GOOD, "--window", "40..65 N.m", "--u", "0.5 %")
    assert "Paket-Losbrechmoment" in shown.out
    assert "die Einheit: " in shown.out
    assert " N.m" in shown.out
    assert not [row for row in shown.out.splitlines()[1:] if "1.0" in row or "the " in row]
    assert "diese Aufzeichnung gibt es nicht" in told(capsys, "--language", "de", "analyse", "nowhere.csv", status=2).err


@pytest.mark.parametrize(
    "words",
    [
        ["analyse", GOOD, LOW, "--window", "40..65 N.m", "--budget"],
        ["analyse", GOOD, "--series", "--window", "40..65 N.m"],
        ["refit", str(DEMO / "refit" / "REFIT.toml")],
        ["compare", "--before", LOW, "--after", GOOD],
        ["job", "list"],
    ],
)
def test_json_is_the_same_in_every_language(words, capsys, tmp_path):
    book = ["--book", str(tmp_path / "book.sqlite")] if words[0] == "job" else []
    if book:
        cli.main(["job", "new", "--unit-id", "demo 3", *book])
        capsys.readouterr()
    shown = []
    for code in ("en", "de"):
        cli.main([*words, *book, "--json", "--language", code])
        shown.append(capsys.readouterr().out)
    json.loads(shown[0])
    assert shown[0] == shown[1]


def test_a_record_is_the_same_in_every_language(capsys, tmp_path):
    bodies = []
    for code in ("en", "de"):
        book = ["--book", str(tmp_path / f"{code}.sqlite"), "--who", "T.W.", "--language", code]
        number = told(capsys, "job", "new", "--unit-id", "demo 3", *book).out.strip()
        told(capsys, "job", "add", number, "refit", str(DEMO / "refit" / "REFIT.toml"), *book)
        told(capsys, "job", "step", number, "lock_tabs", "--done", "--although", "Probe", *book)
        told(capsys, "job", "export", number, "--out", str(tmp_path / code), *book)
        held = json.loads((tmp_path / code / "job.json").read_text("utf-8"))
        bodies.append([(each["kind"], each["body"]) for each in held["chain"]])
    assert bodies[0] == bodies[1]


@pytest.mark.parametrize(
    ("words", "environ", "spoken"),
    [
        ([], {}, "en"),
        ([], {"LANG": "de_DE.UTF-8"}, "de"),
        ([], {"LANGUAGE": "fr:de", "LANG": "en_GB"}, "de"),
        ([], {"LC_ALL": "C", "LANG": "de_DE"}, "en"),
        (["doctor", "--language", "en"], {"LANG": "de_AT@euro"}, "en"),
        (["--language=de"], {}, "de"),
    ],
)
def test_the_language_is_that_of_the_option_else_of_the_system(words, environ, spoken):
    # The order LANGUAGE, LC_ALL, LC_MESSAGES, LANG: GNU gettext manual, 2.3 "Setting the GNU gettext environment".
    assert cli.language_of(words, environ) == spoken


def test_the_settings_choose_before_the_system(tmp_path):
    folder = tmp_path / "home" / "platepull"
    folder.mkdir(parents=True)
    (folder / "settings.toml").write_text('language = "de"\n')
    assert cli.language_of([], {"LANG": "en_GB"}) == "de"
    (folder / "settings.toml").write_text("spoilt")
    assert cli.language_of([], {}) == "en"


def test_a_document_of_another_kind_is_told_by_its_name(capsys, tmp_path):
    pack, spec = tmp_path / "PACK.toml", tmp_path / "SPEC.toml"
    pack.write_text(told(capsys, "shim", "--template", "pack").out)
    spec.write_text(told(capsys, "shim", "--template", "spec").out)
    assert "this is a pack sheet, a spec card is wanted" in told(capsys, "analyse", GOOD, "--spec", str(pack), status=2).err
    assert "this is a spec card" in told(capsys, "shim", str(spec), status=2).err
    assert "this is a pack sheet, a refit sheet is wanted" in told(capsys, "refit", str(pack), status=2).err
    shown = told(capsys, "refit", str(pack), "--language", "de", status=2).err
    assert "das ist: Paketblatt; gebraucht wird: Einbaublatt" in shown


def test_a_window_beside_a_spec_card_is_told_to_replace_it(capsys, tmp_path):
    spec = tmp_path / "SPEC.toml"
    spec.write_text('[window]\ntorque = "40..65 N.m"\n[build]\nlayout = "each"\nthicker_shim = "more preload"\n')
    assert "replaces that of the spec card" in told(capsys, "analyse", GOOD, "--spec", str(spec), "--window", "30..40 N.m").err
    assert "replaces" not in told(capsys, "analyse", GOOD, "--spec", str(spec)).err


def test_counts_beyond_any_lever_are_asked_back(capsys, tmp_path):
    lines = tmp_path / "lines.txt"
    swing = [*range(0, 4600, 90), *range(4600, 0, -90)]
    lines.write_text("".join(f"{at % 3 + value}\r\n" for at, value in enumerate([*[0] * 60, *swing, *[0] * 60])))
    out = told(capsys, "guess", str(lines), "--torque-unit", "N.m")
    assert "is beyond any lever; is a count 0.1 N.m? then --torque-unit '0.1 N.m'" in out.err
    assert "beyond" not in told(capsys, "guess", str(lines), "--torque-unit", "0.01 N.m").err


def test_a_sheet_is_answered_in_german_and_its_json_stays(capsys, tmp_path):
    files = {}
    for name in ("pack", "spec", "shelf"):
        files[name] = tmp_path / f"{name.upper()}.toml"
        files[name].write_text(told(capsys, "shim", "--template", name).out)
    words = ["shim", str(files["pack"]), "--spec", str(files["spec"])]
    shown = told(capsys, *words, "--language", "de").out
    assert "im Fenster  trifft  auf Block" in shown
    assert ".." in shown
    assert ",," not in shown
    both = []
    for code in ("en", "de"):
        cli.main([*words, "--json", "--language", code])
        both.append(capsys.readouterr().out)
    assert json.loads(both[0]) == json.loads(both[1])
