"""The operating system's clocks."""

import asyncio
import time


class SystemClock:
    """`Clock`."""

    def wall_ns(self) -> int:
        """See the port."""
        return time.time_ns()

    def steady_ns(self) -> int:
        """See the port."""
        return time.monotonic_ns()

    async def sleep(self, seconds: float) -> None:
        """See the port."""
        await asyncio.sleep(seconds)
