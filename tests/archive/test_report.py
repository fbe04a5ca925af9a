"""The report: the same facts in HTML and PDF, nothing from outside unescaped, the cautions first."""

import io
import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest
from pypdf import PdfReader
from tests.archive.test_spin_table import ONE, S, event

from spinfloor.adapters.exports.report_pdf import report_pdf
from spinfloor.archive.report_blocks import Level, LineFigure, Paragraph, Section, Series, Table, axis_ticks, extent
from spinfloor.archive.report_build import CAUTIONS, ReportInput, build_report
from spinfloor.archive.report_html import report_html
from spinfloor.archive.report_marks import floors_at
from spinfloor.archive.report_svg import figure_svg
from spinfloor.archive.spin_table import spin_table

PLAN: dict[str, Any] = {
    "version": 1,
    "rule": "14-cfr-23.221-normal",
    "title": "Tessary trainer, spins of three turns",
    "aircraft": {"name": "Tessary 2", "chute_fitted": False},
    "floors": {"recovery_ft": 5_000.0, "abandon_ft": 3_000.0, "chute_ft": None},
    "cards": [{"id": "u-r-3", "direction": "right", "turns": 3.0, "entry_altitude_ft": 12_000.0}],
}
RULE = {
    "key": "14-cfr-23.221-normal",
    "title": "normal category, single engine",
    "source": "14 CFR 23.221",
    "clause": "(a)(1)",
    "page": "p. 206",
    "verified": False,
}


def given(**changes: Any) -> ReportInput:
    events = [{**record.as_record(), "sequence": place} for place, record in enumerate(ONE)]
    rows = spin_table(ONE, PLAN)
    times = [int((10 + place / 50) * S) for place in range(500)]
    frames: dict[str, Sequence[Any]] = {
        "time_ns": times,
        "roll_rate_dps": [100.0] * 500,
        "pitch_rate_dps": [None] * 500,
        "yaw_rate_dps": [float(place) for place in range(500)],
    }
    base = ReportInput(
        sortie={"id": "s-1", "kind": "flight", "created_ns": 0, "aircraft": "Tessary 2", "belief_version": 2},
        plan=PLAN, run="0.1.0-abc", rows=rows, events=events, frames={1: frames}, versions={"spinfloor": "0.1.0"},
        rule=RULE,
    )  # fmt: skip
    return replace(base, **changes)


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)


def pdf_words(data: bytes) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages))


def html_words(text: str) -> tuple[str, list[str]]:
    parser = _Words()
    parser.feed(text)
    return re.sub(r"\s+", " ", " ".join(parser.words)), parser.tags


@pytest.mark.parametrize("form", ["html", "pdf"])
def test_both_forms_carry_the_facts(form: str) -> None:
    report = build_report(given())
    words = html_words(report_html(report))[0] if form == "html" else pdf_words(report_pdf(report))
    for fact in ("Tessary trainer", "upright right", "0.85 turns, limit 1", "FROM MEMORY", "0.1.0-abc", "12,000",
                 "recovery turns", "u-r-3", "floors.recovery_ft", "spin.started", "version 2", "Flight"):  # fmt: skip
        assert fact in words, fact
    assert words.index("The crew, the test conductor") < words.index("Entry, ft")


def test_the_cautions_are_all_there() -> None:
    words, _ = html_words(report_html(build_report(given())))
    for caution in CAUTIONS:
        assert caution in words


def test_nothing_runs_and_nothing_is_fetched() -> None:
    hostile = '<script>alert(1)</script><img src="https://elsewhere.example/x">'
    events = [event("mark", 11.0, kind="note", by=hostile, text=hostile)]
    text = report_html(build_report(given(plan={**PLAN, "title": hostile}, events=[e.as_record() for e in events])))
    _, tags = html_words(text)
    assert "script" not in tags
    assert "img" not in tags
    assert "alert(1)" in text  # it is shown, as text
    assert report_pdf(build_report(given(plan={**PLAN, "title": hostile}))).startswith(b"%PDF-")


def test_a_rehearsal_says_it_was_not_flown() -> None:
    report = build_report(given(sortie={"id": "r-1", "kind": "rehearsal"}))
    assert "Rehearsal: not flown" in report.subtitle


def test_no_spin_says_so() -> None:
    words, _ = html_words(report_html(build_report(given(rows=[], events=[], frames={}))))
    assert "No spin was found in this run." in words


def test_the_same_report_gives_the_same_pdf() -> None:
    assert report_pdf(build_report(given())) == report_pdf(build_report(given()))


def test_signs_outside_latin_1_do_not_break_the_pdf() -> None:
    words = pdf_words(report_pdf(build_report(given(plan={**PLAN, "title": "Ärodrom \u2013 “Ωmega” ≥ 3"}))))
    assert "Ärodrom - " in words


