"""Runs kept on disk, crash-safe: one SQLite file, committed at least once a second."""

from huehold.notebook.records import MassEntry, Note, RunRecord
from huehold.notebook.store import Notebook, default_path

__all__ = ["MassEntry", "Note", "Notebook", "RunRecord", "default_path"]
