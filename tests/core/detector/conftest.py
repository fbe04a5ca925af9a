"""Flights on which the detector does not yet reach its promised numbers, named one by one so that nobody forgets them.

One that is mended fails the suite until its line goes.
"""

import pytest

KNOWN_SHORTFALLS = {
    "test_spin[full-inverted-0]": "a slow inverted entry: start dated 0.45 s late, 0.3 s wanted",
    "test_spin[five-inverted-0]": "a slow inverted entry by rates: start 1.7 s early, 0.39 turn too many, 0.35 wanted",
    "test_spin[full-oscillatory-0]": "an oscillatory entry: 0.11 turn off after ten turns, 0.10 wanted",
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        reason = KNOWN_SHORTFALLS.get(item.name)
        if reason and item.path.name == "test_spins.py":
            item.add_marker(pytest.mark.xfail(reason=reason, strict=True))
