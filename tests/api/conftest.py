"""One service for a test file; each test makes its own sorties."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.serving_thread import Serving, serving


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A running service on loopback."""
    folder: Path = tmp_path_factory.mktemp("service")
    with serving(folder) as running:
        yield running
