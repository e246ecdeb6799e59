"""Colours and sizes of the two themes. Every tone has a colour, an ink that reads on it and an edge that stands off the ground.

The colours were chosen so that they also differ for deuteranopes and protanopes; tests/rig/window/test_window_colours.py checks it.
"""

from __future__ import annotations

from dataclasses import dataclass

from rig.window.views.verdict import Tone


@dataclass(frozen=True, slots=True)
class Paint:
    """Fill of a tone, the ink written on it, and its edge against the ground."""

    fill: str
    ink: str
    edge: str


@dataclass(frozen=True, slots=True)
class Theme:
    """All colours of the window, as #rrggbb."""

    name: str
    ground: str
    panel: str
    sunk: str
    ink: str
    soft: str
    line: str
    focus: str
    curve: str
    earlier: str
    band: str
    mark: str
    slide: str
    alarm: Paint
    busy: Paint
    tones: dict[Tone, Paint]
    stretches: dict[str, str]


DARK = Theme(
    name="dark",
    ground="#13171B",
    panel="#1C2228",
    sunk="#0C0F12",
    ink="#F4F6F7",
    soft="#B4BEC7",
    line="#71808C",
    focus="#FFE94A",
    curve="#69B7FF",
    earlier="#93A0AB",
    band="#4FA3E3",
    mark="#FFE94A",
    slide="#F7E4FF",
    alarm=Paint("#FF9D8A", "#0B0E11", "#FF9D8A"),
    busy=Paint("#F4F6F7", "#0B0E11", "#F4F6F7"),
    tones={
        Tone.GOOD: Paint("#3FA9F5", "#0B0E11", "#3FA9F5"),
        Tone.LOW: Paint("#F5841F", "#0B0E11", "#F5841F"),
        Tone.HIGH: Paint("#F0D9FF", "#0B0E11", "#F0D9FF"),
        Tone.UNDECIDED: Paint("#FFE94A", "#0B0E11", "#FFE94A"),
        Tone.CHATTER: Paint("#F7AD86", "#0B0E11", "#F7AD86"),
        Tone.STOP: Paint("#D82B2B", "#FFFFFF", "#D82B2B"),
        Tone.NONE: Paint("#8A949C", "#0B0E11", "#8A949C"),
    },
    stretches={
        "rest": "#2A333B",
        "slack": "#3C4954",
        "load": "#2F6FA8",
        "slip": "#FFE94A",
        "sliding": "#C9A9E0",
        "pause": "#56636E",
        "release": "#8B5A2B",
        "clipped": "#FF9D8A",
    },
)

LIGHT = Theme(
    name="light",
    ground="#F6F4EE",
    panel="#FFFFFF",
    sunk="#E9E6DC",
    ink="#14181C",
    soft="#4A545D",
    line="#78828A",
    focus="#0B4F94",
    curve="#0B5CB0",
    earlier="#76808A",
    band="#0B66BD",
    mark="#8A3B00",
    slide="#45094D",
    alarm=Paint("#8E1C0B", "#FFFFFF", "#8E1C0B"),
    busy=Paint("#14181C", "#FFFFFF", "#14181C"),
    tones={
        Tone.GOOD: Paint("#0B66BD", "#FFFFFF", "#0B66BD"),
        Tone.LOW: Paint("#A34A00", "#FFFFFF", "#A34A00"),
        Tone.HIGH: Paint("#3D0B45", "#FFFFFF", "#3D0B45"),
        Tone.UNDECIDED: Paint("#F2D21B", "#14181C", "#6A5600"),
        Tone.CHATTER: Paint("#510800", "#FFFFFF", "#510800"),
        Tone.STOP: Paint("#7F00FF", "#FFFFFF", "#7F00FF"),
        Tone.NONE: Paint("#5F6A72", "#FFFFFF", "#5F6A72"),
    },
    stretches={
        "rest": "#E1DED3",
        "slack": "#C9CDD0",
        "load": "#9CC4EA",
        "slip": "#F2D21B",
        "sliding": "#D9B8EA",
        "pause": "#B5BCC2",
        "release": "#E3B98E",
        "clipped": "#E58A7B",
    },
)

THEMES = {theme.name: theme for theme in (DARK, LIGHT)}


