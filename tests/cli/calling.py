"""Calling a command as a person does."""

from huehold.cli import run


def outcome(capsys, *arguments):
    """Run a command; return its exit code, standard output and standard error."""
    code = run(arguments)
    captured = capsys.readouterr()
    return code, captured.out, captured.err
