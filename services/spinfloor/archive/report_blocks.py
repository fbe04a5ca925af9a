"""A report as neutral blocks, so that HTML and PDF say the same: headings, paragraphs, tables, line figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Plain text. `tone` is plain, caution or warning."""

    text: str
    tone: str = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """A table; all cells are text already. `wide` asks for small type."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: bool = False
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Series:
    """One line of a figure: finite points only, `points` True draws markers as well."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    points: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line with its words."""

    name: str
    y: float


@dataclass(frozen=True, slots=True)
class Moment:
    """A vertical line with its words."""

    name: str
    x: float


@dataclass(frozen=True, slots=True)
class LineFigure:
    """Lines over one another with axes named."""

    title: str
    x_title: str
    y_title: str
    series: tuple[Series, ...]
    levels: tuple[Level, ...] = ()
    moments: tuple[Moment, ...] = ()


Block = Paragraph | Table | LineFigure
LINE_COLOURS: Final = ("#1f5fa8", "#1d7a68", "#6a4bb0", "#4d5b63")  # of a figure's series, by place; no red, no amber


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its blocks."""

    heading: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """The whole document. `cautions` come first, before anything else."""

    title: str
    subtitle: str
    cautions: tuple[str, ...]
    sections: tuple[Section, ...]
    footer: str = ""
    language: str = field(default="en")


def axis_ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round ticks (1, 2 or 5 times a power of ten) inside [low, high], roughly `about` of them.

    A span that is not positive gives the single tick `low`.
    """
    span = high - low
    if not span > 0.0:
        return [low]
    exponent = 0
    rough = span / about
    while rough >= 10.0:
        rough, exponent = rough / 10.0, exponent + 1
    while rough < 1.0:
        rough, exponent = rough * 10.0, exponent - 1
    step = next((m for m in (1.0, 2.0, 5.0) if m >= rough), 10.0) * 10.0**exponent
    first = -(-low // step) * step
    count = int((high - first) / step + 1e-9) + 1
    return [round(first + step * place, 10) for place in range(count)]


def extent(figure: LineFigure) -> tuple[float, float, float, float]:
    """(x low, x high, y low, y high) over all series and levels, with some air; a unit box when there is nothing."""
    xs: list[float] = [x for line in figure.series for x in line.x]
    ys: list[float] = [y for line in figure.series for y in line.y] + [level.y for level in figure.levels]
    if not xs or not ys:
        return 0.0, 1.0, 0.0, 1.0
    return (*_air(min(xs), max(xs), 0.0), *_air(min(ys), max(ys), 0.06))


def _air(low: float, high: float, share: float) -> tuple[float, float]:
    if high - low < 1e-9:
        return low - 0.5, high + 0.5
    return low - share * (high - low), high + share * (high - low)


def thinned(pairs: Sequence[tuple[float, float]], at_most: int = 600) -> list[tuple[float, float]]:
    """Every n-th pair, the last one kept, so that a page stays small."""
    if len(pairs) <= at_most:
        return list(pairs)
    step = -(-len(pairs) // at_most)
    kept = list(pairs[::step])
    return kept if kept[-1] == pairs[-1] else [*kept, pairs[-1]]


@dataclass(frozen=True, slots=True)
class Scale:
    """From a figure's values to a drawing's coordinates. `bottom` is where the lowest value lies (SVG: down is up)."""

    values: tuple[float, float, float, float]
    left: float
    right: float
    bottom: float
    top: float

    def px(self, x: float) -> float:
        """Across."""
        x0, x1 = self.values[:2]
        return self.left + (x - x0) / (x1 - x0) * (self.right - self.left)

    def py(self, y: float) -> float:
        """Up or down."""
        y0, y1 = self.values[2:]
        return self.bottom + (y - y0) / (y1 - y0) * (self.top - self.bottom)


def name_columns(heights: Sequence[float], apart: float) -> list[int]:
    """For names written at these heights: 0 for the first column, one further on beside a name nearer than `apart`.

    heights, apart: the drawing's units. Names of floors that lie close would otherwise cover one another.
    """
    columns: list[int] = []
    for place, height in enumerate(heights):
        near = [columns[i] for i in range(place) if abs(heights[i] - height) < apart]
        columns.append(max(near) + 1 if near else 0)
    return columns
