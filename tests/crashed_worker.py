"""When a worker of the test run crashes (a C library's segmentation fault), the run goes on without the test it was at.

As it is, pytest-xdist 3.8 with `--dist loadfile` gives the dead worker's files out again whole: the test that crashed, and files
that were done, of which a worker then gets no test and waits for ever. A replacement given a single test waits as well: a
worker runs its last test only when told that it is the last.
"""

from __future__ import annotations

from typing import Any

import pytest
from xdist.scheduler import LoadFileScheduling


class CrashedWorkerScheduling(LoadFileScheduling):
    """One file to one worker; what crashed is not tried again, what was behind it in its file is."""

    def remove_node(self, node: Any) -> str | None:
        """Called when a worker ended. The test it was at, or None when it had none left. KeyError: it is not known."""
        left = [test for file in self.assigned_work[node].values() for test, done in file.items() if not done]
        if not left:
            super().remove_node(node)
            return None
        del self.assigned_work[node]
        crashed, *waiting = left
        for test in waiting:
            self.workqueue.setdefault(self._split_scope(test), {})[test] = False
        for other in self.nodes:
            self._reschedule(other)
        return str(crashed)

    def _reschedule(self, node: Any) -> None:
        """Never leaves a worker with a single test, unless it is told that this is the last."""
        if node not in self.registered_collections:  # a replacement that is still collecting
            return
        super()._reschedule(node)
        while not node.shutting_down and self._pending_of(self.assigned_work[node]) < 2:
            super()._reschedule(node)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> CrashedWorkerScheduling | None:
    """For `--dist loadfile`; tests/conftest.py takes it over."""
    return CrashedWorkerScheduling(config, log) if config.getvalue("dist") == "loadfile" else None
