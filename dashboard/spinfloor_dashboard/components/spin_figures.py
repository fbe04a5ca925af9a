"""Figures of one spin: rates, altitude against turns, the descent helix. Pure: columns and events in, a figure out.

Figures are plain dicts of the Plotly JSON schema. Columns are the contract's, in edge units, with None where missing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from spinfloor_dashboard.components.figures import COLOURWAY, TEMPLATE
from spinfloor_dashboard.components.spins import SpinMoments, marked_turns, turns_at
from spinfloor_dashboard.components.words import feet, known

Columns = Mapping[str, Sequence[Any]]
Figure = dict[str, Any]

NS: Final = 1e9
STANDARD_GRAVITY_FTPS2: Final = 9.80665 / 0.3048
RATES: Final = (("roll_rate_dps", "roll p"), ("pitch_rate_dps", "pitch q"), ("yaw_rate_dps", "yaw r"))
PHASE_FILL: Final = {
    "departure": "#2b2440",
    "incipient": "#22304a",
    "developed": "#1a3f66",
    "recovering": "#1d4a45",
    "dive": "#26402f",
    "spiral": "#33363a",
    "rolling": "#33363a",
    "tumble": "#402a45",
}
LINE_SOFT: Final = "#8fa8b5"


def base(title: str, x_title: str, y_title: str, **layout: Any) -> Figure:
    """An empty figure in the pages' look, with axes named."""
    return {
        "data": [],
        "layout": {
            "template": TEMPLATE,
            "title": {"text": title, "font": {"size": 16}, "x": 0.01, "xanchor": "left"},
            "xaxis": {"title": {"text": x_title}},
            "yaxis": {"title": {"text": y_title}, **({"tickformat": ",.0f"} if y_title.endswith(", ft") else {})},
            "shapes": [],
            "annotations": [],
            "legend": {"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 1.0, "xanchor": "right"},
            "uirevision": title,
            **layout,
        },
    }


def rates(
    columns: Columns, spin: SpinMoments, phases: Sequence[tuple[int, int, str]] = (), moment_ns: int | None = None
) -> Figure:
    """Body rates against seconds since the spin's start, phases shaded and named, turns and controls marked."""
    figure = base("Body rates", "seconds since the spin's start", "deg/s")
    seconds = [(t - spin.started_ns) / NS for t in columns.get("time_ns", ())]
    for place, (name, words) in enumerate(RATES):
        figure["data"].append(_line(seconds, columns.get(name, ()), words, COLOURWAY[place], hover="%{y:.0f} deg/s"))
    least_s = NAMED_FROM * (seconds[-1] - seconds[0]) if seconds else 0.0
    for begin, end, phase in phases:
        _shade(figure, (begin - spin.started_ns) / NS, (end - spin.started_ns) / NS, phase, least_s)
    for time_ns, count in marked_turns(spin)[1:]:
        if count == int(count):
            _upright(figure, (time_ns - spin.started_ns) / NS, f"{count:.0f}", dash="dot", top=False)
    before: float | None = None
    for time_ns, words in _moments(spin, moment_ns):
        x = (time_ns - spin.started_ns) / NS
        crowded = before is not None and abs(x - before) < CROWDED_S
        _upright(figure, x, words, dash="dash" if words != MOMENT else "solid", right=crowded)
        before = x
    return figure


MOMENT: Final = "this moment"
CROWDED_S: Final = 2.0
NAMED_FROM: Final = 0.12  # of the width: a phase shorter than that has no room for its name


def _moments(spin: SpinMoments, moment_ns: int | None) -> list[tuple[int, str]]:
    pairs = (
        (spin.recovery_ns, "recovery controls"),
        (spin.ended_ns, "rotation stopped"),
        (spin.level_ns, "level"),
        (moment_ns, MOMENT),
    )
    return [(time_ns, words) for time_ns, words in pairs if time_ns is not None]


def altitude_against_turns(columns: Columns, spin: SpinMoments, floors: Mapping[str, Any]) -> Figure:
    """Altimeter reading (line) and corrected altitude at each turn (points) against turns, with the floors in reach."""
    figure = base("Altitude against turns", "turns about the flight path", "altitude, ft")
    pairs = [
        (turns_at(spin, t), h)
        for t, h in zip(columns.get("time_ns", ()), columns.get("pressure_altitude_ft", ()), strict=False)
    ]
    inside = [(n, h) for n, h in pairs if n is not None]
    figure["data"].append(
        _line([n for n, _ in inside], [h for _, h in inside], "as read", LINE_SOFT, hover="%{y:,.0f} ft as read")
    )
    points = [(0.0, spin.start_altitude_ft)] + [(mark[1], mark[3]) for mark in spin.turn_marks]
    solid = [(n, h) for n, h in points if known(h)]
    figure["data"].append(
        {
            **_line([n for n, _ in solid], [h for _, h in solid], "corrected, at each turn", COLOURWAY[0]),
            "mode": "lines+markers",
            "marker": {"size": 9, "color": COLOURWAY[0]},
            "hovertemplate": "turn %{x:.2f}: %{y:,.0f} ft<extra></extra>",
        }
    )
    if spin.recovery_ns is not None and (count := turns_at(spin, spin.recovery_ns)) is not None:
        _upright(figure, count, "recovery controls", dash="dash")
    _floor_lines(figure, floors)
    return figure


_ABOVE: Final = {"x": 0.0, "xshift": 6, "yanchor": "bottom"}
# The chute floor lies close below the recovery floor: its name stands in its line, beside the other's.
FLOOR_NAMES: Final[Mapping[str, Mapping[str, Any]]] = {
    "recovery_ft": _ABOVE,
    "chute_ft": {"x": 0.27, "yanchor": "middle", "bgcolor": "rgba(10,14,17,.9)"},
    "abandon_ft": _ABOVE,
}


def _floor_lines(figure: Figure, floors: Mapping[str, Any]) -> None:
    for key, words in (("recovery_ft", "recovery floor"), ("chute_ft", "chute floor"), ("abandon_ft", "abandon floor")):
        height = floors.get(key)
        if known(height):
            figure["layout"]["shapes"].append(
                {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": height, "y1": height,
                 "line": {"color": "#e6edf1", "width": 2, "dash": "longdash" if key == "recovery_ft" else "dot"}}
            )  # fmt: skip
            figure["layout"]["annotations"].append(
                {"xref": "paper", "y": height, "xanchor": "left", "showarrow": False, **FLOOR_NAMES[key],
                 "text": f"{words} {feet(height)}", "font": {"size": 13, "color": "#e6edf1"}}
            )  # fmt: skip


HELIX_FROM_TURNS: Final = 0.25  # before it the way is still mostly forward, and a steady helix's radius means nothing


def helix_radius_ft(roll_rate_dps: float, yaw_rate_dps: float, alpha_deg: float | None) -> float | None:
    """Radius of the steady vertical helix, R = g / (omega^2 tan alpha); None where it has no meaning.

    Steady-spin balance of the resultant force (derived in docs/method); alpha from tan alpha = r/p where not measured.
    """
    omega = math.radians(math.hypot(roll_rate_dps, yaw_rate_dps))
    alpha = abs(math.radians(alpha_deg)) if alpha_deg is not None else math.atan2(abs(yaw_rate_dps), abs(roll_rate_dps))
    if omega < math.radians(20.0) or not math.radians(5.0) < alpha < math.radians(89.0):
        return None
    return STANDARD_GRAVITY_FTPS2 / (omega**2 * math.tan(alpha))


def descent_helix(columns: Columns, spin: SpinMoments) -> Figure:
    """The way down from start to stop of rotation, seen from the side; the radius is worked out, not measured."""
    figure = base("Descent helix, seen from the side", "across, ft", "altitude, ft", showlegend=False)
    figure["layout"]["xaxis"]["zeroline"] = False
    across, height, near, words = _helix_points(columns, spin)
    if not across:
        return figure
    for front, colour, width in ((False, "#37536e", 2), (True, COLOURWAY[0], 3.5)):
        figure["data"].append(
            {"type": "scatter", "mode": "lines", "connectgaps": False, "hoverinfo": "text",
             "x": [x if n is front else None for x, n in zip(across, near, strict=True)],
             "y": [y if n is front else None for y, n in zip(height, near, strict=True)],
             "text": words, "line": {"color": colour, "width": width},
             "name": "towards you" if front else "away from you"}
        )  # fmt: skip
    reach = max(10.0, max(abs(x) for x in across if x is not None)) * 1.6
    figure["layout"]["xaxis"]["range"] = [-reach, reach]
    for _time, count, _vertical, altitude in spin.turn_marks:
        if known(altitude) and count == int(count):
            figure["layout"]["annotations"].append(
                {"x": reach * 0.98, "y": altitude, "xanchor": "right", "showarrow": False,
                 "text": f"turn {count:.0f}", "font": {"size": 12, "color": LINE_SOFT}}
            )  # fmt: skip
    return figure


def _helix_points(
    columns: Columns, spin: SpinMoments
) -> tuple[list[float | None], list[float | None], list[bool], list[str]]:
    across: list[Any] = []
    height: list[Any] = []
    near: list[bool] = []
    words: list[str] = []
    sense = -1.0 if spin.kind.get("sense_from_above") == "anticlockwise" else 1.0
    alphas = columns.get("alpha_deg") or [None] * len(columns.get("time_ns", ()))
    radius = None
    for t, p, r, alpha, h in zip(
        columns.get("time_ns", ()), columns.get("roll_rate_dps", ()), columns.get("yaw_rate_dps", ()), alphas,
        columns.get("pressure_altitude_ft", ()), strict=False,
    ):  # fmt: skip
        count = turns_at(spin, t, about_vertical=True)
        if count is None or abs(count) < HELIX_FROM_TURNS or not (known(p) and known(r) and known(h)):
            continue
        fresh = helix_radius_ft(p, r, alpha if known(alpha) else None)
        radius = _smoothed(radius, fresh)
        if radius is None:
            continue
        angle = sense * abs(count) * 2.0 * math.pi
        across.append(radius * math.sin(angle))
        height.append(h)
        near.append(math.cos(angle) >= 0.0)
        words.append(f"turn {abs(count):.2f} about the vertical, {feet(h)}, radius {radius:.0f} ft")
    return across, height, near, words


def _smoothed(before: float | None, fresh: float | None, share: float = 0.1) -> float | None:
    if fresh is None:
        return before
    fresh = min(fresh, 300.0)
    return fresh if before is None else before + share * (fresh - before)


def comparison(first: tuple[str, SpinMoments], second: tuple[str, SpinMoments]) -> Figure:
    """Altitude lost since the start against turns, two spins over one another."""
    figure = base("Altitude lost against turns", "turns about the flight path", "altitude lost since the start, ft")
    figure["layout"]["yaxis"]["autorange"] = "reversed"
    for place, (name, spin) in enumerate((first, second)):
        if not known(spin.start_altitude_ft):
            continue
        top = float(spin.start_altitude_ft or 0.0)
        points = [(0.0, 0.0)] + [(mark[1], top - float(mark[3] or 0.0)) for mark in spin.turn_marks if known(mark[3])]
        colour = COLOURWAY[place]
        figure["data"].append(
            {**_line([n for n, _ in points], [h for _, h in points], name, colour), "mode": "lines+markers",
             "line": {"color": colour, "width": 3, "dash": "solid" if place == 0 else "dash"},
             "marker": {"size": 9, "symbol": "circle" if place == 0 else "diamond"},
             "hovertemplate": "turn %{x:.2f}: %{y:,.0f} ft lost<extra>" + name + "</extra>"}
        )  # fmt: skip
    return figure


def _line(x: Sequence[Any], y: Sequence[Any], name: str, colour: str, hover: str = "%{y}") -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": list(x),
        "y": list(y),
        "line": {"color": colour, "width": 2},
        "hovertemplate": hover + "<extra>" + name + "</extra>",
    }


