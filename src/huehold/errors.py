"""The errors a user may meet: one clear sentence each, and an exit code."""


class HueholdError(Exception):
    """A problem told to the user in one sentence; the command line adds no traceback.

    The message says what is wrong, where, and what to do about it.
    """

    exit_code = 1


class UsageError(HueholdError):
    """The command or call was put together wrongly (exit code 2)."""

    exit_code = 2


class InputError(HueholdError):
    """An input cannot be read or makes no sense (exit code 3)."""

    exit_code = 3


class CameraLostError(HueholdError):
    """The camera or stream was lost and did not come back (exit code 4)."""

    exit_code = 4
