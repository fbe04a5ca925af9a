"""PostgreSQL: the archive of the spread-out way to run, and the store of what changes seldom."""

from spinfloor.adapters.postgres.archive import PostgresArchive
from spinfloor.adapters.postgres.audit import PostgresAudit
from spinfloor.adapters.postgres.beliefs import PostgresBeliefs
from spinfloor.adapters.postgres.database import Database
from spinfloor.adapters.postgres.frames import PostgresFrames
from spinfloor.adapters.postgres.sessions import PostgresSessions
from spinfloor.adapters.postgres.sorties import PostgresSorties
from spinfloor.adapters.postgres.tokens import PostgresTokens

__all__ = [
    "Database",
    "PostgresArchive",
    "PostgresAudit",
    "PostgresBeliefs",
    "PostgresFrames",
    "PostgresSessions",
    "PostgresSorties",
    "PostgresTokens",
]
