"""Whole numbers as they are spoken: "one", "twenty", "twenty-one", "one hundred and five"."""

from __future__ import annotations

from typing import Final

_SMALL: Final = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS: Final = ["zero", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]


def spoken(number: int) -> str:
    """English words for 0 to 999; digits beyond and for negative numbers."""
    if not 0 <= number <= 999:
        return str(number)
    if number < 20:
        return _SMALL[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens] + (f"-{_SMALL[ones]}" if ones else "")
    hundreds, rest = divmod(number, 100)
    return f"{_SMALL[hundreds]} hundred" + (f" and {spoken(rest)}" if rest else "")
