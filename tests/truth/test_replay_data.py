"""The rehearsal recordings that come with the product: complete, small, readable, and really written by their generator."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
import yaml
from tests.places import RECORDINGS
from tests.tools.replay_data.making import LARGEST_BYTES, make, plan_of
from tests.tools.replay_data.parts import Rehearsal
from tests.tools.replay_data.programme import PROGRAMME, by_id
from tests.truth.degrade import LEAST_COUNT

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


@pytest.mark.parametrize("item", PROGRAMME, ids=lambda item: item.id)
def test_the_generator_writes_what_is_committed(item: Rehearsal, tmp_path: Path) -> None:
    """Words to the letter; numbers to one fine least count, because another processor may round a last bit otherwise."""
    line = make(item, tmp_path)
    assert line in INDEX
    for name in (line["plan"], line["notes"]):
        assert (tmp_path / name).read_text() == (RECORDINGS / name).read_text()
    made, kept = pq.read_table(tmp_path / line["file"]), pq.read_table(RECORDINGS / line["file"])
    assert made.schema == kept.schema
    np.testing.assert_array_equal(made["time_ns"].to_numpy(), kept["time_ns"].to_numpy())
    for name in set(made.column_names) - {"time_ns"}:
        ours, theirs = made[name].to_numpy(), kept[name].to_numpy()
        np.testing.assert_allclose(ours, theirs, rtol=1e-6, atol=0.11 * LEAST_COUNT[name], err_msg=name)
        assert np.mean(ours == theirs) > 0.99, name
