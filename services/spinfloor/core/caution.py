"""The standing caution, in the same words wherever it is given: help, API, archives."""

from typing import Final

CAUTION: Final = (
    "spinfloor advises. The crew, the test conductor and the approved test plan decide; "
    "the operator's procedures and the applicable regulations come first."
)
