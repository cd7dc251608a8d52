"""The live loop around a session: newest frames in, moments out, all of it kept."""

from huehold.watching.moment import Listener, Moment
from huehold.watching.watch import LIVE_RATE_HZ, Watch

__all__ = ["LIVE_RATE_HZ", "Listener", "Moment", "Watch"]
