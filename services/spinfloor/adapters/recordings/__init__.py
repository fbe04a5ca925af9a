"""Recordings from disk: each format has its reader, all end in frames and a list of what could not be had."""

from spinfloor.adapters.recordings.read import read_recording
from spinfloor.adapters.recordings.recording import Note, Recording, RecordingError, RecordingMissingError

__all__ = ["Note", "Recording", "RecordingError", "RecordingMissingError", "read_recording"]
