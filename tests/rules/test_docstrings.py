"""Docstrings of analysis teach: what goes in and comes out, with shapes and units; the examples in them run."""

import ast
import doctest
import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted((ROOT / "analysis").rglob("*.py"))


def public_functions(tree):
    """Functions of a module and methods of its classes that are meant for others, with the name they go by."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node.name, node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for each in node.body:
                if isinstance(each, ast.FunctionDef) and not each.name.startswith("_"):
                    yield f"{node.name}.{each.name}", each


def section(text, name):
    """The lines of a section of a numpy docstring, up to the next one; None where it has none."""
    found = re.search(rf"^{name}\n-{{{len(name)}}}\n(.*?)(?=^\w+\n-{{3,}}$|\Z)", text, re.M | re.S)
    return None if found is None else found[1].splitlines()


def named(lines):
    """The names that the head lines of a section list: `name`, `one, other` or `name : what it is`."""
    heads = (line.split(" : ")[0] for line in lines if line and not line[0].isspace())
    return {name.strip().lstrip("*") for head in heads for name in head.split(",")}


def lacks(node):
    """What the docstring of a function does not say: its purpose; where it takes two or more, each of them and what it returns.

    A property or a function of one argument says both in its first line.
    """
    text = ast.get_docstring(node) or ""
    of = node.args
    given = (*of.posonlyargs, *of.args, *of.kwonlyargs, of.vararg, of.kwarg)
    arguments = [each.arg for each in given if each is not None and each.arg not in ("self", "cls")]
    found = [] if text else ["what it is for"]
    parameters = section(text, "Parameters")
    found += [f"{name} is no parameter" for name in sorted(named(parameters or []) - set(arguments))]
    if len(arguments) > 1:
        found += ["Parameters"] if parameters is None else [name for name in arguments if name not in named(parameters)]
        if not (isinstance(node.returns, ast.Constant) and node.returns.value is None) and not section(text, "Returns"):
            found.append("Returns")
    return found


def lacking_in(text):
    """Each public function of a module's text that does not say what goes in and comes out, with what it does not say."""
    return {name: missing for name, node in public_functions(ast.parse(text)) if (missing := lacks(node))}


def lacking():
    """The same over all of analysis, by module and name."""
    return {
        f"{path.relative_to(ROOT).as_posix()}: {name}": missing
        for path in MODULES
        for name, missing in lacking_in(path.read_text("utf-8")).items()
    }


def examples_of(path):
    """The examples of a module, as doctest finds them."""
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    module = importlib.import_module(name)
    return [found for found in doctest.DocTestFinder().find(module, name) if found.examples]


def test_each_public_function_says_what_goes_in_and_comes_out():
    missing = lacking()
    assert not missing, "\n".join(f"{name} does not say: {', '.join(what)}" for name, what in missing.items())


SAID = """
def torque(force_n, lever_m):
    '''Torque at the lever.

    Parameters
    ----------
    force_n, lever_m
        Force across the lever in N, its length in m.

    Returns
    -------
    float
        N.m.
    '''
"""


@pytest.mark.parametrize(
    ("planted", "missing"),
    [
        (SAID, None),
        ("def torque(force_n, lever_m):\n    'Torque at the lever.'\n", ["Parameters", "Returns"]),
        (SAID.replace("force_n, lever_m\n", "force_n\n"), ["lever_m"]),
        (SAID.replace("force_n, lever_m)", "force_n, lever_m, *, angle_deg)"), ["angle_deg"]),
        (SAID.replace("Returns\n    -------", "Notes\n    -----"), ["Returns"]),
        (SAID.replace("lever_m\n", "lever\n").replace("length in m", "lever_m in m"), ["lever is no parameter", "lever_m"]),
        (SAID.replace("force_n, lever_m)", "force_n, lever_m, *more)"), ["more"]),
        (SAID.replace("force_n, lever_m)", "force_n)"), ["lever_m is no parameter"]),
        ("def torque(force_n):\n    return force_n\n", ["what it is for"]),
    ],
    ids=[
        "said",
        "no sections",
        "a parameter left out",
        "a new parameter",
        "no returns",
        "named in the text alone",
        "any more",
        "one gone",
        "nothing",
    ],
)
def test_a_planted_function_that_does_not_say_is_seen(planted, missing):
    method = "class Vice:\n" + "".join(f"    {line}\n" for line in planted.splitlines())
    assert lacking_in(planted) == ({} if missing is None else {"torque": missing})
    assert lacking_in(method) == ({} if missing is None else {"Vice.torque": missing})


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_the_examples_of_a_module_run(path):
    runner = doctest.DocTestRunner()
    said = []
    for example in examples_of(path):
        runner.run(example, out=said.append)
    assert not said, "".join(said)


def test_there_are_examples_and_a_wrong_one_is_seen():
    assert sum(len(each.examples) for path in MODULES for each in examples_of(path)) > 60
    wrong = doctest.DocTestParser().get_doctest(">>> 1 + 1\n3\n", {}, "wrong", None, 0)
    assert doctest.DocTestRunner().run(wrong, out=lambda text: None).failed == 1


if __name__ == "__main__":
    for name, missing in lacking().items():
        print(name, missing)
