"""The rehearsal recordings that come with the product: complete, small, readable, and really written by their generator."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
import yaml
from tests.places import RECORDINGS
from tests.tools.replay_data.making import LARGEST_BYTES, plan_of, record_of
from tests.tools.replay_data.programme import PROGRAMME, by_id

from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan

INDEX: list[dict[str, Any]] = yaml.safe_load((RECORDINGS / "index.yaml").read_text(encoding="utf-8"))["recordings"]


def test_the_index_lists_the_programme() -> None:
    assert [line["id"] for line in INDEX] == [item.id for item in PROGRAMME]
    assert len(INDEX) >= 8


@pytest.mark.parametrize("line", INDEX, ids=[line["id"] for line in INDEX])
def test_each_recording_has_its_plan_and_its_page(line: dict[str, Any]) -> None:
    path = RECORDINGS / line["file"]
    assert path.stat().st_size < LARGEST_BYTES
    table = pq.read_table(path)
    block = FrameBlock.from_columns({name: table[name].to_numpy() for name in table.column_names})
    assert bool((np.diff(block.time_ns) > 0).all())
    stored = yaml.safe_load((RECORDINGS / line["plan"]).read_text(encoding="utf-8"))
    assert stored == plan_of(by_id(line["id"]))
    assert Plan.model_validate(stored).cards
    page = (RECORDINGS / line["notes"]).read_text(encoding="utf-8")
    assert "## What to listen for" in page
    assert "The tool advises" in page


def test_the_generator_still_writes_the_first_recording() -> None:
    item = by_id("r01-first-turns")
    record = record_of(item, item.fly())
    table = pq.read_table(RECORDINGS / "r01-first-turns.parquet")
    np.testing.assert_array_equal(table["time_ns"].to_numpy(), record.time_ns)
    stored = table["pressure_altitude_ft"].to_numpy()
    np.testing.assert_allclose(stored, record.columns["pressure_altitude_ft"], atol=5.0)
