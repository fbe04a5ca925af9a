"""A sortie as a row of a database and back, the same for every database that keeps sorties."""

from __future__ import annotations

from typing import Any, Final

import orjson

from spinfloor.ports.errors import SortieExistsError, UnknownSortieError
from spinfloor.ports.sorties import SortieKind, SortieRecord

COLUMNS: Final = "id, kind, created_ns, aircraft, plan, beliefs, belief_version, notes"


def sortie_of(row: Any) -> SortieRecord:
    """The record in a row of COLUMNS; its JSON may be text or bytes."""
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
        expected="a new sortie id, or the same plan as before",
        got=f"the id {record.id!r}, which has another plan",
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