def test_a_figure_without_points_still_draws() -> None:
    report = replace(
        build_report(given()),
        sections=(Section("x", (LineFigure("t", "x", "y", (Series("none", (), ()),)), Paragraph("after"))),),
    )
    assert "after" in pdf_words(report_pdf(report))
    assert "<svg" in report_html(report)


def test_a_table_longer_than_a_page_repeats_its_head() -> None:
    rows = tuple((str(place), "value") for place in range(200))
    report = replace(build_report(given()), sections=(Section("Long", (Table(("Number", "What"), rows),)),))
    pages = PdfReader(io.BytesIO(report_pdf(report))).pages
    assert len(pages) > 2
    assert all("Number" in page.extract_text() for page in pages)


@pytest.mark.parametrize("cell", ["=" * 1_000, "a" * 100_000, "note " * 20_000, "x\n" * 5_000, "note " * 600])
@pytest.mark.parametrize("wide", [True, False])
def test_whatever_was_pasted_into_a_note_fits_on_the_pages(cell: str, wide: bool) -> None:
    rows = tuple((f"{place} s", "note", cell, cell, "control room") for place in range(3))
    table = Table(("Time", "Kind", "What", "More", "By"), rows, wide=wide)
    words = pdf_words(report_pdf(replace(build_report(given()), sections=(Section("Notes", (table,)),))))
    assert words.count("control room") == 3
    assert ("more in the event stream" in words) == (len(cell) > 1_200)


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-3.2, 17.9), (4_870.0, 12_330.0), (0.001, 0.0042), (5.0, 5.0)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    ticks = axis_ticks(low, high)
    assert all(low <= tick <= high for tick in ticks)
    assert 1 <= len(ticks) <= 12
    steps = {round(b - a, 9) for a, b in itertools.pairwise(ticks)}
    assert len(steps) <= 1
    if steps:
        step = steps.pop()
        assert f"{step:e}"[0] in "125"


def test_extent_covers_levels() -> None:
    box = extent(build_figure())
    assert box[2] < 5_000.0 < 9_000.0 < box[3]


def test_names_of_floors_close_to_one_another_stand_side_by_side() -> None:
    floors = (Level("recovery floor", 8_500.0), Level("chute floor", 8_450.0), Level("abandon floor", 6_000.0))
    drawn = figure_svg(replace(build_figure(), levels=floors))
    at = {name: float(x) for x, name in re.findall(r'<text x="([\d.]+)"[^>]*>(\w+ floor)<', drawn)}
    assert at["chute floor"] >= at["recovery floor"] + 150.0  # wider than any name with its height
    assert at["abandon floor"] == at["recovery floor"]


def build_figure() -> LineFigure:
    sections = build_report(given()).sections
    figures = [b for section in sections for b in section.blocks if isinstance(b, LineFigure)]
    return next(figure for figure in figures if figure.title == "Altitude against turns")


MOVED = {
    "sortie": "s-1", "run": "0.1.0-abc", "sequence": 99, "kind": "mark", "time_ns": 12 * S, "detected_ns": 12 * S,
    "data": {"mark": "floors", "by": "test conductor", "floors": {"recovery_ft": 6_200.0, "abandon_ft": 3_000.0, "chute_ft": None}},
}  # fmt: skip
CALLED = {**MOVED, "sequence": 98, "data": {"mark": "call_made", "by": "engineer", "call": "recover"}}
NOTE = {"at_ns": 100 * S, "by": "flight engineer", "text": "the card was B2 & not B1", "spin": 1}


@pytest.mark.parametrize("form", ["html", "pdf"])
def test_what_persons_did_and_noted_is_in_the_report(form: str) -> None:
    report = build_report(given(events=[*given().events, CALLED, MOVED], notes=[NOTE, {**NOTE, "spin": None}]))
    words = html_words(report_html(report))[0] if form == "html" else pdf_words(report_pdf(report))
    for said in ("call made", "engineer", "floors moved", "recovery 6,200 ft, abandon 3,000 ft", "flight engineer",
                 "the card was B2 & not B1", "spin 1"):  # fmt: skip
        assert said in words


def test_a_figure_has_the_floors_in_force_when_its_spin_was_over() -> None:
    assert floors_at([MOVED], PLAN["floors"], 11 * S)["recovery_ft"] == 5_000.0
    assert floors_at([MOVED], PLAN["floors"], 12 * S)["recovery_ft"] == 6_200.0
    said_only = {**MOVED, "data": {"mark": "floors"}}  # as an archive of another version may hold it
    assert floors_at([said_only], PLAN["floors"], 12 * S)["recovery_ft"] == 5_000.0
    assert floors_at([], PLAN["floors"], 12 * S) == PLAN["floors"]
