"""The guide: every page in both languages, no dead link, no lost picture, and in the window on F1."""

import os
import re
import shlex
from importlib import resources
from pathlib import Path

import pytest
from PySide6.QtCore import QUrl
from support.schema_tables import codes, table

import rig.guide
from rig.cli import main, parser_for
from rig.commands.schema import schema_names
from rig.errors import GuideError
from rig.guide import LANGUAGES, PAGES, page, picture, title
from rig.window.keys import KEYS
from rig.window.qt.guide_page import GuidePage, Pages
from rig.window.qt.theme import THEMES
from rig.words.language import speak

PACKED = resources.files("rig.guide")
EVERY = [(name, language) for name in PAGES for language in LANGUAGES]


def links(text):
    return re.findall(r"(?<!!)\[[^\]]*\]\(([^)]*)\)", text)


def pictures(text):
    return re.findall(r"!\[[^\]]*\]\(([^)]*)\)", text)


def shape(text):
    """What a page and its translation have in common: its parts in their order."""
    return re.findall(r"^(#+ |!\[|\||```|- |\d+\. |> )", text, flags=re.MULTILINE)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_packed_is_what_is_listed(language):
    assert {each.name for each in (PACKED / language).iterdir()} == {f"{name}.md" for name in PAGES}


@pytest.mark.parametrize(("name", "language"), EVERY)
def test_a_page_has_a_title_links_that_lead_somewhere_and_pictures_that_are_there(name, language):
    text = page(name, language)
    assert text.startswith("# ")
    assert title(name, language) == text.splitlines()[0][2:]
    assert {link.removesuffix(".md") for link in links(text)} <= set(PAGES)
    for path in pictures(text):
        assert path.startswith("../pictures/")
        assert picture(path.removeprefix("../pictures/"))


@pytest.mark.parametrize("name", PAGES)
def test_a_translation_has_the_parts_of_its_page(name):
    assert shape(page(name, "de")) == shape(page(name, "en"))
    assert re.findall(r"```.*?```", page(name, "de"), re.S) != [] or "```" not in page(name, "en")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", ["files", "json"])
def test_the_tables_of_keys_are_those_of_the_schemas(name, language):
    """PLATEPULL_WRITE_REFERENCES=1 writes them anew."""
    text = page(name, language)
    marked = re.compile(r"(<!-- (\w+): deepest (\d) -->\n).*?(<!-- end -->)", flags=re.DOTALL)
    fresh = marked.sub(lambda hit: f"{hit[1]}\n{table(hit[2], int(hit[3]))}\n\n{hit[4]}", text)
    told = re.compile(r"(<!-- codes -->\n).*?(<!-- end -->)", flags=re.DOTALL)
    fresh = told.sub(lambda hit: f"{hit[1]}\n{codes(language)}\n\n{hit[2]}", fresh)
    if os.environ.get("PLATEPULL_WRITE_REFERENCES"):
        (Path(rig.guide.__file__).parent / language / f"{name}.md").write_text(fresh, encoding="utf-8")
    assert marked.search(text)
    assert fresh == page(name, language)


def test_every_schema_has_its_keys_in_the_guide():
    assert all(f"<!-- {name}: deepest" in page("files") + page("json") for name in schema_names())


def test_every_picture_is_shown_somewhere():
    shown = {path.rpartition("/")[2] for name in PAGES for path in pictures(page(name))}
    assert {each.name for each in (PACKED / "pictures").iterdir()} == shown


def test_the_first_pages_defer_to_the_maker_and_to_qualified_persons():
    for name in ("bench", "first_pull", "verdict"):
        assert "maker's manual" in page(name)
        assert "qualified persons" in page(name)
        assert "Herstellerunterlagen" in page(name, "de")
        assert "Fachleute" in page(name, "de")


def commands(text):
    shells = [line for block in re.findall(r"```sh\n(.*?)```", text, re.S) for line in block.splitlines()]
    inline = re.findall(r"`(platepull [^`]*)`", text)
    return [line for line in shells + inline if line.startswith("platepull") and not re.search(r"\.\.\.|--help|schema NAME", line)]


@pytest.mark.parametrize(("name", "language"), EVERY)
def test_every_command_of_a_page_parses(name, language):
    for command in commands(page(name, language)):
        _, *words = shlex.split(command, comments=True)
        parser_for(words).parse_args(words)


@pytest.mark.parametrize(("name", "language"), EVERY)
def test_every_key_that_a_page_names_is_one_of_the_window(name, language):
    """F1 to F12 and Ctrl with a letter, as the keyboard of the language names them."""
    named = set(re.findall(r"\b(?:Ctrl|Strg)\+\w+|\bF\d{1,2}\b", page(name, language)))
    assert {key.replace("Strg", "Ctrl") for key in named} <= {key.key for key in KEYS}


def test_a_page_or_picture_that_there_is_not_is_said():
    with pytest.raises(GuideError, match="no page 'soup'"):
        page("soup")
    with pytest.raises(GuideError, match="does not speak"):
        page("bench", "xx")
    with pytest.raises(GuideError, match="no picture"):
        picture("../en/bench.md")


def test_the_terminal_lists_the_pages_and_prints_one(capsys):
    assert main(["guide"]) == 0
    assert [row.split()[0] for row in capsys.readouterr().out.splitlines()] == list(PAGES)
    assert main(["guide", "verdict", "--language", "de"]) == 0
    assert capsys.readouterr().out == page("verdict", "de")


@pytest.fixture(params=LANGUAGES)
def shown(request, qtbot):
    speak(request.param)
    guide = GuidePage()
    qtbot.addWidget(guide)
    guide.resize(1150, 800)
    guide.dress(THEMES["dark"], 1.0)
    guide.refresh(0)
    guide.show()
    yield guide, request.param
    speak("en")


def test_the_window_shows_every_page_in_the_users_language_with_its_pictures(shown):
    guide, language = shown
    for row, name in enumerate(PAGES):
        guide.contents.setCurrentRow(row)
        text = guide.text.document().toPlainText()
        assert text.splitlines()[0] == title(name, language)
        assert "![" not in text
        for path in pictures(page(name, language)):
            image = guide.text.loadResource(2, QUrl(path))
            assert 100 <= image.width() <= guide.text.viewport().width()


def test_a_link_leads_to_its_page_and_one_to_elsewhere_nowhere(shown):
    guide, _ = shown
    guide._follow(QUrl("gallery.md"))
    assert guide.contents.currentRow() == PAGES.index("gallery")
    guide._follow(QUrl("https://example.invalid/bench.md"))
    assert guide.contents.currentRow() == PAGES.index("gallery")


def test_links_have_a_colour_of_the_theme(shown):
    guide, _ = shown
    guide.open("first_pull")
    block, colours = guide.text.document().begin(), set()
    while block.isValid():
        at = block.begin()
        while not at.atEnd():
            if at.fragment().charFormat().isAnchor():
                colours.add(at.fragment().charFormat().foreground().color().name().upper())
            at += 1
        block = block.next()
    assert colours == {THEMES["dark"].focus}


def test_a_screen_on_and_back(shown):
    guide, _ = shown
    guide.open("verdict")
    guide.text.verticalScrollBar().setValue(0)
    guide.turn(1)
    assert guide.text.verticalScrollBar().value() > 0
    guide.turn(-1)
    assert guide.text.verticalScrollBar().value() == 0


def test_no_picture_is_fetched_from_elsewhere():
    assert Pages().loadResource(3, QUrl("https://example.invalid/a.css")) is None
