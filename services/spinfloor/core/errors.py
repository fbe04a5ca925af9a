"""Errors as records: a stable code, fields, and one sentence saying what was expected, what came, what happens now."""

from typing import ClassVar


class SpinfloorError(Exception):
    """Base of every error the product raises on purpose.

    Subclasses set `code` (stable, kebab-case, part of the contract) and `http_status`
    (what the API answers with; never 5xx for bad input) and `exit_code` (what a command ends with).
    """

    code: ClassVar[str] = "error"
    http_status: ClassVar[int] = 400
    exit_code: ClassVar[int] = 2

    def __init__(self, *, expected: str, got: str, now: str, **fields: object) -> None:
        self.expected = expected
        self.got = got
        self.now = now
        self.fields: dict[str, object] = fields
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The one sentence a person reads."""
        return f"Expected {self.expected}; got {self.got}; {self.now}."

    def as_record(self) -> dict[str, object]:
        """Plain fields for JSON: code, expected, got, now, plus the error's own fields."""
        return {"code": self.code, "expected": self.expected, "got": self.got, "now": self.now, **self.fields}
