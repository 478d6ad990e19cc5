"""The HDF5 recording: schema, reader, writer, verify, repair."""

from thermview.recording.footage import RecordedFootage
from thermview.recording.generic import open_hdf5
from thermview.recording.reader import open_recording
from thermview.recording.writer import Writer

__all__ = ["RecordedFootage", "Writer", "open_hdf5", "open_recording"]
