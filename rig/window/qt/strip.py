"""Errors as a strip with what to do: it blocks nothing, and goes away when it is read or fixed."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QSizePolicy, QVBoxLayout

from rig.window.model import Trouble
from rig.words.language import say


class TroubleStrip(QFrame):
    """Shows the newest trouble: what, where, and what to do. `read` is sent when the person has read it."""

    read = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("strip")
        self._what, self._remedy = QLabel(), QLabel()
        self._remedy.setObjectName("remedy")
        for label in (self._what, self._remedy):
            label.setWordWrap(True)
            label.setTextFormat(Qt.TextFormat.PlainText)
        self._button = QPushButton(say("Understood (Esc)"))
        self._button.clicked.connect(self.read)
        words = QVBoxLayout()
        words.setSpacing(0)
        words.addWidget(self._what)
        words.addWidget(self._remedy)
        layout = QHBoxLayout(self)
        layout.addLayout(words, 1)
        layout.addWidget(self._button)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Maximum)
        self.hide()

    def show_troubles(self, troubles: list[Trouble]) -> None:
        """Show the newest; hidden where there is none."""
        self.setVisible(bool(troubles))
        if troubles:
            trouble = troubles[-1]
            if self.property("good") is not trouble.good:
                self.setProperty("good", trouble.good)
                for widget in (self, self._what, self._remedy, self._button):  # Qt looks a property up once only
                    widget.style().unpolish(widget)
                    widget.style().polish(widget)
            more = "" if len(troubles) == 1 else "  (+" + str(len(troubles) - 1) + ")"
            self._what.setText((f"{trouble.where}: " if trouble.where else "") + say(trouble.what) + more)
            self._remedy.setText("→ " + say(trouble.remedy) if trouble.remedy else "")
            self.setAccessibleName(f"{self._what.text()} {self._remedy.text()}")


class WorkStrip(QFrame):
    """Long work: its name, how far it is, and a button that stops it."""

    stopped = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("work")
        self._name = QLabel()
        self._bar = QProgressBar()
        self._bar.setRange(0, 1000)
        button = QPushButton(say("Stop (Esc)"))
        button.clicked.connect(self.stopped)
        layout = QHBoxLayout(self)
        layout.addWidget(self._name)
        layout.addWidget(self._bar, 1)
        layout.addWidget(button)
        self.hide()

    def show_work(self, name: str, share: float) -> None:
        """Show work by name and the share done, 0..1."""
        self._name.setText(name)
        self._bar.setValue(round(1000 * share))
        self.show()
