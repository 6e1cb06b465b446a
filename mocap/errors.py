"""The errors this package raises on purpose; each message is one line that says what, where and what to do.

MocapError                  base: the command line prints it and exits with status 2
├── InputError              a file or folder cannot be read, or holds too little to work with
├── OptionError             a value the user gave is out of range or contradicts another
├── DetectionError          a moment that everything else hangs on (foot-plant) is not in the recording
├── OutputError             results cannot be written, or would replace older ones
└── RenderError             this machine cannot draw (no OpenGL library, no video encoder)
"""

from __future__ import annotations


class MocapError(Exception):
    """Base of every error raised on purpose by this package."""


class InputError(MocapError):
    """A recording, session or table cannot be read, or holds too little to work with."""


class OptionError(MocapError):
    """A value given by the user is out of range or contradicts another one."""


class DetectionError(MocapError):
    """A moment that everything else hangs on was not found in the recording."""


class OutputError(MocapError):
    """Results cannot be written, or would silently replace older ones."""


class RenderError(MocapError):
    """The machine cannot draw or encode."""
