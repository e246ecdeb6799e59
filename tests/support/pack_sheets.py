"""Pack sheet, spec card and shelf of a simulated unit, written as a technician would (contract/PACK.md 1 to 3), and mistakes he
makes in typing."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
from support.pack_units import FREE_NM, LBF_FT_NM, MM_PER_IN, SIDES, Entry, Fit, PackUnit

Table = dict[str, Any]


def _mm(unit: PackUnit, value: float) -> str:
    if unit.sheet_style["inch"]:
        return f"{value / MM_PER_IN:.4f} in"
    return f"{round(value, 3):g} mm"


def _spring(unit: PackUnit, disc: Any) -> Table:
    return {
        "outer_diameter": f"{disc.outer_mm:g} mm",
        "inner_diameter": f"{disc.inner_mm:g} mm",
        "thickness": _mm(unit, disc.thickness_mm),
        "free_height": _mm(unit, disc.free_mm),
    }


def _readings(values: tuple[float, ...]) -> list[str]:
    return ["free" if v < FREE_NM else f"{v:.1f} N.m" for v in values]


def pack_table(unit: PackUnit, fitted: Fit, history: list[Entry]) -> Table:
    """The pack sheet as a tree of tables, with `fitted` in the unit and what has been pulled so far."""
    card, parts = unit.card, unit.parts["now"]
    heights = bool(unit.measured.stack_mm)
    pack: Table = {
        "unit": f"simulated {unit.seed}",
        "spec": "SPEC.toml",
        "shelf": "SHELF.toml",
        "plate_state": card.plate_state,
        "arrangement": unit.arrangement,
    }
    if unit.oil_said:
        pack["oil"] = unit.oil_said
    else:
        pack["oil"] = "unknown"
    if unit.closures[1]:
        pack["closure"] = unit.closures[1]
    sheet: Table = {
        "pack": pack,
        "face": {"outer_diameter": f"{unit.face_mm[0]:g} mm", "inner_diameter": f"{unit.face_mm[1]:g} mm"},
    }
    if unit.sheet_style["uncertainty"]:
        sheet["uncertainty"] = {
            "plate": "0.004 mm",
            "plate_common": "0.003 mm",
            "spring_thickness": "0.006 mm",
            "free_height": "0.02 mm",
            "depth": "0.012 mm",
            "shim": "0.004 mm",
        }
    used = [unit.parts["old"], parts] if unit.parts["old"] is not parts else [parts]
    if not heights:
        rows: dict[str, Table] = {}
        for stage in used:
            for side in SIDES:
                for plate in stage.plates[side]:
                    row: Table = {
                        "id": plate.name,
                        "kind": plate.kind,
                        "thickness": [_mm(unit, t) for t in unit.measured.track_mm[plate.name]],
                    }
                    if unit.sheet_style["unworn"]:
                        row["unworn"] = _mm(unit, unit.measured.unworn_mm[plate.name])
                    if unit.sheet_style["flatness"]:
                        row["flatness"] = f"{plate.flatness_mm:.2f} mm"
                    rows[plate.name] = row
        sheet["plates"] = list(rows.values())
    springs = {
        name: {"id": name, **_spring(unit, unit.measured.discs[name])}
        for stage in used
        for side in SIDES
        for name, _ in stage.discs[side]
    }
    if springs:
        sheet["springs"] = list(springs.values())
    for side in SIDES:
        sheet[side] = {
            "plates": [p.kind if heights else p.name for p in parts.plates[side]],
            "shims": [f"{s:g} mm" for s in getattr(fitted, side)],
        }
        if parts.discs[side]:
            sheet[side] |= {"springs": [name for name, _ in parts.discs[side]], "stack": parts.signs}
        if heights:
            sheet[side]["stack_height"] = _mm(unit, unit.measured.stack_mm["now"][side])
    space = unit.measured.space_mm
    if space:
        if card.layout in ("each", "block"):
            sheet["space"] = {"form": "per_side"} | {
                s: {k: _mm(unit, space[f"{s}.{k}"]) for k in ("case_depth", "gear_height")} for s in SIDES
            }
        elif card.thicker == "less preload":
            sheet["space"] = {"form": "cover", "measured_with_shims": [f"{s:g} mm" for s in unit.fitted.left]} | {
                k: _mm(unit, v) for k, v in space.items()
            }
        else:
            sheet["space"] = {"form": "across"} | {k: _mm(unit, v) for k, v in space.items()}
    if unit.measured.block:
        block = unit.measured.block
        sheet["block"] = {
            "count": int(block["count"]),
            "rate": f"{block['rate']:g} N/mm",
            "free_length": f"{block['free_length']:g} mm",
            "fitted_length": f"{block['fitted_length']:g} mm",
        }
    sheet["history"] = [_entry(unit, entry, i) for i, entry in enumerate(history)]
    return sheet


def _entry(unit: PackUnit, entry: Entry, index: int) -> Table:
    row: Table = {"note": "as found" if index == 0 else f"change {index}", "arrangement": entry.said_arrangement}
    if unit.oil_said:
        row["oil"] = unit.oil_said
    if entry.closure is not None:
        row["closure"] = entry.closure
    for side in SIDES:
        row[side] = {"shims": [f"{s:g} mm" for s in getattr(entry.fit, side)]}
    if entry.parts == "old" and unit.parts["old"] is not unit.parts["now"]:
        old = unit.parts["old"]
        if entry.plate_state != unit.card.plate_state:
            row["plate_state"] = entry.plate_state
        for side in SIDES:
            if unit.measured.stack_mm:
                row[side]["stack_height"] = _mm(unit, unit.measured.stack_mm["old"][side])
            else:
                row[side]["plates"] = [p.name for p in old.plates[side]]
                row[side]["springs"] = [name for name, _ in old.discs[side]]
    for name, values in (("breakaway", entry.breakaway_nm), ("sliding", entry.sliding_nm)):
        if values:
            row[name] = _readings(values)
    if entry.end_play_mm is not None:
        row["end_play"] = [f"{p:.2f} mm" for p in entry.end_play_mm]
    return row


def card_table(unit: PackUnit) -> Table:
    """The spec card."""
    card = unit.card
    window: Table = {
        "torque": f"{card.low_nm:g}..{card.high_nm:g} N.m",
        "basis": card.basis,
        "arrangement": card.arrangement,
        "plate_state": card.plate_state,
    }
    if unit.sheet_style["also"]:
        window["also_printed"] = f"{card.low_nm / LBF_FT_NM:.1f}..{card.high_nm / LBF_FT_NM:.1f} lbf.ft"
    limits: Table = {"wear": "0.10 mm", "flatness": "0.08 mm"}
    if card.share_told:
        limits["share_of_flat"] = f"{card.share_limit * 100:g} %"
    if card.left_right_mm is not None:
        limits["left_right"] = f"{card.left_right_mm:g} mm"
    for name, pair in (("clearance", card.clearance_mm), ("end_play", card.end_play_mm)):
        if pair:
            limits[name] = f"{pair[0]:g}..{pair[1]:g} mm"
    build: Table = {
        "layout": card.layout,
        "thicker_shim": card.thicker,
        "shim_sides": list(card.shim_sides),
        "shims_per_side": card.shims_per_side,
        "shims_total_max": "2 mm",
        "faces_per_side": card.faces,
        "plates_per_side": card.plates,
    }
    made: Table = {
        "card": {"unit": f"simulated {unit.seed}", "page": "sheet 12", "version": 1},
        "window": window,
        "limits": limits,
        "build": build,
    }
    if card.springs:
        count, signs, disc = card.springs
        made["springs"] = {"per_side": count, "stack": signs} | {
            "outer_diameter": f"{disc.outer_mm:g} mm",
            "inner_diameter": f"{disc.inner_mm:g} mm",
            "thickness": f"{disc.thickness_mm:.2f} mm",
            "free_height": f"{disc.free_mm:.2f} mm",
        }
    if card.block:
        made["block"] = {"free_length": f"{card.block[0]:g} mm", "rate": f"{card.block[1]:g} N/mm"}
    return made


def shelf_table(unit: PackUnit, fitted: Fit) -> Table:
    """What is in stock while `fitted` is in the unit: what came out goes back."""
    stock = dict(unit.shelf)
    for side in SIDES:
        for size in getattr(unit.fitted, side):
            stock[size] = stock.get(size, 0) + 1
    for side in SIDES:
        for size in getattr(fitted, side):
            stock[size] -= 1
    return {"shims": [{"thickness": f"{s:g} mm", "count": c} for s, c in sorted(stock.items()) if c > 0]}


def toml_text(tree: Table) -> str:
    """A tree of tables, lists of tables and plain values as TOML."""
    lines: list[str] = ["# simulated; no real unit"]

    def value(v: Any) -> str:
        if isinstance(v, bool):
            return "true" if v else "false"
        if isinstance(v, str):
            return '"' + v + '"'
        if isinstance(v, list):
            return "[" + ", ".join(value(x) for x in v) + "]"
        return f"{v:g}" if isinstance(v, float) else str(v)

    def walk(table: Table, path: str) -> None:
        inner = []
        for key, v in table.items():
            if isinstance(v, dict) or (isinstance(v, list) and v and isinstance(v[0], dict)):
                inner.append((key, v))
            else:
                lines.append(f"{key} = {value(v)}")
        for key, v in inner:
            name = f"{path}.{key}" if path else key
            for row in v if isinstance(v, list) else [v]:
                lines.append(f"[[{name}]]" if isinstance(v, list) else f"[{name}]")
                walk(row, name)

    walk(tree, "")
    return "\n".join(lines) + "\n"


def sheet_trees(unit: PackUnit, fitted: Fit, history: list[Entry]) -> dict[str, Table]:
    """The three sheets as trees: PACK, SPEC, SHELF."""
    return {"PACK": pack_table(unit, fitted, history), "SPEC": card_table(unit), "SHELF": shelf_table(unit, fitted)}


def write_trees(folder: Path, trees: dict[str, Table]) -> Path:
    """Write the sheets into `folder`; the path of the pack sheet."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, tree in trees.items():
        (folder / f"{name}.toml").write_text(toml_text(tree), encoding="utf-8")
    return folder / "PACK.toml"


