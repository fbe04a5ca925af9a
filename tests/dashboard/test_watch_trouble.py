"""Watch while the disk takes nothing more: said in words at the top, with the reason, until there is room again."""

from __future__ import annotations

import re
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.dashboard.flying import create, send, stretch
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import RunningService
from tests.waiting import wait_for

pytestmark = pytest.mark.browser

NO_FILE_LONGER = 8 << 10  # two pages of the store's journal


@contextmanager
def full_disk(service: RunningService) -> Iterator[None]:
    """What a full disk does: the system refuses the running service any file longer than that."""
    soft, hard = resource.prlimit(service.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(service.pid, resource.RLIMIT_FSIZE, (NO_FILE_LONGER, hard))
    try:
        yield
    finally:
        resource.prlimit(service.pid, resource.RLIMIT_FSIZE, (soft, hard))


def taken(service: RunningService) -> int:
    return int(service.ask("GET", "/v1/sorties/full")["frames"]["count"])


def test_a_full_disk_is_a_warning_with_its_reason_until_there_is_room(
    visit: Visit, service: RunningService, tmp_path: Path
) -> None:
    create(service, "full")
    page = visit.open("/?sortie=full")
    sender = send(service, "full", stretch(tmp_path, 0.0, 36.0), speed=1.0)
    alert = page.locator("#shell-alert")
    expect(page.locator("#w-origin")).to_have_text("LIVE")
    with full_disk(service):
        expect(alert).to_contain_text("NO FRAMES CAN BE TAKEN")
        expect(alert).to_have_attribute("title", re.compile("disk|full|write", re.IGNORECASE))
        expect(alert).not_to_have_class(re.compile("caution"))  # a warning: no calls will come
        expect(page.locator("#w-origin")).to_have_text(re.compile("DATA LOST|OLD DATA"))
        assert visit.serious_faults() == []
        fits = "() => document.documentElement.scrollHeight <= innerHeight"
        assert page.evaluate(fits)
        before = taken(service)
    expect(alert).not_to_contain_text("NO FRAMES CAN BE TAKEN")
    wait_for(lambda: taken(service) > before, seconds=PATIENCE_MS / 1000, what="the sender's next frames")
    sender.kill()
    sender.wait()
