"""Flights on which the detector does not yet reach its promised numbers, named one by one so that nobody forgets them."""

import pytest

KNOWN_SHORTFALLS: dict[str, str] = {}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        reason = KNOWN_SHORTFALLS.get(item.name)
        if reason and item.path.name == "test_spins.py":
            item.add_marker(pytest.mark.xfail(reason=reason, strict=False))
