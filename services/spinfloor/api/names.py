"""Names in addresses: what an id looks like, and the path parameters of the routes."""

from typing import Annotated, Final

from fastapi import Path

ID_PATTERN: Final = r"^[A-Za-z0-9_-]{1,64}$"

Id = Annotated[str, Path(pattern=ID_PATTERN)]
SortieId = Annotated[str, Path(pattern=ID_PATTERN, description="the sortie's id")]