def write_sheets(folder: Path, unit: PackUnit, fitted: Fit, history: list[Entry], mistake: str | None = None) -> Path:
    """Write PACK.toml, SPEC.toml and SHELF.toml into `folder`, with a mistake typed in if asked; the path of the first."""
    trees = sheet_trees(unit, fitted, history)
    if mistake:
        trees = copy.deepcopy(trees)
        MISTAKES[mistake](trees, np.random.default_rng([unit.seed, 99]))
    return write_trees(folder, trees)


# ---------------------------------------------------------------------- mistakes in typing
class NotHereError(Exception):
    """This sheet has nothing the mistake could be made in."""


def _number(text: str) -> tuple[float, str]:
    number, unit = text.split(" ", 1)
    return float(number), unit


def _some_plate(trees: dict[str, Table], rng: np.random.Generator) -> Table:
    fitted = {name for side in SIDES for name in trees["PACK"][side]["plates"]}
    rows = [p for p in trees["PACK"].get("plates", []) if p["id"] in fitted]
    if not rows:
        raise NotHereError
    return rows[int(rng.integers(len(rows)))]


def _inch_as_mm(trees: dict[str, Table], rng: np.random.Generator) -> None:
    plate = _some_plate(trees, rng)
    _, unit = _number(plate["thickness"][0])
    wrong = [f"{_number(t)[0] / MM_PER_IN:.4f} mm" if unit == "mm" else f"{_number(t)[0]:.4f} mm" for t in plate["thickness"]]
    plate["thickness"] = wrong


