"""What `huehold watch` does with its options: source, notebook, page or terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from huehold.calibration.model import Calibration
from huehold.capture.live import LiveSource
from huehold.cli.keeping_up import KeepingUp
from huehold.cli.masses import MassOptions, mass_inputs
from huehold.cli.options import calibrations_of, vessel_of, white_of
from huehold.core import Frame, SourceInfo
from huehold.cues.player import Player, SoundError
from huehold.errors import HueholdError, UsageError
from huehold.masses import MassInputs
from huehold.methods import Method, load_method
from huehold.notebook import Notebook, RunRecord
from huehold.past_runs import calibration_record
from huehold.report.files import check_place
from huehold.report.result import result_dict
from huehold.run import Run, Settings
from huehold.session import Session
from huehold.watching import LIVE_RATE_HZ, Listener, Moment, Watch

__all__ = ["watch_command"]


@dataclass(frozen=True)
class _Plan:
    """Everything a new run needs."""

    method: Method
    settings: Settings
    inputs: MassInputs | None
    calibrations: tuple[Calibration, ...]
    notebook: Notebook
    title: str
    open_source: Callable[[], LiveSource]
    speed: float = 1.0

    @property
    def chosen(self) -> tuple[str, ...]:
        """What was asked for that a run cannot take over when it goes on."""
        said = {
            "--hold": self.settings.hold_s,
            "--vessel": self.settings.vessel,
            "--white": self.settings.white,
            "--title": self.title,
            "the masses": self.inputs,
        }
        return tuple(name for name, value in said.items() if value)


def watch_command(
    *,
    camera: str | None,
    backend: str | None,
    size: str,
    rate_hz: float,
    lock: bool,
    stream: str | None,
    play: Path | None,
    speed: float,
    browser: bool,
    phone: bool,
    lan: bool,
    list_them: Path | None,
    method: str,
    hold_s: float | None,
    masses: MassOptions,
    calibrations: tuple[str, ...],
    vessel: tuple[float, ...] | None,
    white: tuple[float, ...] | None,
    notebook_file: Path | None,
    title: str,
    resume: bool | None,
    record: Path | None,
    record_limit: int,
    page: bool,
    port: int,
    open_browser: bool,
    sound: bool,
    volume: float,
) -> int:
    """Do what `huehold watch` was asked to; return the exit code."""
    if list_them is not None:
        return _list_cameras(list_them, backend)
    pushed = browser or phone
    if pushed and not page:
        raise UsageError("A browser as the camera needs the page; leave out --no-page.")
    choice = _Choice(camera, backend, size, rate_hz, lock, stream, play, speed, pushed)
    chosen = load_method(method)
    settings = Settings(hold_s, vessel_of(vessel), white_of(white), LIVE_RATE_HZ)
    with ExitStack() as stack:
        notebook = stack.enter_context(Notebook(notebook_file))
        inputs = mass_inputs(chosen, masses)
        measured = calibrations_of(calibrations)
        plan = _Plan(chosen, settings, inputs, measured, notebook, title, choice.opener(), speed)
        listeners = [*_loudspeaker(stack, sound, volume)]
        if record is not None:
            listeners.append(_recorder(stack, record, record_limit))
        first = _talking(_resumed(plan, resume) or new_watch(plan))
        if not page:
            from huehold.cli.terminal import run_in_terminal

            return run_in_terminal(first, listeners)
        return _run_page(plan, first, listeners, port, phone or lan, open_browser, phone)


@dataclass(frozen=True)
class _Choice:
    """Which source was asked for."""

    camera: str | None
    backend: str | None
    size: str
    rate_hz: float
    lock: bool
    stream: str | None
    play: Path | None
    speed: float
    pushed: bool

    def opener(self) -> Callable[[], LiveSource]:
        """Return what opens the source; exactly one must have been asked for."""
        asked = [self.camera is not None, self.stream is not None, self.play is not None]
        if sum((*asked, self.pushed)) != 1:
            raise UsageError(
                "Name one camera: --camera N, --stream URL, --browser, --phone, or --play FILE. "
                "`huehold watch --list-cameras` shows this computer's cameras."
            )
        if self.pushed:
            return _open_pushed
        if self.camera is not None:
            return self._camera_opener(self.camera)
        if self.stream is not None:
            return self._stream_opener(self.stream)
        assert self.play is not None
        return self._play_opener(self.play)

    def _camera_opener(self, name: str) -> Callable[[], LiveSource]:
        from huehold.capture.camera import CameraDevice, camera_source, default_backend
        from huehold.capture.live import DeviceReader

        index, info = camera_source(name)
        width_px, height_px = _size(self.size)
        backend = self.backend or default_backend()

        def open_source() -> DeviceReader:
            """Read the camera; each time it is opened, what its driver says of locks is noted."""

            def open_device() -> CameraDevice:
                """Open the camera and lock what it lets lock."""
                device = CameraDevice(
                    index, backend, width_px=width_px, height_px=height_px, rate_hz=self.rate_hz
                )
                if self.lock:
                    reader.locks.update(device.lock().by_name())
                    said = ", ".join(f"{name} {how}" for name, how in reader.locks.items())
                    click.echo(f"Camera {index}: {said} (as its driver says).", err=True)
                return device

            reader = DeviceReader(open_device, info)
            return reader

        return open_source

    @staticmethod
    def _stream_opener(address: str) -> Callable[[], LiveSource]:
        from huehold.capture.live import DeviceReader
        from huehold.capture.stream import check_address, hide_password, open_stream

        check_address(address)
        info = SourceInfo(hide_password(address), 0, 0)
        return lambda: DeviceReader(lambda: open_stream(address), info)

    def _play_opener(self, path: Path) -> Callable[[], LiveSource]:
        from huehold.capture.playback import play_recording

        return lambda: play_recording(path, speed=self.speed)


def _open_pushed() -> LiveSource:
    from huehold.capture.browser import BrowserSource

    return BrowserSource()


def _size(text: str) -> tuple[int, int]:
    parts = text.lower().split("x")
    if len(parts) != 2 or not all(part.isdigit() and 0 < int(part) < 10000 for part in parts):
        raise UsageError(f"{text!r} is no picture size; write it like 1280x720.")
    return int(parts[0]), int(parts[1])


def new_watch(plan: _Plan) -> Watch:
    """Open the source and begin a run in the notebook; not yet started."""
    source = plan.open_source()
    device = source.info.detail.get("device", "")
    run_id = plan.notebook.begin(
        method=plan.method.model_dump_json(by_alias=True),
        settings=_plain(plan.settings),
        source={"name": source.info.name, "scale": source.scale, "device": device},
        title=plan.title,
        calibrations=[calibration_record(known) for known in plan.calibrations],
    )
    watch = Watch(
        source,
        Session(
            plan.method,
            plan.settings,
            scale=source.scale,
            calibrations=plan.calibrations,
            device=device,
        ),
        notebook=plan.notebook,
        run_id=run_id,
        summarise=result_dict,
    )
    if plan.inputs is not None:
        watch.set_inputs(plan.inputs)
    if plan.speed > 1.0:
        watch.listen(KeepingUp(source, plan.speed))
    return watch


def _talking(watch: Watch) -> Watch:
    """Have warnings said in the terminal as they come, and why the run ended if it failed."""
    said: set[str] = set()

    def tell(*_: object) -> None:
        """Say what was not said before."""
        failed = [str(watch.error)] if watch.error is not None else []
        for sentence in (*watch.source.warnings, *watch.warnings, *failed):
            if sentence not in said:
                said.add(sentence)
                click.echo(f"huehold: {sentence}", err=True)

    watch.listen(tell)
    watch.when_over(tell)
    return watch


def _plain(settings: Settings) -> dict[str, object]:
    return {name: value for name, value in asdict(settings).items() if value is not None}


def _resumed(plan: _Plan, wanted: bool | None) -> Watch | None:
    """Go on with the newest run that was cut off within the last hour, if the user wants to."""
    from huehold.past_runs import cut_off_run, method_of, resume_watch

    record = cut_off_run(plan.notebook)
    if record is None or wanted is False:
        return None
    if wanted is None and not _asked(record):
        return None
    if method_of(record).name != plan.method.name:
        raise UsageError(
            f"The run that was cut off used the method {method_of(record).name}; start with "
            "that, or with --no-resume."
        )
    if plan.chosen:
        raise UsageError(
            f"The run that was cut off goes on as it was begun: leave {', '.join(plan.chosen)} "
            "out, or start a new one with --no-resume."
        )
    return resume_watch(plan.notebook, record, plan.open_source(), summarise=result_dict)


def _asked(record: RunRecord) -> bool:
    if sys.stdin is None or not sys.stdin.isatty():
        return False
    name = record.title or f"run {record.id}"
    return click.confirm(
        f"{name}, begun {record.started_at}, was cut off. Go on with it?", err=True
    )


def _loudspeaker(stack: ExitStack, sound: bool, volume: float) -> list[Listener]:
    if not sound:
        return []
    try:
        player = stack.enter_context(Player(volume))
    except SoundError as error:
        click.echo(f"huehold: {error}", err=True)
        return []

    def play(moment: Moment, frame: Frame | None) -> None:
        """Play a moment's cues."""
        for cue in moment.cues:
            player.play(cue)

    return [play]


