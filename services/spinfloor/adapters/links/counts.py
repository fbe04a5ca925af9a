"""What a link counted: nothing is dropped in silence."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class LinkCounts:
    """messages: lines or packets that came; lost: missing by their sequence numbers; late: frames whose time does not
    rise; damaged: what could not be read, by kind; foreign: from other senders; waiting: came
    too early to be understood, in the words of `early`.
    """

    messages: int = 0
    frames: int = 0
    lost: int = 0
    foreign: int = 0
    waiting: int = 0
    early: str = "lines before any labels"
    damaged: dict[str, int] = field(default_factory=dict)

    def damage(self, what: str) -> None:
        """Count one piece of damage; at most fifty kinds are told apart."""
        kind = what if what in self.damaged or len(self.damaged) < 50 else "other damage"
        self.damaged[kind] = self.damaged.get(kind, 0) + 1

    @property
    def sentence(self) -> str:
        """For a person."""
        parts = [f"{self.messages} messages received", f"{self.frames} frames made"]
        if self.lost:
            parts.append(f"{self.lost} messages missing")
        if self.foreign:
            parts.append(f"{self.foreign} from other senders left out")
        if self.waiting:
            parts.append(f"{self.early} left out: {self.waiting}")
        parts += [f"{what}: {n}" for what, n in self.damaged.items()]
        return ", ".join(parts)
