"""A report's line figure as inline SVG, drawn for paper: dark lines on white, told apart by dash as well as hue."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import Final

from spinfloor.archive.report_blocks import LINE_COLOURS, LineFigure, Scale, Series, axis_ticks, extent, name_columns

WIDTH: Final = 860
HEIGHT: Final = 330
LEFT, RIGHT, TOP, BOTTOM = 74, WIDTH - 16, 34, HEIGHT - 46
DASHES: Final = ("", "8 4", "2 3", "10 3 2 3")


def figure_svg(figure: LineFigure) -> str:
    """The figure element; every text is escaped."""
    scale = Scale(extent(figure), LEFT, RIGHT, BOTTOM, TOP)
    parts = [*_frame(scale), *_axes(scale, figure), *_levels(scale, figure), *_moments(scale, figure)]
    parts += [_series(line, place, scale) for place, line in enumerate(figure.series)]
    words = escape(f"{figure.title}: {figure.y_title} against {figure.x_title}")
    return (
        f'<figure><figcaption>{escape(figure.title)}</figcaption><svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{words}">{"".join(parts)}</svg></figure>'
    )


def _frame(scale: Scale) -> Iterator[str]:
    x0, x1, y0, y1 = scale.values
    for tick in axis_ticks(x0, x1, 9):
        at = f"{scale.px(tick):.1f}"
        yield f'<line x1="{at}" x2="{at}" y1="{TOP}" y2="{BOTTOM}" stroke="#e3e8eb"/>'
        yield f'<text x="{at}" y="{BOTTOM + 16}" text-anchor="middle">{tick:,g}</text>'
    for tick in axis_ticks(y0, y1, 6):
        at = f"{scale.py(tick):.1f}"
        yield f'<line x1="{LEFT}" x2="{RIGHT}" y1="{at}" y2="{at}" stroke="#e3e8eb"/>'
        yield f'<text x="{LEFT - 6}" y="{at}" dy="4" text-anchor="end">{tick:,g}</text>'
    yield (f'<rect x="{LEFT}" y="{TOP}" width="{RIGHT - LEFT}" height="{BOTTOM - TOP}" fill="none" stroke="#5c6a71"/>')


def _axes(scale: Scale, figure: LineFigure) -> Iterator[str]:
    yield f'<text x="{(LEFT + RIGHT) / 2:.0f}" y="{HEIGHT - 8}" text-anchor="middle">{escape(figure.x_title)}</text>'
    turned = f"translate(14 {(TOP + BOTTOM) / 2:.0f}) rotate(-90)"
    yield f'<text transform="{turned}" text-anchor="middle">{escape(figure.y_title)}</text>'


def _levels(scale: Scale, figure: LineFigure) -> Iterator[str]:
    heights = [scale.py(level.y) for level in figure.levels]
    for level, at, column in zip(figure.levels, heights, name_columns(heights, 16.0), strict=True):
        yield f'<line x1="{LEFT}" x2="{RIGHT}" y1="{at:.1f}" y2="{at:.1f}" stroke="#14191c" stroke-dasharray="9 5"/>'
        yield f'<text x="{LEFT + 6 + 190 * column}" y="{at - 4:.1f}">{escape(level.name)}</text>'


def _moments(scale: Scale, figure: LineFigure) -> Iterator[str]:
    for moment in figure.moments:
        if scale.values[0] <= moment.x <= scale.values[1]:
            at = scale.px(moment.x)
            ends = f'x1="{at:.1f}" x2="{at:.1f}" y1="{TOP}" y2="{BOTTOM}"'
            yield f'<line {ends} stroke="#5c6a71" stroke-dasharray="4 4"/>'
            turned = f"translate({at - 4:.1f} {TOP + 4}) rotate(-90)"
            yield f'<text transform="{turned}" text-anchor="end">{escape(moment.name)}</text>'


def _series(line: Series, place: int, scale: Scale) -> str:
    colour, dash = LINE_COLOURS[place % len(LINE_COLOURS)], DASHES[place % len(DASHES)]
    spots = [(scale.px(x), scale.py(y)) for x, y in zip(line.x, line.y, strict=True)]
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)
    marks = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}"/>' for x, y in spots if line.points)
    at = LEFT + 8 + place * 200
    return (
        f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.8" stroke-dasharray="{dash}"/>'
        f'{marks}<line x1="{at}" x2="{at + 26}" y1="{TOP - 14}" y2="{TOP - 14}" stroke="{colour}" stroke-width="2.5" '
        f'stroke-dasharray="{dash}"/><text x="{at + 32}" y="{TOP - 10}">{escape(line.name)}</text>'
    )
