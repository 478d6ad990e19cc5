"""One tree of errors.

A library's error is translated once, where it enters. A message says what is wrong, with which
thing, the range allowed and the value got with its unit, and what to do about it.
"""

from __future__ import annotations


class ThermviewError(Exception):
    """Base of every error that the program raises on purpose.

    `exit_code` is what a command ends with when the error reaches its edge.
    """

    exit_code = 2


class UsageError(ThermviewError):
    """A setting or an argument is missing, unknown or out of its range."""


class InputError(ThermviewError):
    """A file cannot be used: missing, damaged, or not what it claims to be."""


class OutputError(ThermviewError):
    """A result cannot be written: it exists already, or the place refuses it."""


class SourceError(ThermviewError):
    """A frame source cannot be opened or read."""


class DeviceError(SourceError):
    """A camera or an instrument is missing, busy, not permitted, or gone."""

    exit_code = 3


class SourceLostError(DeviceError):
    """A source that was delivering frames is gone (unplugged, closed by its other end)."""


class SourceEndedError(SourceError):
    """A source has delivered its last frame. Not a fault."""


class CancelledError(ThermviewError):
    """The user stopped a long operation."""

    exit_code = 130
