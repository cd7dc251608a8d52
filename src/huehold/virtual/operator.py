"""A person who titrates by eye: squirts first, slows down, waits for the colour to go back.

The person sees how far the colour has turned, with an unsteady eye, and knows nothing of the
chemistry. What comes out is what was added and when, what the balance showed, and when hands
were in view.

The figures of this module (how long a person waits, how often a cup is swirled or knocked, how
unsteady an eye or a pocket balance is) are invented so that runs look like a person's: common
practice, no source. Nobody was measured; studies vary them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Any, Literal

import numpy as np

from huehold.core import Reading
from huehold.errors import InputError
from huehold.virtual.checks import demand_finite
from huehold.virtual.truth import Addition, Disturbance

__all__ = ["Balance", "Hand", "Operator", "brisk_operator", "careless_operator"]


@dataclass(frozen=True, slots=True)
class Balance:
    """A pocket balance under the cup.

    Attributes
    ----------
    readability_g : float
        Step of the display, > 0.
    noise_g : float
        Standard deviation before rounding, >= 0.
    gain : float
        Reading over true mass, > 0.
    drift_g_per_min : float
        Slow creep of the zero, either sign.
    """

    readability_g: float = 0.01
    noise_g: float = 0.003
    gain: float = 1.0
    drift_g_per_min: float = 0.0

    def __post_init__(self) -> None:
        demand_finite("balance", self)
        if self.readability_g <= 0.0 or self.noise_g < 0.0 or self.gain <= 0.0:
            raise InputError(
                f"A balance with steps of {self.readability_g} g, noise {self.noise_g} g and gain "
                f"{self.gain} makes no sense; steps and gain must be positive."
            )

    def show(self, mass_g: float, time_s: float, rng: np.random.Generator) -> float:
        """Tell the reading of a true mass, rounded to the display's step."""
        value = self.gain * mass_g + self.drift_g_per_min * time_s / 60.0
        value += self.noise_g * float(rng.standard_normal())
        return round(round(value / self.readability_g) * self.readability_g, 6)


