"""One sortie as one file: a zip of open formats with a manifest of checksums."""

from spinfloor.adapters.sortie_file.layout import ArchiveError, Manifest
from spinfloor.adapters.sortie_file.read import SortieFile, open_archive
from spinfloor.adapters.sortie_file.write import ArchiveWriter

__all__ = ["ArchiveError", "ArchiveWriter", "Manifest", "SortieFile", "open_archive"]
