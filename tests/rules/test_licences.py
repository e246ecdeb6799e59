"""What the program is installed with may be used and handed on with it: the licences of all libraries beneath, as stated."""

import re
from importlib.metadata import PackageNotFoundError, distribution, requires

from packaging.requirements import Requirement

# Permissive ones, and weak copyleft used as a library: LGPL (Qt for Python) and MPL leave the program under its own licence.
ALLOWED = re.compile(
    r"MIT|BSD|Apache|PSF|Python Software Foundation|ISC|0BSD|Zlib|CC0|LGPL|Lesser General Public|MPL|Mozilla Public", re.I
)
FORBIDDEN = re.compile(r"(?<!L)(?<!Lesser )\bA?GPL|Proprietary|Non-?Commercial", re.I)


def beneath(name, found=None):
    """Names of all libraries that are installed with the program, without its extras."""
    found = {} if found is None else found
    for text in requires(name) or ():
        need = Requirement(text)
        if (need.marker is None or need.marker.evaluate({"extra": ""})) and need.name.lower() not in found:
            try:
                found[need.name.lower()] = distribution(need.name)
            except PackageNotFoundError:
                continue  # of another system
            beneath(need.name, found)
    return found


def licence(one):
    """What a library says of its licence: the expression, else its classifiers, else the text's beginning."""
    said = one.metadata.get("License-Expression")
    kinds = [text.split(" :: ")[-1] for text in one.metadata.get_all("Classifier") or () if text.startswith("License")]
    return said or " / ".join(kinds) or (one.metadata.get("License") or "not stated")[:80]


def test_every_library_beneath_may_be_handed_on():
    licences = {name: licence(one) for name, one in sorted(beneath("platepull").items())}
    assert len(licences) > 10
    odd = {name: said for name, said in licences.items() if not ALLOWED.search(said)}
    assert not odd, f"look these up, and add them to the list or leave the library out: {odd}"
    # Where a choice of licences is offered, the one that is allowed is taken.
    only = {name: said for name, said in licences.items() if FORBIDDEN.search(said) and " OR " not in said and "/" not in said}
    assert not only
