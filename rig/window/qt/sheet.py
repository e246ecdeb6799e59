"""A printed sheet: HTML to a PDF of A4 pages, with or without a screen."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from PySide6.QtCore import QMarginsF, QRectF, QSizeF
from PySide6.QtGui import QFont, QFontDatabase, QGuiApplication, QPageLayout, QPageSize, QPainter, QPdfWriter, QTextDocument

from rig.errors import SheetError

MARGIN_MM = 16.0
DOTS_PER_INCH = 300
TEXT_PT = 9
FONT = "DejaVu Sans"


def write_pdf(path: Path, title: str, page: str) -> int:
    """Write the HTML `page` to a PDF file; the number of pages. Raises SheetError where that cannot be done."""
    _start_qt()
    families = QFontDatabase.families()
    if not families:
        raise SheetError("there is no font on this computer", where=str(path), remedy="install one, such as fonts-dejavu-core")
    draft = path.with_name(path.name + ".part")
    try:
        draft.touch()  # Qt would only warn of a folder that it may not write to
        writer = QPdfWriter(str(draft))
        writer.setTitle(title)
        writer.setCreator("platepull")
        writer.setResolution(DOTS_PER_INCH)
        writer.setPageSize(QPageSize(QPageSize.PageSizeId.A4))
        margins = QMarginsF(MARGIN_MM, MARGIN_MM, MARGIN_MM, MARGIN_MM)
        writer.setPageMargins(margins, QPageLayout.Unit.Millimeter)
        document = QTextDocument()
        document.documentLayout().setPaintDevice(writer)
        document.setDefaultFont(QFont(FONT if FONT in families else families[0], TEXT_PT))
        document.setDocumentMargin(0)
        document.setHtml(page)
        document.setPageSize(QSizeF(writer.width(), writer.height()))
        _paint(writer, document)
        pages = document.pageCount()
        del writer
        draft.replace(path)
    except OSError as fault:
        raise SheetError(
            f"cannot be written ({fault.strerror})", where=str(path), remedy="check folder, rights and space"
        ) from fault
    return pages


def _paint(writer: QPdfWriter, document: QTextDocument) -> None:
    painter = QPainter(writer)
    size = document.pageSize()
    for number in range(document.pageCount()):
        if number:
            writer.newPage()
            painter.translate(0, -size.height())
        document.drawContents(painter, QRectF(0, number * size.height(), size.width(), size.height()))
    painter.end()


def _start_qt() -> None:
    """Qt's fonts need an application. On Linux one without a screen: a display that is named but gone would end the program."""
    global _app
    if QGuiApplication.instance() is None:
        if sys.platform.startswith("linux"):
            os.environ["QT_QPA_PLATFORM"] = "offscreen"
        _app = QGuiApplication(sys.argv[:1])


_app: QGuiApplication | None = None
