"""The wall clock as a port, so that tests drive time themselves."""

from typing import Protocol


class Clock(Protocol):
    """Two clocks. `wall_ns` names moments and may jump; `steady_ns` measures durations and never runs back."""

    def wall_ns(self) -> int:
        """Nanoseconds UTC since 1970; may be stepped by the operating system."""
        ...

    def steady_ns(self) -> int:
        """Nanoseconds of a clock that never runs back; its zero means nothing."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Return after `seconds` of the steady clock."""
        ...