def style_sheet(theme: Theme, scale: float) -> str:
    """Qt style sheet; `scale` 1 is a window 800 pixels high."""

    def px(value: float) -> str:
        return f"{max(1, round(value * scale))}px"

    return f"""
    * {{ font-size: {px(17)}; color: {theme.ink}; }}
    QWidget {{ background: {theme.ground}; }}
    QToolTip {{ background: {theme.panel}; color: {theme.ink}; border: 1px solid {theme.line}; padding: {px(6)}; }}
    QLabel, QCheckBox, QRadioButton {{ background: transparent; }}
    QLabel#title {{ font-size: {px(26)}; font-weight: bold; }}
    QLabel#soft {{ color: {theme.soft}; }}
    QLabel#figure {{ font-size: {px(34)}; font-weight: bold; }}
    QLabel#changed {{ color: {theme.mark}; font-weight: bold; }}
    QFrame#panel {{ background: {theme.panel}; border: 1px solid {theme.line}; border-radius: {px(6)}; }}
    QFrame#panel QLabel {{ background: transparent; }}
    QPushButton, QToolButton, QComboBox, QLineEdit, QSpinBox, QDoubleSpinBox, QPlainTextEdit, QListWidget, QTableWidget {{
        background: {theme.panel}; border: 1px solid {theme.line}; border-radius: {px(5)}; padding: {px(7)} {px(10)};
        min-height: {px(24)}; }}
    QLineEdit[changed="true"], QComboBox[changed="true"], QDoubleSpinBox[changed="true"] {{
        border: {px(3)} solid {theme.mark}; padding: {px(5)} {px(8)}; }}
    QLineEdit[tight="true"], QComboBox[tight="true"] {{ padding: {px(3)} {px(10)}; }}
    QLineEdit[tight="true"][changed="true"], QComboBox[tight="true"][changed="true"] {{ padding: {px(1)} {px(8)}; }}
    QComboBox::drop-down {{ border: none; width: {px(26)}; }}
    QComboBox::down-arrow {{ image: none; width: 0; height: 0; border-left: {px(6)} solid {theme.panel};
        border-right: {px(6)} solid {theme.panel}; border-top: {px(8)} solid {theme.soft}; }}
    QPushButton#small {{ padding: {px(4)} {px(5)}; font-size: {px(14)}; }}
    QPushButton:hover, QToolButton:hover {{ border-color: {theme.ink}; }}
    QPushButton:disabled, QToolButton:disabled {{ color: {theme.line}; }}
    QPushButton:checked, QToolButton:checked {{
        background: {theme.ink}; color: {theme.ground}; border-color: {theme.ink}; }}
    QLineEdit {{ placeholder-text-color: {theme.soft}; }}
    QPushButton:focus, QToolButton:focus, QComboBox:focus, QLineEdit:focus, QListWidget:focus, QTableWidget:focus,
    QPlainTextEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus {{ border: {px(3)} solid {theme.focus}; }}
    QCheckBox::indicator {{ width: {px(20)}; height: {px(20)}; border: {px(2)} solid {theme.ink}; border-radius: {px(4)};
        background: {theme.panel}; }}
    QCheckBox::indicator:checked {{ border: {px(6)} solid {theme.ink}; background: {theme.focus};
        width: {px(12)}; height: {px(12)}; }}
    QCheckBox::indicator:disabled {{ border-color: {theme.line}; }}
    QCheckBox:focus, QRadioButton:focus {{ border: {px(3)} solid {theme.focus}; }}
    QListWidget::item:selected, QTableWidget::item:selected {{ background: {theme.ink}; color: {theme.ground}; }}
    QTableWidget, QHeaderView::section {{ font-size: {px(15)}; }}
    QHeaderView::section {{ background: {theme.sunk}; color: {theme.ink}; border: none; padding: {px(5)}; }}
    QComboBox QAbstractItemView {{ background: {theme.panel}; selection-background-color: {theme.ink};
        selection-color: {theme.ground}; }}
    QScrollBar {{ background: {theme.sunk}; border: none; }}
    QScrollBar:vertical {{ width: {px(18)}; }}
    QScrollBar:horizontal {{ height: {px(18)}; }}
    QScrollBar::handle {{ background: {theme.line}; border-radius: {px(5)}; margin: {px(4)}; }}
    QScrollBar::handle:hover {{ background: {theme.soft}; }}
    QScrollBar::handle:vertical {{ min-height: {px(44)}; }}
    QScrollBar::handle:horizontal {{ min-width: {px(44)}; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
    QScrollBar::add-page, QScrollBar::sub-page {{ background: none; }}
    QScrollArea, QScrollArea > QWidget > QWidget {{ background: {theme.ground}; border: none; }}
    QProgressBar {{ background: {theme.sunk}; border: 1px solid {theme.line}; text-align: center; min-height: {px(26)}; }}
    QProgressBar::chunk {{ background: {theme.band}; }}
    QToolButton#rail {{ border: none; border-radius: 0; padding: {px(2)}; min-height: 0; font-size: {px(14)};
        background: {theme.sunk}; }}
    QToolButton#rail:checked {{ background: {theme.ground}; color: {theme.ink};
        border-left: {px(8)} solid {theme.focus}; font-weight: bold; }}
    QToolButton#rail:focus {{ border: {px(3)} solid {theme.focus}; }}
    QWidget#railground {{ background: {theme.sunk}; }}
    QFrame#strip {{ background: {theme.sunk}; border: none; }}
    QFrame#strip QWidget {{ background: transparent; }}
    QFrame#strip QPushButton {{ background: transparent; padding: {px(4)} {px(10)}; }}
    QFrame#strip[kind="notice"] {{ background: {theme.alarm.fill}; }}
    QFrame#strip[kind="notice"] QLabel {{ color: {theme.alarm.ink}; font-size: {px(20)}; font-weight: bold; }}
    QFrame#strip[kind="notice"] QLabel#remedy {{ font-weight: normal; font-size: {px(17)}; }}
    QFrame#strip[kind="notice"] QPushButton {{ color: {theme.alarm.ink}; border: {px(2)} solid {theme.alarm.ink}; }}
    QFrame#strip[kind="notice"][good="true"] {{ background: {theme.busy.fill}; }}
    QFrame#strip[kind="notice"][good="true"] QLabel {{ color: {theme.busy.ink}; }}
    QFrame#strip[kind="notice"][good="true"] QPushButton {{ color: {theme.busy.ink}; border-color: {theme.busy.ink}; }}
    """
