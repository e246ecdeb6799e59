"""Numbers that set a result stand in one named place with their reason, not in the middle of an expression."""

import ast
import re
import sys
from collections import Counter
from pathlib import Path

import pytest

ANALYSIS = Path(__file__).resolve().parents[2] / "analysis"

PLAIN = {0, 1, 2, -1, 0.5}
"""Counts, halves and signs: they stand in formulas as such and set nothing."""
UNITS = {100, 360, 180, 1000, 0.001}
"""Per cent, a turn, half a turn, thousandths: a change of unit."""
GUARD = 1e-9
"""What is this small or smaller only keeps a division from dividing by nothing."""
FEW = {3, 4}
"""So many values a statistic needs at least, where a size is compared with it."""
LEAST = 5
"""So many samples at least, in `max(3, ...)` and in `samples_in(..., 3)`: less is no stretch, and more is asked for by time."""
PARTS = {3, 4}
"""A third and a quarter of a number of samples, in whole numbers."""
FORMULA = "# formula"
"""A line that ends so is a formula with its source beside it."""
TABLES = {"unit_symbols.py", "bounds.py", "pack/priors.py"}
"""Modules that are nothing but named numbers."""
NO_RULE = {
    "round": "how a figure is shown, not what it is",
    "range": "a count",
    "field": "a default of a named field",
    "percentile": "a hundredth is named by the function",
}
"""Calls whose arguments are no rule of ours, and why."""
COUNTS = re.compile(r"size|len\(|count|^(end|last|first|begin|tail|n|width|i)\b( - (begin|first|last|top|at))?$")
"""Sides of a comparison that are numbers of samples."""
NAMED = re.compile(r"_?[A-Z][A-Z0-9_]*$")


class Naked(ast.NodeVisitor):
    """Collects number literals that stand in an expression under no name of their own."""

    def __init__(self):
        self.found = []

    def visit_Compare(self, node):
        sides = [node.left, *node.comparators]
        counts = any(COUNTS.search(ast.unparse(side)) for side in sides)
        for side in sides:
            if not (counts and isinstance(side, ast.Constant) and side.value in FEW):
                self.visit(side)

    def visit_ClassDef(self, node):
        # A field with a default is a named number; what stands in methods is not.
        for statement in node.body:
            if isinstance(statement, (ast.FunctionDef, ast.ClassDef)):
                self.visit(statement)

    def visit_Assign(self, node):
        names = [name for target in node.targets for name in getattr(target, "elts", [target])]
        if not all(isinstance(name, ast.Name) and NAMED.match(name.id) for name in names):
            self.generic_visit(node)

    def visit_AnnAssign(self, node):
        if node.value is not None and not (isinstance(node.target, ast.Name) and NAMED.match(node.target.id)):
            self.visit(node.value)

    def visit_FunctionDef(self, node):
        # A default in the head is named by its parameter.
        for statement in node.body:
            self.visit(statement)

    def visit_Subscript(self, node):
        self.visit(node.value)  # an index or a slice picks, it does not weigh

    def visit_Call(self, node):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name not in NO_RULE:
            counts = name in ("max", "samples_in")
            for part in (node.func, *node.args, *node.keywords):
                if not (counts and isinstance(part, ast.Constant) and type(part.value) is int and 0 < part.value <= LEAST):
                    self.visit(part)
            return
        for argument in node.args:
            if not isinstance(argument, ast.Constant):
                self.visit(argument)

    def visit_BinOp(self, node):
        # A small whole power is part of a formula.
        self.visit(node.left)
        plain = {ast.Pow: {2, 3, 4}, ast.FloorDiv: PARTS}.get(type(node.op), set())
        if not (isinstance(node.right, ast.Constant) and node.right.value in plain):
            self.visit(node.right)

    def visit_Constant(self, node):
        if isinstance(node.value, (int, float)) and not isinstance(node.value, bool) and self._counts(node.value):
            self.found.append((node.lineno, node.value))

    @staticmethod
    def _counts(value):
        return value not in PLAIN | UNITS and abs(value) > GUARD


