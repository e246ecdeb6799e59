"""The colours of both themes against WCAG 2.2 and against simulated colour blindness.

Sources. Contrast: W3C, Web Content Accessibility Guidelines 2.2 (2023), "relative luminance", "contrast ratio", success criteria
1.4.3 (text: 4.5), 1.4.11 (graphics and borders of controls: 3). Simulation: Machado, Oliveira, Fernandes, IEEE Transactions on
Visualization and Computer Graphics 15 (2009) 1291, table of matrices at severity 1.0, on linear RGB; and, as a second opinion,
Vienot, Brettel, Mollon, Color Research & Application 24 (1999) 243, matrices between RGB and LMS. Colour difference: CIE 1976
(CIE 15:2004). The limit of 20 is our own: about ten times what is just noticed side by side (2.3; Mahy, Van Eycken, Oosterlinck,
Color Research & Application 19 (1994) 105).
"""

import itertools

import numpy as np
import pytest

from rig.window.qt.theme import THEMES
from rig.window.views.verdict import Tone

MACHADO = {
    "protanope": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranope": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
}
# Vienot 1999, equations 4 to 8.
RGB_TO_LMS = np.array([[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]])
VIENOT = {
    "protanope": [[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]],
    "deuteranope": [[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]],
}
LEAST_DIFFERENCE = 20.0


def linear(colour):
    coded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def lab(rgb):
    to_xyz = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])
    ratio = to_xyz @ np.clip(rgb, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen(colour, matrix):
    return lab(np.asarray(matrix) @ linear(colour))


def visions():
    yield "full colour", np.eye(3)
    for name, matrix in MACHADO.items():
        yield f"{name} (Machado)", matrix
    for name, matrix in VIENOT.items():
        yield f"{name} (Vienot)", np.linalg.inv(RGB_TO_LMS) @ np.array(matrix) @ RGB_TO_LMS


def test_the_formulas_give_the_published_values():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)  # WCAG 2.2, definition of contrast ratio
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # W3C, Understanding SC 1.4.3
    for name, matrix in visions():  # grey stays grey: the rows of the matrices sum to one
        assert seen("#808080", matrix)[1:] == pytest.approx([0, 0], abs=2.0), name


@pytest.mark.parametrize("name", THEMES)
def test_text_reaches_the_contrast_of_wcag_aa(name):
    theme = THEMES[name]
    grounds = {"ground": theme.ground, "panel": theme.panel, "sunk": theme.sunk}
    pairs = {f"{ink} on {ground}": (getattr(theme, ink), grounds[ground]) for ink in ("ink", "soft") for ground in grounds}
    pairs |= {f"verdict {tone}": (paint.ink, paint.fill) for tone, paint in theme.tones.items()}
    pairs |= {"alarm": (theme.alarm.ink, theme.alarm.fill), "busy": (theme.busy.ink, theme.busy.fill)}
    pairs |= {f"{part} label on panel": (getattr(theme, part), theme.panel) for part in ("mark", "slide")}
    pairs |= {"figure amiss": (theme.alarm.edge, theme.panel), "checked button": (theme.ground, theme.ink)}
    poor = {words: round(contrast(*pair), 2) for words, pair in pairs.items() if contrast(*pair) < 4.5}
    assert not poor


@pytest.mark.parametrize("name", THEMES)
def test_graphics_and_borders_reach_the_contrast_of_wcag_aa(name):
    theme = THEMES[name]
    parts = ("curve", "earlier", "band", "mark", "slide", "line", "focus")
    pairs = {
        f"{part} on {ground}": (getattr(theme, part), getattr(theme, ground)) for part in parts for ground in ("panel", "ground")
    }
    pairs |= {f"edge of {tone}": (paint.edge, theme.ground) for tone, paint in theme.tones.items()}
    pairs |= {"alarm": (theme.alarm.edge, theme.ground), "busy": (theme.busy.edge, theme.ground)}
    poor = {words: round(contrast(*pair), 2) for words, pair in pairs.items() if contrast(*pair) < 3.0}
    assert not poor


@pytest.mark.parametrize("vision", list(visions()), ids=lambda vision: vision[0])
@pytest.mark.parametrize("name", THEMES)
def test_verdicts_differ_in_colour_for_every_eye(name, vision):
    tones = THEMES[name].tones
    apart = {
        f"{one}/{other}": float(np.linalg.norm(seen(tones[one].fill, vision[1]) - seen(tones[other].fill, vision[1])))
        for one, other in itertools.combinations(Tone, 2)
    }
    assert min(apart.values()) >= LEAST_DIFFERENCE, apart


@pytest.mark.parametrize("vision", list(visions()), ids=lambda vision: vision[0])
@pytest.mark.parametrize("name", THEMES)
def test_curve_marks_and_sets_differ_for_every_eye(name, vision):
    theme = THEMES[name]
    for one, other in itertools.combinations((theme.curve, theme.mark, theme.slide), 2):
        assert np.linalg.norm(seen(one, vision[1]) - seen(other, vision[1])) >= LEAST_DIFFERENCE, (one, other)
