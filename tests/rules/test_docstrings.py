"""Docstrings of analysis teach: what goes in and comes out, with shapes and units; the examples in them run."""

import ast
import doctest
import importlib
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


def lacks(node):
    """What the docstring of a function does not say: parameters where it takes two or more, what it returns where that is an array.

    A property or a function of one argument says both in its first line.
    """
    text = ast.get_docstring(node) or ""
    arguments = [each.arg for each in (*node.args.args, *node.args.kwonlyargs) if each.arg not in ("self", "cls")]
    found = []
    if len(arguments) > 1:
        if "Parameters\n----------" not in text:
            found.append("Parameters")
        else:
            found += [name for name in arguments if name not in text.split("Parameters\n----------", 1)[1]]
        if not (isinstance(node.returns, ast.Constant) and node.returns.value is None) and "Returns\n-------" not in text:
            found.append("Returns")
    return found


def lacking():
    """Each public function that takes two or more and does not say what."""
    return {
        f"{path.relative_to(ROOT).as_posix()}: {name}": missing
        for path in MODULES
        for name, node in public_functions(ast.parse(path.read_text("utf-8")))
        if (missing := lacks(node))
    }


def examples_of(path):
    """The examples of a module, as doctest finds them."""
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    module = importlib.import_module(name)
    return [found for found in doctest.DocTestFinder().find(module, name) if found.examples]


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
