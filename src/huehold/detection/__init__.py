"""Observations to events and the verdict, online."""

from huehold.detection.detector import Detector, Phase
from huehold.detection.forecast import Forecast
from huehold.detection.settings import DetectorSettings

__all__ = ["Detector", "DetectorSettings", "Forecast", "Phase"]