@dataclass(frozen=True, slots=True)
class Operator:
    """How a person titrates; all defaults are invented (common practice, no source).

    Attributes
    ----------
    start_s : float
        Quiet time before the first portion, >= 0.
    likes_s : float
        The largest portion is taken that should go back within this time, judged by how long
        the last one took for its size; else a single drop, > 0.
    few : int
        Drops in a few, the portion between squirt and drop, >= 1.
    mixing_s : float
        Time allowed for a portion to mix before the colour is judged, >= 0.
    reaction_s : float
        Median time from seeing the colour back to the next portion, > 0.
    patience_s : float
        How long the end colour must stand before the person is done, > 0.
    tail_s : float
        Filming after that, >= 0.
    eye_sd : float
        Unsteadiness of one look, on the scale from start colour 0 to end colour 1.
    green_from : float
        How far the colour must have turned to be called the end colour, 0 to 1.
    eye_s : float
        Time over which looks are averaged, > 0.
    hasty : float
        Chance that a portion comes before the colour has gone back.
    reckless : float
        Chance at each portion that a squirt comes where drops were due.
    swirls : float
        Chance that the cup is swirled after a portion.
    swirl_s : float
        How long, > 0.
    knocks_per_min, waves_per_min : float
        Knocks against the cup, and hands passing through the view without a portion.
    reads : float
        Chance that the balance is read after a portion; the last one is always read.
    balance : Balance
        What it is read on.
    stop_g, stop_s : float or None
        Give up after that much titrant or time.
    longest_s : float
        No run is longer, > 0.
    """

    start_s: float = 6.0
    likes_s: float = 9.0
    few: int = 3
    mixing_s: float = 3.0
    reaction_s: float = 2.2
    patience_s: float = 70.0
    tail_s: float = 4.0
    eye_sd: float = 0.08
    green_from: float = 0.6
    eye_s: float = 1.2
    hasty: float = 0.0
    reckless: float = 0.0
    swirls: float = 0.8
    swirl_s: float = 2.5
    knocks_per_min: float = 0.0
    waves_per_min: float = 0.05
    reads: float = 1.0
    balance: Balance = field(default_factory=Balance)
    stop_g: float | None = None
    stop_s: float | None = None
    longest_s: float = 2400.0

    def __post_init__(self) -> None:
        demand_finite("operator", self)
        for name in ("likes_s", "reaction_s", "patience_s", "eye_s", "swirl_s", "longest_s", "few"):
            if not getattr(self, name) > 0:
                raise InputError(
                    f"The operator's {name} is {getattr(self, name)}; it must be greater than 0."
                )
        for name in ("green_from", "hasty", "reckless", "swirls", "reads"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise InputError(
                    f"The operator's {name} is {getattr(self, name)}; a share is 0 to 1."
                )
        for name in ("start_s", "mixing_s", "tail_s", "eye_sd", "knocks_per_min", "waves_per_min"):
            if getattr(self, name) < 0.0:
                raise InputError(
                    f"The operator's {name} is {getattr(self, name)}; it cannot be negative."
                )

    def plain(self) -> dict[str, Any]:
        """All settings as plain values."""
        values = {part.name: getattr(self, part.name) for part in fields(self)}
        values["balance"] = {p.name: getattr(self.balance, p.name) for p in fields(self.balance)}
        return values


def brisk_operator(hold_s: float = 20.0) -> Operator:
    """Set up a quick person for brisk benches, who waits a little longer than a hold."""
    return Operator(
        start_s=4.0,
        likes_s=2.8,
        mixing_s=1.8,
        reaction_s=0.8,
        swirl_s=1.2,
        patience_s=hold_s + 6.0,
        tail_s=2.0,
        waves_per_min=0.0,
    )


def careless_operator() -> Operator:
    """Set up a person who often does not wait, and sometimes squirts where drops were due.

    The chances are invented.
    """
    return Operator(hasty=0.12, reckless=0.04, eye_sd=0.15, swirls=0.5, reads=0.8, patience_s=65.0)


Portion = Literal["squirt", "few", "drop"]


class Hand:
    """An operator at work: asked again and again what to do, given what is seen.

    Parameters
    ----------
    operator : Operator
        How the person works.
    drop_g, drop_sd_g, squirt_g, squirt_sd_g : float
        The dropper.
    rng : numpy.random.Generator
        Everything random.
    """

    def __init__(
        self,
        operator: Operator,
        drop: tuple[float, float],
        squirt: tuple[float, float],
        rng: np.random.Generator,
    ) -> None:
        self.operator = operator
        self.additions: list[Addition] = []
        self.readings: list[Reading] = []
        self.disturbances: list[Disturbance] = []
        self._drop, self._squirt, self._rng = drop, squirt, rng
        self._next_s: float | None = operator.start_s
        self._due: list[tuple[float, float, Literal["squirt", "drop"]]] = []
        self._turned_since: float | None = None
        self._faded_s = 0.0
        self._portion_g = 1.0
        self._last_s = 0.0
        self._read_s: float | None = None
        self._done_s: float | None = None
        self._seen = 0.0
        self._looked_s = 0.0

    @property
    def added_g(self) -> float:
        """Titrant added so far."""
        return sum(a.mass_g for a in self.additions)

    def act(self, time_s: float, turned: float, on_balance_g: float) -> list[Addition]:
        """Look, decide, do.

        Parameters
        ----------
        time_s : float
            Now; never goes back.
        turned : float
            How far the colour has turned, start 0 to end 1.
        on_balance_g : float
            True mass gained by the cup since the start.

        Returns
        -------
        list of Addition
            Portions that fall now.
        """
        self._look(time_s, turned)
        if self._done_s is None:
            self._judge(time_s, self._seen > self.operator.green_from)
            if self._next_s is not None and time_s >= self._next_s:
                self._begin(time_s)
        fallen = self._fall(time_s)
        if self._read_s is not None and time_s >= self._read_s:
            self._read_s = None
            self._read(time_s, on_balance_g)
        return fallen

    def _look(self, time_s: float, turned: float) -> None:
        """Average noisy looks with a memory of `eye_s`."""
        seen = turned + self.operator.eye_sd * float(self._rng.standard_normal())
        weight = -math.expm1(-(time_s - self._looked_s) / self.operator.eye_s)
        self._seen += weight * (seen - self._seen)
        self._looked_s = time_s

    def finished(self, time_s: float) -> bool:
        """Whether filming is over."""
        longest = time_s >= self.operator.longest_s
        return longest or (self._done_s is not None and time_s >= self._done_s)

    def read_last(self, time_s: float, on_balance_g: float) -> None:
        """Read the balance once more at the end if the last portion was not read."""
        if self.additions and (
            not self.readings or self.readings[-1].time_s < self.additions[-1].time_s
        ):
            self._read(time_s, on_balance_g)

    def _read(self, time_s: float, on_balance_g: float) -> None:
        shown = self.operator.balance.show(on_balance_g, time_s, self._rng)
        self.readings.append(Reading(round(time_s, 3), shown, "balance"))

    def _judge(self, time_s: float, turned: bool) -> None:
        """Note whether the colour stands; plan the next portion when it has gone back."""
        who = self.operator
        gave_up = (who.stop_s is not None and time_s >= who.stop_s) or (
            who.stop_g is not None and self.added_g >= who.stop_g
        )
        if gave_up and not self._due:
            self._done_s, self._next_s = time_s + who.tail_s, None
            return
        if not turned:
            self._turned_since = None
            if self._next_s is None and not self._due and time_s > self._last_s + who.mixing_s:
                self._faded_s = time_s - self._last_s
                self._next_s = time_s + self._pause()
            return
        if self._turned_since is None:
            self._turned_since = time_s
        waited = time_s - max(self._turned_since, self._last_s)
        if self.additions and self._next_s is None and waited >= who.patience_s:
            self._done_s = time_s + who.tail_s

    def _pause(self) -> float:
        return float(self.operator.reaction_s * np.exp(0.4 * self._rng.standard_normal()))

    def _size(self) -> Portion:
        who = self.operator
        if self._rng.random() < who.reckless:
            return "squirt"
        per_gram = self._faded_s / self._portion_g
        if per_gram * self._squirt[0] <= who.likes_s:
            return "squirt"
        return "few" if per_gram * who.few * self._drop[0] <= who.likes_s else "drop"

    def _begin(self, time_s: float) -> None:
        """Bring the dropper over the cup and let a portion fall in a moment."""
        size = self._size()
        lead = float(self._rng.uniform(0.6, 1.1))
        falls: list[tuple[float, float, Literal["squirt", "drop"]]]
        if size == "squirt":
            falls = [(time_s + lead, self._mass(self._squirt), "squirt")]
        else:
            count = self.operator.few if size == "few" else 1
            gaps = np.cumsum(self._rng.uniform(0.35, 0.6, count)) - 0.35
            falls = [(time_s + lead + float(g), self._mass(self._drop), "drop") for g in gaps]
        self._due = falls
        self._last_s = falls[-1][0]
        self._portion_g = sum(mass for _, mass, _ in falls)
        self._next_s = None
        self._turned_since = None
        self._after(time_s)

    def _mass(self, dropper: tuple[float, float]) -> float:
        mean, sd = dropper
        return float(np.clip(self._rng.normal(mean, sd), 0.3 * mean, 2.0 * mean))

    def _after(self, began_s: float) -> None:
        """Plan what follows a portion: swirl, reading, perhaps too early a next one."""
        who, last = self.operator, self._last_s
        away = last + float(self._rng.uniform(0.4, 0.9))
        self._disturb(began_s, away, "dropper")
        settled = away
        if self._rng.random() < who.swirls:
            settled = away + 0.3 + who.swirl_s * float(self._rng.uniform(0.7, 1.3))
            self._disturb(away + 0.3, settled, "swirl")
        if self._rng.random() < who.reads:
            self._read_s = settled + 0.5
        if self._rng.random() < who.hasty:
            self._next_s = settled + self._pause()

    def _disturb(
        self, start_s: float, end_s: float, kind: Literal["dropper", "swirl", "knock", "wave"]
    ) -> None:
        self.disturbances.append(Disturbance(round(start_s, 3), round(end_s, 3), kind))

    def _fall(self, time_s: float) -> list[Addition]:
        now = [d for d in self._due if d[0] <= time_s]
        if not now:
            return []
        self._due = [d for d in self._due if d[0] > time_s]
        place = 0.35 * self._rng.standard_normal((len(now), 2))
        fallen = [
            Addition(round(time_s, 3), mass, kind, *np.clip(xy, -0.7, 0.7).round(3).tolist())
            for (_, mass, kind), xy in zip(now, place, strict=True)
        ]
        self.additions += fallen
        return fallen

    def scatter_mishaps(self, duration_s: float) -> None:
        """Spread knocks and passing hands over a run that is over."""
        for rate, kind, length in (
            (self.operator.knocks_per_min, "knock", 0.8),
            (self.operator.waves_per_min, "wave", 1.6),
        ):
            for start in self._rng.uniform(
                0.0, duration_s, self._rng.poisson(rate * duration_s / 60.0)
            ):
                end = min(start + length, duration_s)
                self._disturb(float(start), float(end), "knock" if kind == "knock" else "wave")
        self.disturbances.sort(key=lambda d: d.start_s)
