"""The one family of errors that telltick raises on purpose.

Every message is a sentence that says what happened, to what, and what to do. The command line prints it on
one line and leaves with `exit_code`.
"""

from __future__ import annotations


class TelltickError(Exception):
    """Something went wrong that the user should read about (exit code 1)."""

    exit_code = 1


class BadInputError(TelltickError):
    """What the user gave cannot be used: a file, an option, a device name (exit code 2)."""

    exit_code = 2


class BadSessionError(BadInputError):
    """A folder is not a session, is damaged, or was written by a newer schema."""


class SessionBusyError(BadInputError):
    """Another recorder owns the session."""


class DeviceError(BadInputError):
    """A sound input or serial port is missing, taken, or refuses the settings."""


class StorageError(TelltickError):
    """The disk refused a write."""


class JournalLockedError(StorageError):
    """Another program kept the journal locked for too long."""


class CancelledError(TelltickError):
    """The user gave up waiting; nothing was written."""
