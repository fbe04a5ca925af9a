"""Taking frames in: decode into columns, check row by row, journal, acknowledge."""