def _recorder(stack: ExitStack, path: Path, limit_mb: int) -> Listener:
    from huehold.capture.writing import FrameWriter

    if path.suffix.lower() != ".mkv":
        raise UsageError(f"{path}: a live recording goes to .mkv, which survives a crash.")
    if path.exists():
        raise UsageError(f"{path} exists already; name a new file for the recording.")
    check_place(path)
    writer = stack.enter_context(FrameWriter(path, most_bytes=limit_mb << 20, live=True))
    failed = False

    def write(moment: Moment, frame: Frame | None) -> None:
        """Write a frame, until it fails once."""
        nonlocal failed
        if frame is None or failed:
            return
        try:
            writer.write(frame)
        except HueholdError as error:
            failed = True
            click.echo(f"huehold: {error} The run goes on without a recording.", err=True)

    return write


def _run_page(
    plan: _Plan,
    first: Watch,
    listeners: list[Listener],
    port: int,
    lan: bool,
    open_browser: bool,
    phone: bool,
) -> int:
    from huehold.page.desk import Desk
    from huehold.page.serve import PageServer

    desk = Desk(lambda: _talking(new_watch(plan)), plan.notebook, first, tuple(listeners))
    try:
        server = PageServer(desk, port=port, lan=lan)
        click.echo(f"The page: {server.address}", err=True)
        if phone and server.lan_address is not None:
            _show_phone(server.lan_address + "/enter#" + server.keys.new_token("phone"))
        click.echo("Ctrl-C ends the run and keeps it.", err=True)
        server.run(open_browser=open_browser, tell=lambda told: click.echo(told, err=True))
    finally:
        desk.close()
    return _leave(desk.watch)


def _show_phone(link: str) -> None:
    import segno

    click.echo(f"For the phone, once: {link}", err=True)
    segno.make(link, error="m").terminal(sys.stderr, compact=True)
    click.echo("The phone warns of an unknown certificate; it was made just now, here.", err=True)


def _leave(watch: Watch) -> int:
    run: Run | None = watch.finished
    if run is not None:
        from huehold.report.card import print_card

        print_card(run)
    from huehold.cli.terminal import ended

    return ended(watch)


def _list_cameras(folder: Path, backend: str | None) -> int:
    from huehold.capture.camera import list_cameras
    from huehold.recorder import thumbnail

    found = list_cameras(backend=backend)
    if not found:
        click.echo("No camera gives a picture. Plug one in, or use --phone.")
    for camera in found:
        line = f"camera {camera.index}: {camera.width_px}x{camera.height_px} by {camera.backend}"
        if folder != Path():
            folder.mkdir(parents=True, exist_ok=True)
            path = folder / f"camera-{camera.index}.jpg"
            path.write_bytes(thumbnail(camera.picture, 640))
            line += f", seen in {path}"
        click.echo(line)
    return 0