def _mm_as_inch(trees: dict[str, Table], rng: np.random.Generator) -> None:
    plate = _some_plate(trees, rng)
    _, unit = _number(plate["thickness"][0])
    plate["thickness"] = [f"{_number(t)[0] if unit == 'mm' else _number(t)[0] * MM_PER_IN:.3f} in" for t in plate["thickness"]]


def _slipped_point(trees: dict[str, Table], rng: np.random.Generator) -> None:
    plate = _some_plate(trees, rng)
    factor = 10.0 if rng.random() < 0.5 else 0.1
    which = int(rng.integers(len(plate["thickness"])))
    number, unit = _number(plate["thickness"][which])
    plate["thickness"][which] = f"{number * factor:g} {unit}"


def _one_reading_off(trees: dict[str, Table], rng: np.random.Generator) -> None:
    plate = _some_plate(trees, rng)
    which = int(rng.integers(len(plate["thickness"])))
    number, unit = _number(plate["thickness"][which])
    plate["thickness"][which] = f"{number + float(rng.choice([-0.5, 0.5, 1.0])) / (1 if unit == 'mm' else MM_PER_IN):g} {unit}"


def _shim_slip(trees: dict[str, Table], rng: np.random.Generator) -> None:
    side = trees["PACK"][str(rng.choice(trees["SPEC"]["build"]["shim_sides"]))]
    number, unit = _number(side["shims"][0])
    side["shims"] = [f"{number * 10:g} {unit}"]


