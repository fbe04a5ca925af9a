"""A report as PDF (A4), with ReportLab: the same blocks as the HTML page, text that can be searched and copied."""

from __future__ import annotations

import io
from collections.abc import Iterable
from html import escape
from typing import Any, Final

from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, SimpleDocTemplate, Spacer
from reportlab.platypus import Paragraph as PdfParagraph
from reportlab.platypus import Table as PdfTable

from spinfloor.archive.report_blocks import (
    LINE_COLOURS,
    Block,
    LineFigure,
    Paragraph,
    Report,
    Scale,
    Table,
    axis_ticks,
    extent,
    name_columns,
)

PAGE: Final = landscape(A4)
MARGIN: Final = 15 * mm
WIDTH: Final = PAGE[0] - 2 * MARGIN - 12  # a frame has 6 points of its own on each side
BODY: Final = ParagraphStyle("body", fontName="Helvetica", fontSize=9.5, leading=12.5, alignment=TA_LEFT)
SMALL: Final = ParagraphStyle("small", parent=BODY, fontSize=7, leading=8.6)
HEAD: Final = ParagraphStyle("head", parent=BODY, fontName="Helvetica-Bold", fontSize=13, leading=17, spaceBefore=9)
TITLE: Final = ParagraphStyle("title", parent=BODY, fontName="Helvetica-Bold", fontSize=19, leading=23)
CAUTION: Final = ParagraphStyle(
    "caution", parent=BODY, backColor=colors.HexColor("#fff6e0"), textColor=colors.HexColor("#5c3c00"), borderPadding=4,
    borderWidth=0.8, borderColor=colors.HexColor("#8a5a00"), spaceBefore=5, spaceAfter=7,
)  # fmt: skip
WARNING: Final = ParagraphStyle("warning", parent=BODY, textColor=colors.HexColor("#8f1208"), fontName="Helvetica-Bold")
STYLES: Final = {"plain": BODY, "caution": CAUTION, "warning": WARNING}
LINES: Final = tuple(colors.HexColor(code) for code in LINE_COLOURS)
DASHES: Final[tuple[list[int] | None, ...]] = (None, [6, 3], [2, 2], [8, 2, 2, 2])
LONGEST_CELL: Final = 1_200  # characters, so that a row fits on a page; a note after the flight has at most 1,000
LONGEST_WORD: Final = 42  # characters that a column is made wide for; longer words are broken
SOFT: Final = colors.HexColor("#5c6a71")
GRID: Final = colors.HexColor("#dfe5e8")
# The standard PDF fonts hold Latin-1; what lies outside is written with what they have (dashes, quotes, signs).
REPLACED: Final = {
    0x2013: "-", 0x2014: "-", 0x201C: '"', 0x201D: '"', 0x2018: "'", 0x2019: "'", 0x2265: ">=", 0x2264: "<=",
    0x2212: "-", 0x2026: "...",
}  # fmt: skip


def report_pdf(report: Report) -> bytes:
    """The PDF file. The same report gives the same bytes (no time of making is written into it)."""
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=PAGE, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN + 4 * mm,
        title=_latin(report.title), author="spinfloor", subject=_latin(report.subtitle), lang=report.language,
        invariant=1,
    )  # fmt: skip
    story: list[Flowable] = [_words(report.title, TITLE), _words(report.subtitle, BODY)]
    story += [_words(text, CAUTION) for text in report.cautions]
    for section in report.sections:
        room = 90 * mm if isinstance(next(iter(section.blocks), None), LineFigure) else 35 * mm
        story += [CondPageBreak(room), _words(section.heading, HEAD), *_flowables(section.blocks)]

    def foot(canvas: Canvas, _document: Any) -> None:
        canvas.setFont("Helvetica", 7.5)
        canvas.setFillColor(SOFT)
        canvas.drawString(MARGIN, 9 * mm, _latin(report.footer)[:190])
        canvas.drawRightString(PAGE[0] - MARGIN, 9 * mm, f"page {canvas.getPageNumber()}")

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _latin(text: str) -> str:
    return text.translate(REPLACED).encode("latin-1", "replace").decode("latin-1")


def _words(text: str, style: ParagraphStyle) -> PdfParagraph:
    return PdfParagraph(escape(_latin(text)), style)


def _flowables(blocks: Iterable[Block]) -> Iterable[Flowable]:
    for block in blocks:
        if isinstance(block, Paragraph):
            yield _words(block.text, STYLES.get(block.tone, BODY))
        elif isinstance(block, Table):
            yield from _table(block)
        else:
            yield _figure(block)
        yield Spacer(1, 2.5 * mm)