def naked(source):
    """Line and value of each naked number of a module."""
    visitor = Naked()
    visitor.visit(ast.parse(source))
    lines = source.splitlines()
    return [(line, value) for line, value in visitor.found if FORMULA not in lines[line - 1]]


def by_module():
    """How many each module has."""
    counts = Counter()
    for path in sorted(ANALYSIS.rglob("*.py")):
        name = path.relative_to(ANALYSIS).as_posix()
        if name not in TABLES:
            counts[name] = len(naked(path.read_text("utf-8")))
    return +counts


def test_numbers_of_analysis_have_names():
    assert by_module() == {}


def unread(sources, readers):
    """Fields of rule classes and named numbers in these sources that nobody reads."""
    words, fields_read = Counter(re.findall(r"\w+", readers)), set(re.findall(r"\.(\w+)", readers))
    found = []
    for source in sources:
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef) and node.name.endswith("Rules"):
                fields = [each.target.id for each in node.body if isinstance(each, ast.AnnAssign)]
                found += [f"{node.name}.{name}" for name in fields if name not in fields_read]
            elif isinstance(node, (ast.Assign, ast.AnnAssign)):
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names = [each.id for target in targets for each in getattr(target, "elts", [target]) if isinstance(each, ast.Name)]
                found += [name for name in names if NAMED.match(name) and words[name] < 2]
    return found


def test_every_named_number_is_read():
    root = ANALYSIS.parent
    own = [path.read_text("utf-8") for path in sorted(ANALYSIS.rglob("*.py"))]
    others = [path.read_text("utf-8") for room in ("rig", "drivers") for path in sorted((root / room).rglob("*.py"))]
    assert unread(own, "\n".join(own + others)) == []


def test_a_number_that_nobody_reads_is_seen():
    source = "LIMIT = 3.5\nclass Rules:\n    share: float = 0.2\n"
    assert unread([source], source) == ["LIMIT", "Rules.share"]
    assert not unread([source], source + "x > LIMIT * rules.share")


PLANTED = (
    "def f(x):\n    return 0.97 * x",
    "def f(x):\n    limit = 3.5\n    return x > limit",
    "class A:\n    def f(self):\n        return self.x > 7",
    "def f(x):\n    return max(x, 2e-3)",
    "scale = 12.5\n",
    "def f(x):\n    return x ** 0.7",
    "def f(x):\n    return x.size * 3",
    "def f(x, n):\n    return n < 12",
    "def f(x):\n    return max(7, x)",
)
FINE = (
    "LIMIT_NM: Final = 3.5\n",
    "class Rules:\n    limit_nm: float = 3.5\n",
    "def f(x, limit_nm=3.5):\n    return 0.5 * x ** 2",
    "def f(x):\n    return x[3], round(x, 4)",
    "def f(x):\n    return x.size < 3",
    "def f(c, s):\n    return max(3, c.samples_in(s, 5)) // 3",
    "def f(x):\n    return 4.0 * x / 3.0  # formula",
)


@pytest.mark.parametrize("planted", PLANTED)
def test_a_planted_number_is_seen(planted):
    assert naked(planted)


@pytest.mark.parametrize("fine", FINE)
def test_a_named_number_is_not(fine):
    assert not naked(fine)


if __name__ == "__main__":
    for module, many in by_module().most_common():
        text = (ANALYSIS / module).read_text("utf-8").splitlines() if "-v" in sys.argv else []
        values = ", ".join(f"{value}@{line}" for line, value in naked((ANALYSIS / module).read_text("utf-8")))
        print(f"{many:4d}  {module}  {values}")
        if text:
            for line in dict.fromkeys(line for line, _ in naked("\n".join(text))):
                print(f"      {line}: {text[line - 1].strip()}")