def _fitted_spring(trees: dict[str, Table], rng: np.random.Generator) -> Table:
    fitted = {name for side in SIDES for name in trees["PACK"][side].get("springs", [])}
    rows = [s for s in trees["PACK"].get("springs", []) if s["id"] in fitted]
    if not rows:
        raise NotHereError
    return rows[int(rng.integers(len(rows)))]


def _no_cone(trees: dict[str, Table], rng: np.random.Generator) -> None:
    spring = _fitted_spring(trees, rng)
    spring["thickness"], spring["free_height"] = spring["free_height"], spring["thickness"]


def _too_tall(trees: dict[str, Table], rng: np.random.Generator) -> None:
    spring = _fitted_spring(trees, rng)
    number, unit = _number(spring["free_height"])
    spring["free_height"] = f"{number + 1.0 / (1 if unit == 'mm' else MM_PER_IN):g} {unit}"


def _space_slip(trees: dict[str, Table], rng: np.random.Generator) -> None:
    space = trees["PACK"].get("space")
    if not space:
        raise NotHereError
    table, key = {"per_side": (space.get("left"), "case_depth"), "across": (space, "centre"), "cover": (space, "edge_to_plate")}[
        space["form"]
    ]
    number, unit = _number(table[key])
    table[key] = f"{number + float(rng.choice([-10, 10])) / (1 if unit == 'mm' else MM_PER_IN):g} {unit}"


def _plate_left_out(trees: dict[str, Table], rng: np.random.Generator) -> None:
    side = trees["PACK"][str(rng.choice(SIDES))]
    side["plates"].pop(int(rng.integers(len(side["plates"]))))


def _plate_unknown(trees: dict[str, Table], rng: np.random.Generator) -> None:
    if not trees["PACK"].get("plates"):
        raise NotHereError
    side = trees["PACK"][str(rng.choice(SIDES))]
    side["plates"][int(rng.integers(len(side["plates"])))] += "x"


def _spring_unknown(trees: dict[str, Table], rng: np.random.Generator) -> None:
    side = trees["PACK"]["left"]
    if not side.get("springs"):
        raise NotHereError
    side["springs"][0] += "x"


def _window_misprint(trees: dict[str, Table], rng: np.random.Generator) -> None:
    window = trees["SPEC"]["window"]
    low, high = (float(x) for x in window["torque"].split(" ")[0].split(".."))
    factor = float(rng.choice([1.1, 0.9, 10.0, 0.5]))
    window["also_printed"] = f"{low / LBF_FT_NM * factor:.1f}..{high / LBF_FT_NM * factor:.1f} lbf.ft"


MISTAKES = {
    "inch as mm": _inch_as_mm,
    "mm as inch": _mm_as_inch,
    "slipped point": _slipped_point,
    "one reading off": _one_reading_off,
    "shim slipped point": _shim_slip,
    "spring without cone": _no_cone,
    "spring too tall": _too_tall,
    "space 10 mm off": _space_slip,
    "plate left out": _plate_left_out,
    "plate unknown": _plate_unknown,
    "spring unknown": _spring_unknown,
    "window misprint": _window_misprint,
}