def _shade(figure: Figure, begin: float, end: float, phase: str, least: float) -> None:
    if phase not in PHASE_FILL:
        return
    figure["layout"]["shapes"].append(
        {"type": "rect", "layer": "below", "xref": "x", "yref": "paper", "x0": begin, "x1": end, "y0": 0, "y1": 1,
         "fillcolor": PHASE_FILL[phase], "opacity": 0.75, "line": {"width": 0}}
    )  # fmt: skip
    if end - begin > least:
        figure["layout"]["annotations"].append(
            {"x": (begin + end) / 2, "yref": "paper", "y": 0.01, "yanchor": "bottom", "showarrow": False,
             "text": phase, "font": {"size": 13, "color": "#c9d6dc"}}
        )  # fmt: skip


def _upright(figure: Figure, x: float, words: str, *, dash: str, top: bool = True, right: bool = False) -> None:
    figure["layout"]["shapes"].append(
        {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1,
         "line": {"color": "#e6edf1" if top else "#5d7280", "width": 1.5 if top else 1, "dash": dash}}
    )  # fmt: skip
    label = {"x": x, "yref": "paper", "yanchor": "top", "showarrow": False, "text": words}
    if top:
        label.update(
            y=0.98,
            textangle=-90,
            xanchor="left" if right else "right",
            font={"size": 13, "color": "#e6edf1"},
            bgcolor="rgba(10,14,17,0.6)",
        )
    else:
        label.update(y=0.9, xanchor="left", font={"size": 12, "color": "#a9bac3"})
    figure["layout"]["annotations"].append(label)
