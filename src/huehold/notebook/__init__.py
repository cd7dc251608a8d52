"""Runs kept on disk, crash-safe: one SQLite file, committed at least once a second."""

from huehold.notebook.claims import Claim, is_claimed
from huehold.notebook.file import default_path
from huehold.notebook.records import MassEntry, Note, Outline, RunRecord
from huehold.notebook.store import Notebook

__all__ = [
    "Claim",
    "MassEntry",
    "Note",
    "Notebook",
    "Outline",
    "RunRecord",
    "default_path",
    "is_claimed",
]
