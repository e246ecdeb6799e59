"""Diagrams: torque over time or angle, with the window as a band, named stretches, marks and a cursor."""

from __future__ import annotations

# pyqtgraph carries no types: its calls are untyped, and PlotWidget hands most of them on to its PlotItem.
# mypy: disable-error-code="no-untyped-call, call-arg, misc"
from collections.abc import Sequence

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QResizeEvent, QTransform
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget

from rig.window.decimation import Curve
from rig.window.qt.theme import DARK, Theme
from rig.window.views.pull import Graph, Mark, Named
from rig.words.language import in_language

pg.setConfigOptions(antialias=False, useOpenGL=False)

LOW = 150
"""A diagram lower than this, in pixels of the design size, does not name its foot."""
FOOT, FOOT_NAMED = 26, 46
"""Height of the axis along the foot, without and with its name."""


class Ribbon(pg.GraphicsObject):
    """A strip along the foot of the diagram that names the stretches of the pull."""

    def __init__(self) -> None:
        super().__init__()
        self.parts: Sequence[Named] = ()
        self.theme: Theme = DARK
        self.size = 1.0

    def show_parts(self, parts: Sequence[Named]) -> None:
        """Name these stretches."""
        self.parts = parts
        self.prepareGeometryChange()
        self.update()

    def viewRangeChanged(self, *_: object) -> None:  # noqa: N802  pyqtgraph's name
        """The strip keeps its height on the screen."""
        self.prepareGeometryChange()
        self.update()

    def boundingRect(self) -> QRectF:  # noqa: N802  Qt's name
        """The foot of the view, in its own coordinates."""
        view = self.getViewBox()
        return QRectF() if view is None else QRectF(view.viewRect())

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:
        """Qt asks."""
        view = self.getViewBox()
        if view is None or not self.parts:
            return
        place = painter.transform()
        painter.save()
        painter.resetTransform()
        bottom = place.map(QPointF(0, view.viewRect().top())).y()
        left_edge, right_edge = place.map(view.viewRect().topLeft()).x(), place.map(view.viewRect().topRight()).x()
        height = 22 * self.size
        font = QFont()
        font.setPixelSize(max(9, round(13 * self.size)))
        font.setBold(True)
        painter.setFont(font)
        for part in self.parts:
            left = max(left_edge, place.map(QPointF(part.from_x, 0)).x())
            right = min(right_edge, place.map(QPointF(part.to_x, 0)).x())
            if right <= left:
                continue
            box = QRectF(left, bottom - height, right - left, height)
            fill = QColor(self.theme.stretches[part.label])
            painter.fillRect(box, fill)
            if painter.fontMetrics().horizontalAdvance(part.name) + 6 < box.width():
                painter.setPen(QColor("#0B0E11" if fill.lightnessF() > 0.42 else "#FFFFFF"))
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, part.name)
        painter.restore()


class _Curve(pg.PlotCurveItem):
    """A curve that claims the whole of the view: what to look at is always told, so nobody needs its own extent at each frame.

    Its line is one pixel wide, drawn `thick` by `thick` times side by side: Qt draws hundreds of such lines in a tenth of the
    time that one wide pen takes.
    """

    _box: QRectF | None = None
    thick = 1

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:
        """Qt asks."""
        place = painter.transform()
        for right in range(self.thick):
            for down in range(self.thick):
                painter.setTransform(place * QTransform.fromTranslate(right, down))
                super().paint(painter, option, widget)
        painter.setTransform(place)

    def boundingRect(self) -> QRectF:  # noqa: N802  Qt's name
        """The view, in its own coordinates."""
        if self._box is None:
            view = self.getViewBox()
            if view is None:
                return QRectF()
            self._box = QRectF(view.viewRect())
        return self._box

    def viewTransformChanged(self) -> None:  # noqa: N802  pyqtgraph's name
        """Another part of the diagram is looked at."""
        self._box = None
        super().viewTransformChanged()


class _Axis(pg.AxisItem):
    """An axis whose numbers are written as the language writes them."""

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:  # noqa: N802  pyqtgraph's name
        """Pyqtgraph asks."""
        return [in_language(text).replace("-", "\u2212") for text in super().tickStrings(values, scale, spacing)]


