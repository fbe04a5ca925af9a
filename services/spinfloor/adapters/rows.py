"""Records as rows of a database and back, the same for every database that keeps them. JSON may be text or bytes."""

from __future__ import annotations

from typing import Any, Final

import orjson

from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.beliefs import StoredBeliefs
from spinfloor.ports.errors import SortieExistsError, UnknownSortieError
from spinfloor.ports.sorties import SortieKind, SortieRecord
from spinfloor.ports.tokens import Role, TokenRecord

SORTIE_COLUMNS: Final = "id, kind, created_ns, aircraft, plan, beliefs, belief_version, notes"
BELIEF_COLUMNS: Final = "aircraft, version, created_ns, beliefs, cause"
AUDIT_COLUMNS: Final = "at_ns, actor, action, sortie, data, position"
TOKEN_COLUMNS: Final = "id, name, role, hash_hex, created_ns, expires_ns, revoked_ns"
SESSION_COLUMNS: Final = "hash_hex, token_id, created_ns, expires_ns"


def sortie_of(row: Any) -> SortieRecord:
    """The record in a row of SORTIE_COLUMNS."""
    identity, kind, created_ns, aircraft, plan, beliefs, version, notes = row
    return SortieRecord(
        id=identity,
        kind=SortieKind(kind),
        created_ns=created_ns,
        aircraft=aircraft,
        plan=orjson.loads(plan),
        beliefs=None if beliefs is None else orjson.loads(beliefs),
        belief_version=version,
        notes=orjson.loads(notes),
    )


def same_sortie(there: SortieRecord, record: SortieRecord) -> bool:
    """True when it is the stored one offered again. Raises SortieExistsError when the id has another plan or kind."""
    if there.plan == dict(record.plan) and there.kind == record.kind:
        return True
    raise SortieExistsError(
        expected="a new sortie id, or the same plan and kind as before",
        got=f"the id {record.id!r}, which has another",
        now="the sortie that was there is unchanged",
        sortie=record.id,
    )


def unknown_sortie(sortie: str) -> UnknownSortieError:
    """The error for a name nobody has created."""
    return UnknownSortieError(
        expected="the id of a sortie that has been created",
        got=f"the unknown id {sortie!r}",
        now="nothing was done; list the sorties or create it with its plan first",
        sortie=sortie,
    )


def beliefs_of(row: Any) -> StoredBeliefs:
    """The version in a row of BELIEF_COLUMNS."""
    aircraft, version, created_ns, beliefs, cause = row
    return StoredBeliefs(aircraft, version, created_ns, orjson.loads(beliefs), orjson.loads(cause))


def action_of(row: Any) -> AuditRecord:
    """The record in a row of AUDIT_COLUMNS."""
    at_ns, actor, action, sortie, data, position = row
    return AuditRecord(at_ns, actor, action, sortie, orjson.loads(data), position)


def token_of(row: Any) -> TokenRecord:
    """The token in a row of TOKEN_COLUMNS."""
    identity, name, role, *rest = row
    return TokenRecord(identity, name, Role(role), *rest)
