"""Taking back what a recovery taught, and putting it back: each a new version of the beliefs and a line in the audit log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from pydantic import TypeAdapter

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Json, Mode
from spinfloor.core.recovery.beliefs import Beliefs, Evidence
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports

WITHDRAWAL: Final = "beliefs.withdrawal"
RESTORATION: Final = "beliefs.restoration"
Key = tuple[str, int]
_EVIDENCE: Final = TypeAdapter(Evidence)


class NoSuchRecoveryError(SpinfloorError):
    """Nothing to take back, or to put back."""

    code = "no-such-recovery"
    http_status = 404


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """A recovery that taught something and does so no longer; who took it back, why and when."""

    evidence: Evidence
    by: str
    reason: str
    at_ns: int

    def as_record(self) -> dict[str, Any]:
        """Plain data, edge units."""
        return {**asdict(self.evidence), "by": self.by, "reason": self.reason, "at_ns": self.at_ns}


def without(beliefs: Beliefs, key: Key | None, reason: str) -> Beliefs:
    """Without one recovery (sortie, spin), or back to the priors. Raises NoSuchRecoveryError when that changes nothing."""
    changed = beliefs.reset(reason) if key is None else beliefs.without(*key)
    if changed is beliefs or not beliefs.evidence:
        raise _nothing("a recovery that is among the evidence", key)
    return changed


async def with_again(ports: Ports, aircraft: str, beliefs: Beliefs, key: Key | None) -> Beliefs:
    """With one recovery that was taken back, or with all of them. Raises NoSuchRecoveryError when there is none."""
    out = [one.evidence for one in await withdrawn_of(ports, aircraft, beliefs)]
    changed = beliefs
    for evidence in out:
        if key is None or key == (evidence.sortie, evidence.spin):
            changed = changed.learn(evidence)
    if changed is beliefs:
        raise _nothing("a recovery that was withdrawn", key)
    return changed


def taken_out(before: Beliefs, after: Beliefs) -> list[Json]:
    """What `after` has lost, as plain data for the audit log."""
    kept = _keys(after.evidence)
    return [asdict(one) for one in before.evidence if (one.sortie, one.spin) not in kept]


async def withdrawn_of(ports: Ports, aircraft: str, beliefs: Beliefs) -> list[Withdrawn]:
    """What was taken back and is not believed now, by the audit log; the newest withdrawal of each last."""
    there, after = _keys(beliefs.evidence), -1
    found: dict[Key, Withdrawn] = {}
    while page := await ports.audit.read(action=WITHDRAWAL, after=after):
        after = page[-1].position
        for record in page:
            if record.data.get("aircraft") == aircraft:
                for one in _withdrawn(record):
                    key = (one.evidence.sortie, one.evidence.spin)
                    found.pop(key, None)
                    found[key] = one
    return [one for key, one in found.items() if key not in there]


def _withdrawn(record: AuditRecord) -> list[Withdrawn]:
    """Empty for a record that names nothing: an imported archive may hold any."""
    items, reason = record.data.get("recoveries"), str(record.data.get("reason", ""))
    try:
        found = [_evidence(item) for item in items] if isinstance(items, list) else []
    except ValueError:
        found = []
    return [Withdrawn(evidence, record.by, reason, record.at_ns) for evidence in found]


def _evidence(item: object) -> Evidence:
    evidence = _EVIDENCE.validate_python(item)
    if evidence.mode is not None:
        Mode(evidence.mode)
    return evidence


def _keys(evidence: Sequence[Evidence]) -> set[Key]:
    return {(one.sortie, one.spin) for one in evidence}


def _nothing(expected: str, key: Key | None) -> NoSuchRecoveryError:
    got = "none at all" if key is None else f"sortie {key[0]!r}, spin {key[1]}"
    return NoSuchRecoveryError(expected=expected, got=got, now="nothing was changed")
