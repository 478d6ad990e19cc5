"""The HDF5 recording: schema, reader, writer, verify, repair."""

from thermview.recording.footage import RecordedFootage
from thermview.recording.generic import open_hdf5
from thermview.recording.reader import open_recording
from thermview.recording.repair import RepairSummary, repair
from thermview.recording.verify import verify
from thermview.recording.writer import Writer

__all__ = [
    "RecordedFootage",
    "RepairSummary",
    "Writer",
    "open_hdf5",
    "open_recording",
    "repair",
    "verify",
]
