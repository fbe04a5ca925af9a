"""Watch while frames come without an altitude that can be believed: the heights are carried on, and it says so."""

from __future__ import annotations

import re
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest
from playwright.sync_api import expect
from tests.dashboard.flying import create, send, stretch
from tests.dashboard.visiting import Visit
from tests.tools.running import RunningService

pytestmark = pytest.mark.browser
LOST_AFTER_S = 6.0


def without_altitude_later(folder: Path) -> Path:
    """Twenty seconds of a recording whose altitude is missing from the sixth on."""
    path = stretch(folder, 0.0, 20.0)
    table = pq.read_table(path)
    time_ns = table.column("time_ns")
    there = pc.less(time_ns, time_ns[0].as_py() + int(LOST_AFTER_S * 1e9))
    name = "pressure_altitude_ft"
    altitude = pc.if_else(there, table.column(name), pa.scalar(None, table.schema.field(name).type))
    pq.write_table(table.set_column(table.schema.get_field_index(name), name, altitude), path)
    return path


def test_an_altitude_that_has_gone_is_said_and_the_heights_are_tagged(
    visit: Visit, service: RunningService, tmp_path: Path
) -> None:
    create(service, "no-altitude")
    page = visit.open("/?sortie=no-altitude")
    sender = send(service, "no-altitude", without_altitude_later(tmp_path), speed=1.0)
    try:
        expect(page.locator("#w-origin")).to_have_text("LIVE")
        alert = page.locator("#shell-alert")
        expect(alert).to_contain_text("NO ALTITUDE THAT CAN BE BELIEVED")
        expect(alert).to_have_class(re.compile("caution"))
        expect(page.locator("#w-left-cell .estimate-tag")).to_be_visible()
    finally:
        sender.kill()
        sender.wait()
