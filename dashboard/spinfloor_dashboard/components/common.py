"""Small building blocks every page uses: panel, badge, empty state, button, times."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Literal

from dash import html
from dash.development.base_component import Component

Children = Any
Given = str | list[str] | None  # what an address gives for a name
Tone = Literal["plain", "good", "caution", "warning", "fault"]  # fault: something asked for could not be done

ADVICE = "Advises only: crew, test conductor and the approved plan decide."


def query_value(value: Given) -> str | None:
    """What the address gives for a name; given more than once, the last counts."""
    return value[-1] if isinstance(value, list) else value


def page(title: str, *children: Children, lead: str = "") -> Component:
    """A scrolling page with its one h1 and an optional line under it."""
    head = [html.H1(title, className="page-title")]
    if lead:
        head.append(html.P(lead, className="page-lead"))
    return html.Main([*head, *children], className="page", id="page")


def panel(title: str, *children: Children, identifier: str | None = None, note: str = "") -> Component:
    """A titled box; `note` is a quiet line beside the title."""
    head = html.Div([html.H2(title), html.Span(note, className="panel-note")], className="panel-head")
    extra = {"id": identifier} if identifier else {}
    return html.Section([head, *children], className="panel", **extra)


def badge(words: str, tone: Tone = "plain") -> Component:
    """A state in words; the tone only repeats what the words say."""
    return html.Span(words, className=f"badge badge-{tone}")


def empty(what: str, how: str) -> Component:
    """What is missing, and what to do to see something here."""
    return html.Div([html.P(what, className="empty-what"), html.P(how, className="empty-how")], className="empty")


def action_button(words: str, *, identifier: str, key: str = "", primary: bool = False) -> Component:
    """A button; `key` is the single key that presses it and is drawn on it."""
    children: list[Children] = [html.Span(words)]
    if key:
        children.append(html.Kbd(key))
    name = "action primary" if primary else "action"
    extra = {"data-key": key.lower()} if key else {}
    return html.Button(children, id=identifier, className=name, type="button", n_clicks=0, **extra)


def caution_line() -> Component:
    """The standing caution, in words, on every page."""
    return html.P(ADVICE, className="advice")


def utc_time(time_ns: int | None) -> Component:
    """A date and time in UTC; hovering shows it in the reader's own zone (filled in by the browser)."""
    return _time(time_ns, "%Y-%m-%d %H:%M:%S UTC")


def utc_clock(time_ns: int | None) -> Component:
    """A time of day in UTC to the millisecond, with the reader's own zone on hover."""
    return _time(time_ns, "%H:%M:%S", millis=True)


def _time(time_ns: int | None, form: str, *, millis: bool = False) -> Component:
    if time_ns is None:
        return html.Span("not known")
    seconds, rest = divmod(time_ns, 1_000_000_000)
    moment = datetime.fromtimestamp(seconds, UTC)
    thousandths = rest // 1_000_000
    exact = f"{moment:%Y-%m-%dT%H:%M:%S}.{thousandths:03d}+00:00"
    words = f"{moment:{form}}.{thousandths:03d}" if millis else f"{moment:{form}}"
    return html.Time(words, dateTime=exact, className="utc")