def _table(table: Table) -> Iterable[Flowable]:
    if table.caption:
        yield _words(table.caption, BODY)
    style = SMALL if table.wide else BODY
    head = ParagraphStyle("table-head", parent=style, fontName="Helvetica-Bold")
    rows = [[_words(cell, head) for cell in table.head]]
    rows += [[_words(_cut(cell), style) for cell in row] for row in table.rows]
    shares = _shares(table)
    yield PdfTable(
        rows,
        colWidths=[WIDTH * share for share in shares],
        repeatRows=1,
        style=[
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, 0), 0.8, SOFT),
            ("LINEBELOW", (0, 1), (-1, -1), 0.3, GRID),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ("TOPPADDING", (0, 0), (-1, -1), 1.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ],
    )


def _cut(cell: str) -> str:
    if len(cell) <= LONGEST_CELL:
        return cell
    return f"{cell[:LONGEST_CELL]} ... ({len(cell) - LONGEST_CELL:,} characters more in the event stream)"


def _shares(table: Table) -> list[float]:
    """Column widths by the amount of text in each, to a longest word, as shares of the page."""
    columns = list(zip(table.head, *table.rows, strict=True))
    weights = [min(LONGEST_WORD, max(len(cell) for cell in column)) + 2 for column in columns]
    return [weight / sum(weights) for weight in weights]


def _figure(figure: LineFigure) -> Drawing:
    width, height = WIDTH, 64 * mm
    scale = Scale(extent(figure), 52.0, width - 8.0, 30.0, height - 30.0)
    drawing = Drawing(width, height)
    drawing.add(_text(0, height - 9, figure.title, bold=True))
    _frame(drawing, scale)
    drawing.add(_text((scale.left + scale.right) / 2, 6, figure.x_title, anchor="middle"))
    drawing.add(_text(scale.left, scale.top + 4, figure.y_title))
    _marks(drawing, figure, scale)
    _lines(drawing, figure, scale, height - 7)
    return drawing


def _frame(drawing: Drawing, scale: Scale) -> None:
    x0, x1, y0, y1 = scale.values
    left, right, bottom, top = scale.left, scale.right, scale.bottom, scale.top
    for tick in axis_ticks(x0, x1, 10):
        drawing.add(Line(scale.px(tick), bottom, scale.px(tick), top, strokeColor=GRID, strokeWidth=0.5))
        drawing.add(_text(scale.px(tick), bottom - 9, f"{tick:,g}", anchor="middle"))
    for tick in axis_ticks(y0, y1, 5):
        drawing.add(Line(left, scale.py(tick), right, scale.py(tick), strokeColor=GRID, strokeWidth=0.5))
        drawing.add(_text(left - 4, scale.py(tick) - 2.5, f"{tick:,g}", anchor="end"))
    drawing.add(Rect(left, bottom, right - left, top - bottom, fillColor=None, strokeColor=SOFT, strokeWidth=0.6))


def _marks(drawing: Drawing, figure: LineFigure, scale: Scale) -> None:
    heights = [scale.py(level.y) for level in figure.levels]
    for level, at, column in zip(figure.levels, heights, name_columns(heights, 10.0), strict=True):
        drawing.add(Line(scale.left, at, scale.right, at, strokeWidth=0.8, strokeDashArray=[7, 4]))
        drawing.add(_text(scale.left + 4 + 110 * column, at + 3, level.name))
    inside = [moment for moment in figure.moments if scale.values[0] <= moment.x <= scale.values[1]]
    for place, moment in enumerate(inside):
        at = scale.px(moment.x)
        drawing.add(Line(at, scale.bottom, at, scale.top, strokeColor=SOFT, strokeDashArray=[3, 3]))
        drawing.add(_text(at + 3, scale.top - 9 - 9 * (place % 3), moment.name))


def _lines(drawing: Drawing, figure: LineFigure, scale: Scale, key_height: float) -> None:
    for place, line in enumerate(figure.series):
        colour, dash = LINES[place % len(LINES)], DASHES[place % len(DASHES)]
        spots = [(scale.px(x), scale.py(y)) for x, y in zip(line.x, line.y, strict=True)]
        if len(spots) >= 2:
            flat = [value for spot in spots for value in spot]
            drawing.add(PolyLine(flat, strokeColor=colour, strokeWidth=1.2, strokeDashArray=dash))
        if line.points:
            for x, y in spots:
                drawing.add(Circle(x, y, 2.2, fillColor=colour, strokeColor=colour))
        at = scale.right - 150 * (len(figure.series) - place)
        drawing.add(Line(at, key_height, at + 18, key_height, strokeColor=colour, strokeWidth=2, strokeDashArray=dash))
        drawing.add(_text(at + 22, key_height - 2.5, line.name))


def _text(x: float, y: float, words: str, *, anchor: str = "start", bold: bool = False) -> String:
    return String(
        x,
        y,
        _latin(words),
        textAnchor=anchor,
        fontSize=9.5 if bold else 7.5,
        fontName="Helvetica-Bold" if bold else "Helvetica",
    )
