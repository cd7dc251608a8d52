"""Sounds that tell what happens, each with a visible twin: synthesised here, played anywhere."""

from huehold.cues.tones import CUES, Cue, Note, cue_for, in_order, samples

__all__ = ["CUES", "Cue", "Note", "cue_for", "in_order", "samples"]
