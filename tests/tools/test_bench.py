"""The speed benchmark: its guard, its page, its data, and that the yardsticks do the same work as what they measure."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import orjson
import pytest
from tests.tools.bench import data, ingest, programme, table
from tests.tools.bench.kernel import allocation_row, fed
from tests.tools.bench.offline_script import analyse
from tests.tools.bench.page import write_page
from tests.tools.bench.table import Row, as_text, load_baseline, moved, save_baseline
from tests.tools.measured_page import BEGIN, END

from spinfloor.core.channels import COLUMN_NAMES
from spinfloor.core.events import Kind
from spinfloor.ingest.batches import batch_of, read_json, read_msgpack

ROWS = [
    Row("a", "kernel", 3e6, "frames/s", 100.0, "a loop", "3,000,000"),
    Row("b", "start", 4.0, "s", 2.0, "importing"),
    Row("c", "disk", 5.0, "ms"),
]


@pytest.mark.parametrize(
    ("ratio", "named"), [(100.0, False), (114.9, False), (116.0, True), (85.1, False), (84.0, True)]
)
def test_the_guard_names_what_moved_by_more_than_15_percent(ratio: float, named: bool) -> None:
    said = moved([Row("a", "kernel", 3e6, "frames/s", ratio, "a loop")], {"a": [100.0]})
    assert (len(said) == 1) is named
    if named:
        assert said[0].startswith("a: ")
        assert f"({ratio / 100.0 - 1.0:+.0%})" in said[0]


@pytest.mark.parametrize(("ratio", "change"), [(80.0, ""), (120.0, ""), (67.0, "-16%"), (140.0, "+17%")])
def test_what_the_runs_of_the_baseline_themselves_differ_by_is_no_movement(ratio: float, change: str) -> None:
    said = moved([Row("a", "sync", 3.0, "ms", ratio, "a sync")], {"a": [100.0, 80.0, 120.0]})
    assert [line[-5:-1] for line in said] == ([change] if change else [])


def test_the_guard_passes_over_what_cannot_be_compared() -> None:
    assert moved(ROWS, {}) == []
    assert moved(ROWS, {"c": [5.0], "gone": [1.0], "a": [0.0], "b": []}) == []


def test_a_baseline_saved_is_the_baseline_compared_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "BASELINE", tmp_path / "baseline.json")
    assert load_baseline() == {}
    save_baseline(ROWS)
    assert load_baseline() == {"a": [100.0], "b": [2.0]}
    save_baseline([Row("b", "start", 4.0, "s", 3.0)])  # one part measured again leaves the others
    assert load_baseline() == {"a": [100.0], "b": [2.0, 3.0]}
    assert moved(ROWS, load_baseline()) == []
    save_baseline([Row("b", "start", 4.0, "s", 3.0)], begin=True)
    assert moved(ROWS, load_baseline()) == ["b: ratio 2, baseline 3 (-33%)"]
    for ratio in range(1, 9):
        save_baseline([Row("b", "start", 4.0, "s", float(ratio))])
    assert load_baseline()["b"] == [4.0, 5.0, 6.0, 7.0, 8.0]


def test_the_committed_baseline_can_be_read_and_holds_ratios() -> None:
    if not table.BASELINE.exists():
        pytest.skip("no baseline is committed yet")
    assert all(runs and min(runs) > 0.0 and np.isfinite(runs).all() for runs in load_baseline().values())
    assert json.loads(table.BASELINE.read_text(encoding="utf-8")).keys() == load_baseline().keys()


def test_the_page_is_rewritten_between_its_marks_again_and_again(tmp_path: Path) -> None:
    page = tmp_path / "performance.md"
    page.write_text(f"# Speed\n\n{BEGIN}\n\nold\n\n{END}\n\nrest\n", encoding="utf-8")
    write_page(ROWS, page)
    once = page.read_text(encoding="utf-8")
    write_page(ROWS, page)
    assert page.read_text(encoding="utf-8") == once
    assert "old" not in once
    assert once.endswith("rest\n")
    assert as_text(ROWS) in once
    page.write_text("no marks", encoding="utf-8")
    with pytest.raises(ValueError, match="marks"):
        write_page(ROWS, page)


def test_the_data_is_a_programme_of_1000_spins_in_six_million_frames() -> None:
    block = data.one_set(0)
    spins = data.spins_per_set()
    assert len(block) == data.FRAMES_PER_SPIN * spins
    assert spins * programme.SETS >= 1_000
    assert len(block) * programme.SETS >= 6_000_000
    assert np.all(np.diff(block.time_ns) == data.STEP_NS)
    assert not np.array_equal(block.values, data.one_set(1).values)
    level = fed(data.level(3_000))
    assert not [event for event in level if event.kind is Kind.SPIN_STARTED]


def test_a_file_of_the_programme_gives_the_spins_of_the_block_it_was_made_from(tmp_path: Path) -> None:
    (path,) = programme.write(tmp_path, 1)
    frames, spins, _ = programme.reduce_file(path)
    assert frames == len(data.one_set(0))
    assert spins == data.spins_per_set()


def test_the_offline_script_finds_the_spins_too() -> None:
    # 13 recorded spins; a threshold in a script may split one or miss a short one (common practice, no source).
    found = analyse(data.edge_columns(data.one_set(0)))
    assert abs(len(found) - data.spins_per_set()) <= 3


def test_every_form_of_a_batch_carries_the_same_frames() -> None:
    block = data.one_set(0).slice(0, 50)
    bodies = {form.key: form.encode(7, block) for form in ingest.FORMS}
    batches = [
        batch_of(read_json(bodies["json"])),
        *(batch_of(read_msgpack(bodies[form])) for form in ("msgpack", "packed")),
    ]
    for batch in batches:
        assert batch.sequence == 7
        np.testing.assert_array_equal(batch.block.time_ns, block.time_ns)
        np.testing.assert_allclose(batch.block.values, block.values, rtol=1e-12)
    assert set(orjson.loads(bodies["json"])["columns"]) <= {"time_ns", *COLUMN_NAMES}
    assert ingest.unpacked(bodies["packed"]).shape == (len(block.to_columns()), 50)


def test_no_frame_allocates() -> None:
    assert allocation_row(data.one_set(0)).value == 0.0
