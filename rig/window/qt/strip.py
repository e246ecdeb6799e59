"""The strip at the foot of the window, always in its place: a notice with what to do, long work, else where the files are.

It blocks nothing and moves nothing. Good news fades by itself; everything else stays until it is read or fixed.
"""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QStackedLayout,
    QVBoxLayout,
    QWidget,
)

from rig.window.keys import Act, key_name, key_of
from rig.window.notices import Notice, Notices
from rig.window.qt.elided import ElidedLabel
from rig.words.language import say

GOOD_NEWS_MS = 6000
HEIGHT = 46


class NoticeStrip(QFrame):
    """`read`: the person has read the newest notice; `stopped`: long work is to end; `folder_wanted`: open the folder.

    `again_wanted`: open the line again at once.
    """

    read = Signal()
    again_wanted = Signal()
    stopped = Signal()
    folder_wanted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("strip")
        self._what, self._remedy = ElidedLabel(), ElidedLabel()
        self._remedy.setObjectName("remedy")
        for label in (self._what, self._remedy):
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._button = _plain_button(say("Understood (Esc)"), self.read)
        words = QVBoxLayout()
        words.setSpacing(0)
        words.addWidget(self._what)
        words.addWidget(self._remedy)
        notice = QWidget()
        row = QHBoxLayout(notice)
        row.setContentsMargins(12, 2, 12, 2)
        row.addLayout(words, 1)
        self._again = _plain_button(say("Open again ({key})", key=key_name(key_of(Act.REOPEN))), self.again_wanted)
        row.addWidget(self._again)
        row.addWidget(self._button)
        self._name, self._bar = QLabel(), QProgressBar()
        self._bar.setRange(0, 1000)
        work = QWidget()
        row = QHBoxLayout(work)
        row.setContentsMargins(12, 2, 12, 2)
        row.addWidget(self._name)
        row.addWidget(self._bar, 1)
        row.addWidget(_plain_button(say("Stop (Esc)"), self.stopped))
        self._folder = ElidedLabel()
        self._folder.setObjectName("soft")
        self._folder.setTextFormat(Qt.TextFormat.PlainText)
        self._open = _plain_button(say("Open the folder"), self.folder_wanted)
        calm = QWidget()
        row = QHBoxLayout(calm)
        row.setContentsMargins(12, 2, 12, 2)
        row.addWidget(self._folder, 1)
        row.addWidget(self._open)
        self._stack = QStackedLayout(self)
        for page in (calm, work, notice):
            self._stack.addWidget(page)
        self._shown: Notice | None = None
        self._fade = QTimer(self)
        self._fade.setSingleShot(True)
        self._fade.timeout.connect(self._faded)
        self._notices: Notices | None = None
        self._shows: tuple[Notice | None, int, tuple[str, float] | None, str] | None = None

    def dress(self, scale: float) -> None:
        """The height never changes with what is shown."""
        self.setFixedHeight(round(HEIGHT * scale))

    def show_now(self, notices: Notices, work: tuple[str, float] | None, folder: str) -> None:
        """Show the notice to be read first, else work by name and share done (0..1), else the folder of the pulls ("": none)."""
        self._notices = notices
        standing = notices.standing
        first = notices.first
        shows = (first, len(standing), work, folder)
        if shows == self._shows:
            return
        self._shows = shows
        if first is not None:
            self._show_notice(first, len(standing) - 1)
        elif work is not None:
            self._name.setText(work[0])
            self._bar.setValue(round(1000 * work[1]))
        else:
            self._folder.setText(folder)
            self._open.setVisible(bool(folder))
        kind = "notice" if standing else "work" if work is not None else ""
        self._stack.setCurrentIndex(2 if standing else 1 if work is not None else 0)
        self._dress_as(kind, good=first is not None and first.good)
        if not standing:
            self._shown = None
            self.setAccessibleName("")

    def _show_notice(self, notice: Notice, others: int) -> None:
        more = f"  (+{others})" if others else ""
        what, path = say(notice.what) + more, "/" in notice.where or "\\" in notice.where
        # A path comes last: what it is about is read first, and its middle may be left out.
        self._what.setText(f"{what}: {notice.where}" if path else f"{notice.where}: {what}" if notice.where else what)
        self._remedy.setText("→ " + say(notice.remedy) if notice.remedy else "")
        self._remedy.setVisible(bool(notice.remedy))
        self._again.setVisible(notice.of_line)
        self.setAccessibleName(f"{self._what.text()} {self._remedy.text()}")
        if notice is not self._shown:
            self._shown = notice
            self._fade.start(GOOD_NEWS_MS) if notice.good else self._fade.stop()

    def _faded(self) -> None:
        if self._notices is not None and self._shown is not None:
            self._notices.drop(self._shown)

    def _dress_as(self, kind: str, *, good: bool) -> None:
        if (self.property("kind"), self.property("good")) != (kind, good):
            self.setProperty("kind", kind)
            self.setProperty("good", good)
            for widget in (self, *self.findChildren(QWidget)):  # Qt looks a property up once only
                widget.style().unpolish(widget)
                widget.style().polish(widget)


def _plain_button(words: str, signal: object) -> QPushButton:
    button = QPushButton(words)
    button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    button.clicked.connect(signal)
    return button
