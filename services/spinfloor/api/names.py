"""Path parameters of the routes."""

from typing import Annotated

from fastapi import Path

SortieId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$", description="the sortie's id")]
