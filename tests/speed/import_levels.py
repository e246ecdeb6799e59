"""Import levels and arrows between the rooms: folders and loose modules right below `rig/` and `analysis/`.

    python tests/speed/import_levels.py [FOLDER]      of this checkout, or of another one

An arrow is "some module of this room imports some module of that"; a level is one more than the highest that is imported.
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path

ROOT = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[2]


def imported(path: Path) -> set[str]:
    """Full names of what a module imports."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names


def arrows_of(top: str) -> tuple[int, set[str], set[tuple[str, str]]]:
    """Number of modules, rooms, and arrows between rooms."""
    rooms = {path.stem for path in (ROOT / top).iterdir() if path.stem != "__init__" and (path.is_dir() or path.suffix == ".py")}
    rooms.discard("__pycache__")
    arrows, modules = set(), 0
    for path in (ROOT / top).rglob("*.py"):
        modules += 1
        mine = path.relative_to(ROOT / top).parts[0].removesuffix(".py")
        for name in imported(path):
            parts = name.split(".")
            if len(parts) > 1 and parts[0] == top and parts[1] in rooms and parts[1] != mine and mine in rooms:
                arrows.add((mine, parts[1]))
    return modules, rooms, arrows


def levels_of(rooms: set[str], arrows: set[tuple[str, str]]) -> dict[str, int]:
    """Level of each room."""
    levels: dict[str, int] = {}

    def level(room: str) -> int:
        if room not in levels:
            levels[room] = 1 + max((level(below) for above, below in arrows if above == room), default=0)
        return levels[room]

    for room in rooms:
        level(room)
    return levels


for top in ("rig", "analysis"):
    modules, rooms, arrows = arrows_of(top)
    levels = levels_of(rooms, arrows)
    print(f"{top}: {modules} modules in {len(rooms)} rooms, {max(levels.values())} levels, {len(arrows)} arrows")
    for number in sorted(set(levels.values())):
        print(f"  {number}  {', '.join(sorted(room for room in rooms if levels[room] == number))}")
