"""One rehearsal of the invented programme: its recording, its plan, its page of what to listen for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import yaml
from tests.tools.replay_data.parts import Rehearsal
from tests.truth.degrade import LEAST_COUNT, Record, noise, pristine
from tests.truth.flight import Flight

LARGEST_BYTES = 600_000


def record_of(item: Rehearsal, flight: Flight) -> Record:
    """A good recorder of its day: the rate asked for, a little noise, fine least counts, the item's own fault."""
    rng = np.random.default_rng([7, flight.seed])
    record = noise(pristine(flight, item.rate_hz), rng, 0.35)
    fine = {k: np.round(v / (LEAST_COUNT[k] / 10)) * (LEAST_COUNT[k] / 10) for k, v in record.columns.items()}
    record = record.with_columns(fine)
    if item.lost_s is not None:
        t = record.seconds
        record = record.keep((t < item.lost_s[0]) | (t >= item.lost_s[1]))
    return record


def write_recording(path: Path, record: Record) -> None:
    """Parquet: time_ns int64, every column float32."""
    arrays = {"time_ns": pa.array(record.time_ns)}
    arrays |= {k: pa.array(v.astype(np.float32)) for k, v in record.columns.items()}
    pq.write_table(pa.table(arrays), path, compression="zstd", compression_level=19, use_dictionary=True)
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise SystemExit(f"{path} has {size} bytes; a rehearsal recording may have {LARGEST_BYTES}")


def _line(seconds: float | None, text: str) -> list[str]:
    return [] if seconds is None else [f"| {seconds:6.1f} | {text} |"]


def timetable(flight: Flight) -> list[str]:
    """What happens when, from the simulator's exact state."""
    rows = ["| seconds | what happens |", "| ---: | --- |"]
    for s in flight.truth["spins"]:
        heights = s["altitude_ft"]
        end = s["turns"].get("start_to_spinend", {})
        rows += _line(s["pro_spin_controls_s"], "pro-spin controls")
        rows += _line(
            s["start_s"], f"{s['orientation']} spin to the {s['direction']} begins, {heights['start']:,.0f} ft"
        )
        rows += _line(s["recovery_controls_s"], f"recovery controls, {heights.get('rec_control', 0):,.0f} ft")
        if s["spin_end_s"] is not None:
            text = f"spin over after {end['about_flight_path']:.1f} turns about the flight path "
            text += f"({end['about_vertical']:.1f} about the vertical), {heights['end']:,.0f} ft"
            rows += _line(s["spin_end_s"], text)
        if s["level_s"] is not None:
            rows += _line(s["level_s"], f"level, {heights['level']:,.0f} ft")
    rows += _line(flight.truth["duration_s"], "end of the recording")
    return rows


def page(item: Rehearsal, flight: Flight) -> str:
    """The page of what to listen for."""
    lines = [f"# {item.title}", "", item.story, "", "## What to listen for", ""]
    lines += [f"- {text}" for text in item.listen_for]
    lines += ["", "## What the aircraft really does", "", *timetable(flight), ""]
    lines += [
        "Simulated flight of an invented aircraft. The times come from the simulator's exact state; the watch sees only",
        "the recording. The tool advises; crew, test conductor and the approved test plan decide.",
        "",
    ]
    return "\n".join(lines)


def plan_of(item: Rehearsal) -> dict[str, Any]:
    """The plan as plain data."""
    return {"version": 1, "title": item.title, **item.plan}


def make(item: Rehearsal, out: Path) -> dict[str, str]:
    """Write one rehearsal's three files; returns its line of the index."""
    flight = item.fly()
    write_recording(out / f"{item.id}.parquet", record_of(item, flight))
    (out / f"{item.id}.plan.yaml").write_text(yaml.safe_dump(plan_of(item), sort_keys=False, allow_unicode=True))
    (out / f"{item.id}.md").write_text(page(item, flight))
    return {
        "id": item.id,
        "title": item.title,
        "summary": item.summary,
        "file": f"{item.id}.parquet",
        "plan": f"{item.id}.plan.yaml",
        "notes": f"{item.id}.md",
    }
