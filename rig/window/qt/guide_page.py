"""The guide in the window: its pages on the left, the page in sight beside them."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QRectF, Qt, QUrl
from PySide6.QtGui import QColor, QImage, QPainter, QTextCharFormat, QTextCursor, QTextDocument
from PySide6.QtSvg import QSvgRenderer
from PySide6.QtWidgets import QHBoxLayout, QListWidget, QListWidgetItem, QTextBrowser

from rig.guide import PAGES, page, picture, title
from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.words.language import say, spoken

DRAWN_FOR_PX = 700
"""Width in pixels that a picture of the guide has where the window's type is of its usual size."""


class Pages(QTextBrowser):
    """Shows Markdown of the guide; draws its pictures at the size of the type, so that they are sharp in every window."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("guide text")
        self.setOpenLinks(False)
        self.setAccessibleName(say("Guide"))
        self.scale = 1.0

    def loadResource(self, kind: int, name: QUrl | str) -> object:  # noqa: N802  Qt's name
        """Qt asks for a picture."""
        if kind != QTextDocument.ResourceType.ImageResource.value:
            return None
        path = name.path() if isinstance(name, QUrl) else name
        drawing = QSvgRenderer(QByteArray(picture(path.rpartition("/")[2])))
        size = drawing.defaultSize()
        wide = max(100, round(min(DRAWN_FOR_PX * self.scale, self.viewport().width() - 40)))
        image = QImage(wide, round(wide * size.height() / size.width()), QImage.Format.Format_RGB32)
        image.fill(Qt.GlobalColor.white)
        painter = QPainter(image)
        drawing.render(painter, QRectF(image.rect()))
        painter.end()
        return image


class GuidePage(Page):
    """The page. Links between the guide's pages are followed here; nothing is fetched from anywhere."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("guide page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._language = spoken()
        self._theme, self._shown = DARK, ""
        self.contents = QListWidget()
        self.contents.setObjectName("guide contents")
        self.contents.setAccessibleName(say("Pages of the guide"))
        self.contents.setToolTip(say("Pages of the guide"))
        for name in PAGES:
            item = QListWidgetItem(title(name, self._language))
            item.setData(Qt.ItemDataRole.UserRole, name)
            self.contents.addItem(item)
        self.contents.setWordWrap(True)
        self.contents.currentItemChanged.connect(lambda now, _: self._show(now.data(Qt.ItemDataRole.UserRole)))
        self.text = Pages()
        self.text.setToolTip(say("PgUp, PgDown: a screen back or on"))
        self.text.anchorClicked.connect(self._follow)
        self.setFocusProxy(self.text)
        layout = QHBoxLayout(self)
        layout.addWidget(self.contents, 2)
        layout.addWidget(self.text, 7)

    def open(self, name: str) -> None:
        """Show that page of the guide."""
        self.contents.setCurrentRow(PAGES.index(name))

    def turn(self, screens: int) -> None:
        """Go a screen on, or back."""
        bar = self.text.verticalScrollBar()
        bar.setValue(bar.value() + screens * round(0.9 * bar.pageStep()))

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self.text.scale = theme, scale
        self.setStyleSheet(
            f"QTextBrowser {{ background: {theme.panel}; border: 1px solid {theme.line}; padding: {round(14 * scale)}px; }}"
            f"QListWidget::item {{ padding: {round(6 * scale)}px 0; }}"
        )
        if self._shown:
            self._render()

    def refresh(self, changed: Changed) -> None:
        """Show the first page when the guide is first looked at."""
        if not self._shown:
            self.open(PAGES[0])

    def _show(self, name: str) -> None:
        self._shown = name
        self._render()
        self.text.verticalScrollBar().setValue(0)

    def _render(self) -> None:
        document = self.text.document()
        at = self.text.verticalScrollBar().value()
        document.clear()
        self.text.setMarkdown(page(self._shown, self._language))
        self._space_out()
        self._colour_links()
        self.text.verticalScrollBar().setValue(at)

    def _space_out(self) -> None:
        """Room between paragraphs and lines, which Markdown leaves to whoever shows it; tables stay close."""
        cursor = QTextCursor(self.text.document())
        cursor.beginEditBlock()
        block = self.text.document().begin()
        while block.isValid():
            cursor.setPosition(block.position())
            if cursor.currentTable() is None:
                looks = block.blockFormat()
                looks.setTopMargin((18 if looks.headingLevel() else 6) * self.text.scale)
                looks.setBottomMargin(6 * self.text.scale)
                cursor.setBlockFormat(looks)
            block = block.next()
        cursor.endEditBlock()

    def _colour_links(self) -> None:
        """Links in a colour that reads on the theme's ground: Markdown takes the system's, which is dark blue."""
        looks = QTextCharFormat()
        looks.setForeground(QColor(self._theme.focus))
        spans: list[tuple[int, int]] = []
        block = self.text.document().begin()
        while block.isValid():
            at = block.begin()
            while not at.atEnd():
                part = at.fragment()
                if part.charFormat().isAnchor():
                    spans.append((part.position(), part.length()))
                at += 1
            block = block.next()
        for position, length in spans:
            cursor = QTextCursor(self.text.document())
            cursor.setPosition(position)
            cursor.setPosition(position + length, QTextCursor.MoveMode.KeepAnchor)
            cursor.mergeCharFormat(looks)

    def _follow(self, link: QUrl) -> None:
        name = link.path().rpartition("/")[2].removesuffix(".md")
        if name in PAGES and not link.scheme():
            self.open(name)
