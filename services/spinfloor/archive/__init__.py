"""After the flight: exports, sortie archives, reprocessing, reports."""
