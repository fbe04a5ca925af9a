"""What is in a sortie's archive file, and how large its parts may be.

manifest.json    what the archive is of, made with what, and size and SHA-256 of every other part
plan.json        the plan as it was checked
settings.json    the plan flattened to the numbers the detector read, SI units, each with its meaning
beliefs.json     what was believed of the aircraft when the sortie was created; null: the plan's priors
notes.json       what the service noted of the sortie
inputs.ndjson    frames (as a number of rows), ticks, marks and floor changes in the order that decided the events
frames.parquet   the rows of all frames in that order, SI units, bit for bit
events.ndjson    the events of the run that was flown
reruns.ndjson    the events of the runs made aside from it
actions.ndjson   who did what
README.txt       this list, for whoever opens the file in years to come
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from spinfloor.core.caution import CAUTION
from spinfloor.core.errors import SpinfloorError
from spinfloor.ports.sorties import SortieKind

FORMAT: Final = "spinfloor sortie"
VERSION: Final = 1
MEDIA_TYPE: Final = "application/zip"
MANIFEST: Final = "manifest.json"
PLAN: Final = "plan.json"
SETTINGS: Final = "settings.json"
BELIEFS: Final = "beliefs.json"
NOTES: Final = "notes.json"
INPUTS: Final = "inputs.ndjson"
FRAMES: Final = "frames.parquet"
EVENTS: Final = "events.ndjson"
RERUNS: Final = "reruns.ndjson"
ACTIONS: Final = "actions.ndjson"
README: Final = "README.txt"
PARTS: Final = (PLAN, SETTINGS, BELIEFS, NOTES, INPUTS, FRAMES, EVENTS, RERUNS, ACTIONS, README)

MANIFEST_BYTES: Final = 1 << 20
PART_BYTES: Final = 4 << 30  # a day of frames at 200 Hz takes about 2.7 GiB before compression
SMALL_BYTES: Final = 64 << 20  # of the parts that are read as a whole: plan, beliefs, notes

README_TEXT: Final = f"""A sortie of the spin-test watch spinfloor, complete enough to make its events again.

{__doc__.split(chr(10), 2)[2]}
Times are nanoseconds since 1970 UTC as the source told them. frames.parquet has one row per frame; the unit and the
meaning of each column are in its metadata, missing values are null. Read it with any Parquet library. A line of
inputs.ndjson of kind "frames" stands for the next `rows` rows. To have the events made again and compared:
spinfloor archive import FILE --to SERVICE.

{CAUTION}
"""


class ArchiveError(SpinfloorError):
    """A file that is no archive of a sortie, or a damaged one."""

    code = "bad-archive"
    http_status = 422


class ArchiveMissingError(SpinfloorError):
    """A file that cannot be opened."""

    code = "no-such-archive"
    http_status = 404


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class PartFacts(_Part):
    """Size and checksum of one part."""

    bytes: Annotated[int, Field(ge=0, le=PART_BYTES)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Manifest(_Part):
    """complete: no input came while the archive was written, so `events` is all the detector said."""

    format: Literal["spinfloor sortie"]
    version: Literal[1]
    sortie: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
    kind: Annotated[SortieKind, Field(strict=False)]
    aircraft: Annotated[str, Field(min_length=1, max_length=80)]
    created_ns: Annotated[int, Field(ge=0, lt=2**63)]
    belief_version: Annotated[int, Field(ge=0, lt=2**31)]
    run: Annotated[str, Field(min_length=1, max_length=120)] | None
    reruns: list[Annotated[str, Field(min_length=1, max_length=120)]]
    inputs: Annotated[int, Field(ge=0)]
    frames: Annotated[int, Field(ge=0)]
    events: Annotated[int, Field(ge=0)]
    complete: bool
    made_with: dict[str, str]
    caution: str
    parts: dict[str, PartFacts]


def damaged(why: str) -> ArchiveError:
    """The one error for everything that may be wrong with the bytes."""
    return ArchiveError(
        expected="the whole, undamaged archive of a sortie", got=f"a file in which {why}", now="nothing was imported"
    )


def manifest_of(data: bytes) -> Manifest:
    """The checked manifest. Raises ArchiveError."""
    try:
        manifest = Manifest.model_validate_json(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "it as a whole"
        raise damaged(f"the manifest is wrong at {where} ({first['msg']})"[:300]) from error
    if set(manifest.parts) != set(PARTS):
        raise damaged("the manifest does not list the parts of an archive")
    return manifest
