"""Taking frames in: decoding, checking, putting on disk, acknowledging."""
