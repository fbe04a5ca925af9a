"""Numbers on the command line. NaN is in every range that click compares with, and is no number to work with."""

from __future__ import annotations

import math
from typing import Any

import click


class FiniteRange(click.FloatRange):
    """A range of numbers that are finite."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; click says what the range is when it lies outside."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is no finite number.", param, ctx)
        return number
