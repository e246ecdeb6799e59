"""The house rules that a machine can check on the files that are kept."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "rig",
    "drivers",
    "analysis",
    "tests",
    "recordings",
}
# Folders of one machine: a home, a mount, a user's folder. Cut in two here, so that this file keeps its own rule.
MACHINE = re.compile("|".join(["/ro" + "ot/", "/wo" + "rk/", "/ho" + r"me/\w", "/Us" + r"ers/\w", r"[A-Z]:\\Us" + r"ers\\"]))


@pytest.fixture(scope="module")
def kept():
    try:
        done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout, or no git")
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def texts(kept):
    for path in kept:
        try:
            yield path, path.read_text("utf-8")
        except UnicodeDecodeError:
            continue


def test_no_file_names_a_folder_of_one_machine(kept):
    found = [f"{path.relative_to(ROOT)}: {hit.group()}" for path, text in texts(kept) for hit in MACHINE.finditer(text)]
    assert not found


def test_the_top_level_holds_what_it_should(kept):
    top = {path.relative_to(ROOT).parts[0] for path in kept}
    assert {name for name in top if not name.startswith(".")} <= TOP


def test_tests_are_no_packages(kept):
    # With an __init__.py, tests/analysis would hide analysis.
    assert not [path for path in kept if path.name == "__init__.py" and "tests" in path.relative_to(ROOT).parts]


def lines_without_docstrings(text):
    """Lines of a module less those of its docstrings: a docstring that says what goes in and out makes none too long."""
    count = text.count("\n")
    for node in ast.walk(ast.parse(text)):
        if (
            isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef))
            and ast.get_docstring(node) is not None
        ):
            count -= node.body[0].end_lineno - node.body[0].lineno + 1
    return count


def test_modules_stay_short_enough_to_read(kept):
    long = {
        str(path.relative_to(ROOT)): lines
        for path, text in texts(kept)
        if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in ("analysis", "drivers", "rig")
        if (lines := lines_without_docstrings(text)) > 440
    }
    assert not long, "files under about 300 lines; split by subject"
    assert lines_without_docstrings('"""Head\n\nof a module."""\n\nx = 1\ny = """no docstring"""\n') == 3


def test_every_wait_clock_and_dice_below_the_command_line_is_handed_in(kept):
    # Style rule: no time.time(), sleep or unseeded generator below the files that start things.
    forbidden = re.compile(
        r"\btime\.(time|sleep|monotonic|perf_counter)\(|datetime\.now\(|\bdefault_rng\(\)|(?<![\w.])random\.\w+\("
    )
    starters = {"rig/commands/_chosen.py", "rig/commands/_book.py", "rig/live/recorder.py", "rig/window/app.py", "drivers/clock.py"}
    found = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path, text in texts(kept)
        if path.suffix == ".py"
        and path.relative_to(ROOT).parts[0] in ("analysis", "drivers", "rig")
        and path.relative_to(ROOT).as_posix() not in starters
        for hit in forbidden.finditer(text)
    ]
    assert not found


def test_files_are_opened_to_be_read_in_one_place(kept):
    # A pipe, a device behind a link or a file of gigabytes is refused there. What is packed with the program may be read as it is.
    opening = re.compile(r"\.read_text\(encoding|\.read_bytes\(\)|\.open\((?:\"rb?\"|newline|\))|(?<![\w.])(?<!def )open\(")
    ours = {"drivers/opening.py", "rig/book/steps.py", "rig/words/language.py", "rig/sheets/phrases.py"}
    ours |= {"rig/guide/__init__.py", "rig/commands/demo.py", "rig/commands/schema.py"}
    found = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path, text in texts(kept)
        if path.suffix == ".py"
        and path.relative_to(ROOT).parts[0] in ("analysis", "drivers", "rig")
        and path.relative_to(ROOT).as_posix() not in ours
        for hit in opening.finditer(text)
    ]
    assert not found, "read it by drivers.opening"
