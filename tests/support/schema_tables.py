"""The keys of a JSON Schema as a table of Markdown: path, what it is, what it means. For the guide's reference page."""

import json
from importlib import resources

from rig.words.language import catalogue
from rig.words.sentences import QUALITY_WORDS
from rig.words.verdicts import MISSING

DEEPEST = 4
"""Keys deeper than so many names are left to the schema itself."""


def schema(name):
    return json.loads(resources.files("rig").joinpath("schemas", f"{name}.schema.json").read_text("utf-8"))


def table(name, deepest=DEEPEST):
    """All keys of a schema, each once, as rows of a table; lists are `key[]`."""
    whole = schema(name)
    rows = ["| key | is | means |", "|---|---|---|"]
    seen, where_told, same_as = set(), set(), {}

    def resolved(part):
        while "$ref" in part:
            target = whole
            for step in part["$ref"].removeprefix("#/").split("/"):
                target = target[step]
            part = {**target, **{key: value for key, value in part.items() if key != "$ref"}}
        return part

    def walk(part, path, depth):
        target = part.get("$ref")
        if target in where_told:  # told once, at the place where it comes first
            return
        if target:
            where_told.add(target)
        part = resolved(part)
        for each in (*part.get("oneOf", ()), *part.get("anyOf", ()), *part.get("allOf", ())):
            walk(each, path, depth)
        if "items" in part and isinstance(part["items"], dict):
            walk(part["items"], f"{path}[]", depth)
        if depth > deepest:
            return
        for key, value in part.get("properties", {}).items():
            inner, where = resolved(value), f"{path}.{key}" if path else key
            if where not in seen:
                seen.add(where)
                target = value.get("$ref")
                like = f" (keys as of `{same_as[target]}`)" if target in same_as else ""
                if target:
                    same_as.setdefault(target, where)
                rows.append(f"| `{where}` | {_kind(inner, resolved)} | {_clean(inner.get('description', ''))}{like} |")
            walk(value, where, depth + 1)

    walk(whole, "", 1)
    return "\n".join(rows)


def _kind(part, resolved):
    if "const" in part:
        return f"`{json.dumps(part['const'])}`"
    if "enum" in part:
        return " or ".join("null" if each is None else f"`{each}`" for each in part["enum"])
    kind = part.get("type")
    if kind is None:
        options = [_kind(resolved(each), resolved) for each in (*part.get("oneOf", ()), *part.get("anyOf", ()))]
        return " or ".join(dict.fromkeys(options)) or "anything"
    return " or ".join(kind) if isinstance(kind, list) else kind


def codes(language):
    """The codes of quality and of what a verdict lacks, with their words in a language."""
    words = catalogue(language) if language != "en" else {}
    told = {**{code: sentence for code, (sentence, _) in QUALITY_WORDS.items()}, **MISSING}
    rows = [f"| `{code}` | {_clean(words.get(sentence, sentence))} |" for code, sentence in told.items()]
    return "\n".join(["| code | means |" if language == "en" else "| Code | bedeutet |", "|---|---|", *rows])


def _clean(text):
    return " ".join(text.split()).replace("|", "\\|").replace("known codes: CONTRACT.md 3", "the codes stand below")
