"""Frames and what they come with: scale, time, scene, supply log, marks; sources and sinks."""

from thermview.frames.frame import Counts, Frame, FrameFlag, Scale
from thermview.frames.info import Mark, MarkKind, Scene, SourceInfo, SupplyLog, SupplySample
from thermview.frames.over import FootageOver
from thermview.frames.protocols import Footage, FrameSource, Sink, SupplyFeed

__all__ = [
    "Counts",
    "Footage",
    "FootageOver",
    "Frame",
    "FrameFlag",
    "FrameSource",
    "Mark",
    "MarkKind",
    "Scale",
    "Scene",
    "Sink",
    "SourceInfo",
    "SupplyFeed",
    "SupplyLog",
    "SupplySample",
]
