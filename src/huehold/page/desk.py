"""What the page steers: the present run, and the runs of the notebook."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from huehold.capture.browser import BrowserSource
from huehold.errors import HueholdError, UsageError
from huehold.masses import MassInputs
from huehold.notebook import Notebook
from huehold.page.hub import Hub
from huehold.page.messages import (
    cue_values,
    event_values,
    mass_values,
    moment_values,
    trace_values,
)
from huehold.run import Run
from huehold.watching import Watch

__all__ = ["Desk"]


class Desk:
    """The present run and what may be done to it.

    Parameters
    ----------
    new_watch : callable
        Makes the watch of a new run, not yet started.
    notebook : Notebook
        Where runs are kept.
    on_moment : sequence of callable
        Further listeners for every run, such as the loudspeaker.
    """

    def __init__(
        self,
        new_watch: Callable[[], Watch],
        notebook: Notebook,
        first: Watch | None = None,
        on_moment: tuple[Callable[..., None], ...] = (),
    ) -> None:
        self.hub = Hub()
        self.notebook = notebook
        self._new_watch = new_watch
        self._listeners = (self.hub.moment, *on_moment)
        self._lock = threading.Lock()
        self.watch = self._begin(first or new_watch())

    def _begin(self, watch: Watch) -> Watch:
        for listener in self._listeners:
            watch.listen(listener)
        return watch.start()

    def new_run(self) -> Watch:
        """End the present run and begin another.

        Raises
        ------
        HueholdError
            If the camera cannot be had.
        """
        with self._lock:
            if self.watch.finished is None:
                self.watch.finish()
            self.watch = self._begin(self._new_watch())
        self.hub.say(self.hello())
        return self.watch

    def finish(self) -> Run:
        """End the present run.

        Raises
        ------
        HueholdError
            If nothing was seen, or the masses make no sense.
        """
        with self._lock:
            run = self.watch.finish()
        if self.watch.error is not None and run is None:
            raise self.watch.error
        if run is None:
            raise UsageError("Nothing has been seen yet, so there is no run to finish.")
        self.hub.say(self.finished_values())
        return run

    @property
    def phone(self) -> BrowserSource | None:
        """The source that takes pictures pushed by a page, if the run has one."""
        source = self.watch.source
        return source if isinstance(source, BrowserSource) else None

    def hello(self) -> dict[str, Any]:
        """Return all a page needs to draw the run from nothing."""
        watch = self.watch
        session, moment = watch.session, watch.moment
        return {
            "type": "hello",
            "run_id": watch.run_id,
            "method": _method_values(watch),
            "source": {
                "name": watch.source.info.name,
                "width_px": watch.source.info.width_px,
                "height_px": watch.source.info.height_px,
                "pushed": self.phone is not None,
            },
            "hold_s": session.detector.settings.hold_s,
            "trace": trace_values(session.trace()),
            "events": [event_values(event) for event in session.detector.events],
            "masses": [mass_values(entry) for entry in watch.masses],
            "inputs": watch.inputs.as_mapping(),
            "input_fields": MassInputs.fields(),
            "moment": moment_values(moment) if moment is not None else None,
            "cues": cue_values(),
            "warnings": [*watch.source.warnings, *watch.warnings],
            "finished": self.finished_values() if watch.finished is not None else None,
        }

    def finished_values(self) -> dict[str, Any]:
        """Return the finished run's verdict and result for the page."""
        from huehold.report.assay_view import view_assay

        run = self.watch.finished
        assert run is not None
        assay = view_assay(run.assay)
        return {
            "type": "finished",
            "run_id": self.watch.run_id,
            "verdict": run.verdict.kind,
            "reasons": list(run.verdict.reasons),
            "warnings": list(run.warnings),
            "lines": [list(line) for line in assay.lines] if assay else [],
            "decision": assay.decision if assay else "",
            "working_html": assay.working_html if assay else "",
        }

    def say_masses(self) -> None:
        """Tell every page the masses as they stand."""
        entries = [mass_values(entry) for entry in self.watch.masses]
        self.hub.say({"type": "masses", "masses": entries})

    def close(self) -> None:
        """End the present run, keeping what there is."""
        if self.watch.finished is None:
            try:
                self.watch.finish()
            except HueholdError as error:
                self.watch.warnings.append(str(error))


def _method_values(watch: Watch) -> dict[str, Any]:
    method = watch.session.method
    return {
        "name": method.name,
        "title": method.title,
        "start": method.indicator.start.name,
        "end": method.indicator.end.name,
        "sample": method.sample.name,
        "titrant": method.titrant.name,
        "cautions": list(method.cautions),
    }