class CurvePlot(pg.PlotWidget):
    """One diagram. `cursor_moved` tells the place on the x axis that the person points at."""

    cursor_moved = Signal(float)
    _made = False

    def __init__(self, bottom: str, *, cursor: bool = False) -> None:
        super().__init__(axisItems={side: _Axis(side) for side in ("left", "bottom")})
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setMinimumSize(160, 70)
        self.setMenuEnabled(False)
        self.hideButtons()
        self.viewport().setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)  # nothing beneath needs painting first
        self.setClipToView(False)
        self._theme = DARK
        self._bottom, self._left = bottom, ""
        for side in ("left", "bottom"):
            # Numbers and grid change far more seldom than the curve: painted once, they cost a third of a frame less.
            self.getAxis(side).setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
        self._bands = [pg.LinearRegionItem(orientation="horizontal", movable=False) for _ in range(2)]
        for band in self._bands:
            band.setZValue(-20)
            band.setVisible(False)
            for part in (band, *band.lines):
                part.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
            self.addItem(band, ignoreBounds=True)
        self._curve = _Curve(skipFiniteCheck=True)
        self._earlier: list[_Curve] = []
        self._ribbon = Ribbon()
        self._ribbon.setZValue(10)
        self._slips = pg.ScatterPlotItem(symbol="t", pxMode=True)
        for marks in (self._ribbon, self._slips):  # in the live picture there is nothing to paint of them
            marks.setVisible(False)
        self._marks: list[pg.GraphicsObject] = []
        self._cursor = pg.InfiniteLine(angle=90, movable=True)
        self._cursor.setVisible(cursor)
        # What to look at is always told; a range that follows its own ribbon would never rest.
        self.disableAutoRange()
        for item in (self._curve, self._ribbon, self._slips, self._cursor):
            self.addItem(item, ignoreBounds=True)
        self._made = True
        self._cursor.sigPositionChanged.connect(lambda line: self.cursor_moved.emit(float(line.value())))

    def set_theme(self, theme: Theme, scale: float, left: str) -> None:
        """Use these colours and sizes; `left` names the torque axis with its unit."""
        self._theme, self._left = theme, left
        self._ribbon.theme, self._ribbon.size = theme, scale
        self.setBackground(theme.panel)
        font = QFont()
        font.setPixelSize(round(15 * scale))
        for side, text in (("left", left), ("bottom", self._bottom)):
            axis = self.getAxis(side)
            axis.setPen(QColor(theme.line))
            axis.setTextPen(QColor(theme.ink))
            axis.setTickFont(font)
            axis.enableAutoSIPrefix(False)
            axis.setLabel(text, **{"color": theme.ink, "font-size": f"{round(15 * scale)}px"})
        self.getAxis("left").setWidth(round(66 * scale))
        self.showGrid(x=False, y=True, alpha=0.25)
        self._curve.setPen(pg.mkPen(theme.curve, width=1))
        self._curve.thick = max(2, round(2 * scale))
        fill = QColor(theme.band)
        fill.setAlpha(60)
        for band in self._bands:
            band.setBrush(fill)
            for line in band.lines:
                line.setPen(QPen(QColor(theme.band), self._wide(2), Qt.PenStyle.DashLine))
                line.pen.setCosmetic(True)
        self._slips.setBrush(QColor(theme.mark))
        self._slips.setPen(QColor(theme.panel))
        self._slips.setSize(12 * scale)
        self._cursor.setPen(pg.mkPen(theme.focus, width=self._wide(2)))
        self._name_bottom()
        self.update()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        super().resizeEvent(event)
        if self._made:  # the base class asks while it is being made
            self._name_bottom()

    def _name_bottom(self) -> None:
        """A low diagram leaves its room to the curve; its neighbours say what lies along the foot."""
        size, named = self._ribbon.size, self.height() > LOW * self._ribbon.size
        axis = self.getAxis("bottom")
        axis.showLabel(named)
        axis.setHeight(round(size * (FOOT_NAMED if named else FOOT)))

    def show_band(self, band: tuple[float | None, float | None] | None, *, both_ways: bool = False) -> None:
        """Draw the window as a band; `both_ways` also below zero, for pulls the other way."""
        for region, sign in zip(self._bands, (1, -1), strict=True):
            region.setVisible(band is not None and (sign > 0 or both_ways))
            if band is not None:
                low, high = band
                region.setRegion((sign * (low or 0.0), sign * (1e6 if high is None else high)))

    def show_curve(self, curve: Curve) -> None:
        """Draw the curve, with a hole where samples are missing."""
        self._curve.setData(curve.x, curve.y, connect="finite" if curve.broken else "all", skipFiniteCheck=not curve.broken)

    def show_sets(self, before: Sequence[Curve], after: Sequence[Curve]) -> None:
        """Two sets of curves, told apart by colour and by dashes."""
        self.show_earlier([*before, *after])
        for i, item in enumerate(self._earlier):
            first = i < len(before)
            style = Qt.PenStyle.SolidLine if first else Qt.PenStyle.DashLine
            item.setPen(pg.mkPen(self._theme.curve if first else self._theme.mark, width=self._wide(2), style=style))

    def show_earlier(self, curves: Sequence[Curve]) -> None:
        """Lay earlier pulls under it."""
        while len(self._earlier) > len(curves):
            self.removeItem(self._earlier.pop())
        while len(self._earlier) < len(curves):
            item = _Curve(skipFiniteCheck=True)
            item.setZValue(-10)
            self._earlier.append(item)
            self.addItem(item, ignoreBounds=True)
        for item, curve in zip(self._earlier, curves, strict=True):
            item.setPen(pg.mkPen(self._theme.earlier, width=self._wide(1)))
            item.setData(curve.x, curve.y, connect="finite" if curve.broken else "all", skipFiniteCheck=not curve.broken)

    def show_graph(self, graph: Graph) -> None:
        """Draw a pull with all its marks and look at the whole of it."""
        self.show_curve(graph.curve)
        for marks in (self._ribbon, self._slips):
            marks.setVisible(True)
        self._ribbon.show_parts(graph.stretches)
        self._slips.setData(graph.slips.x, graph.slips.y)
        for item in self._marks:
            self.removeItem(item)
        self._marks = []
        for mark, colour in ((graph.sliding, self._theme.slide), (graph.breakaway, self._theme.mark)):
            if mark is not None:
                self._show_mark(
                    mark,
                    colour,
                    below=mark is graph.sliding,
                    leftwards=mark.from_x > sum(graph.span) / 2,
                )

    def clear_graph(self) -> None:
        """Take all marks off, as for the live picture."""
        if self._marks or self._ribbon.parts:
            self._ribbon.show_parts(())
            self._slips.clear()
            for marks in (self._ribbon, self._slips):
                marks.setVisible(False)
            for item in self._marks:
                self.removeItem(item)
            self._marks = []

    def _wide(self, pixels: float) -> float:
        """So many pixels of the design size: lines grow with the window as the letters do."""
        return max(1.0, pixels * self._ribbon.size)

    def _show_mark(self, mark: Mark, colour: str, *, below: bool, leftwards: bool) -> None:
        pen = pg.mkPen(colour, width=self._wide(3))
        if mark.to_x != mark.from_x:
            level: pg.GraphicsObject = pg.PlotCurveItem([mark.from_x, mark.to_x], [mark.level] * 2, pen=pen)
            middle = mark.from_x + 0.1 * (mark.to_x - mark.from_x)
        else:
            level = pg.ScatterPlotItem(
                [mark.from_x], [mark.level], symbol="d", size=self._wide(16), brush=QColor(colour), pen=self._theme.panel
            )
            middle = mark.from_x
        ends = [mark.level - mark.spread, mark.level + mark.spread]
        spread = pg.PlotCurveItem([middle, middle], ends, pen=pg.mkPen(colour, width=self._wide(4)))
        ground = QColor(self._theme.panel)
        ground.setAlpha(190)
        text = pg.TextItem(mark.text, color=colour, anchor=(1 if leftwards else 0, 0 if below else 1), fill=ground)
        font = QFont()
        font.setBold(True)
        font.setPixelSize(round(15 * self._ribbon.size))
        text.setFont(font)
        text.setPos(middle, ends[0] if below else ends[1])
        for item in (level, spread, text):
            self.addItem(item, ignoreBounds=True)
            self._marks.append(item)

    def look_at(self, from_x: float, to_x: float, low: float, high: float) -> None:
        """Look at this part; nothing happens where it is looked at already."""
        wished = [[from_x, to_x], [low, high]]
        if self.getViewBox().viewRange() != wished:
            self.setRange(xRange=(from_x, to_x), yRange=(low, high), padding=0, disableAutoRange=True)

    def visible_span(self) -> float:
        """How much of the x axis is in sight."""
        (low, high), _ = self.getViewBox().viewRange()
        return float(high - low)

    def zoom(self, factor: float) -> None:
        """Look closer (factor < 1) or from further away, around the cursor, along the x axis."""
        self.getViewBox().scaleBy((factor, 1.0), center=(self._cursor.value(), 0.0))

    def put_cursor(self, x: float) -> None:
        """Put the cursor there without telling."""
        self._cursor.blockSignals(True)
        self._cursor.setValue(x)
        self._cursor.blockSignals(False)
        self._cursor.update()
