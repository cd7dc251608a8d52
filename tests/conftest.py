"""Shared helpers: recordings of the virtual bench, rendered once and kept."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import huehold.virtual

_WAIT_S = 110.0
_MEDIA = Path(__file__).resolve().parent / "media"


@pytest.fixture(autouse=True, scope="session")
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the user's notebook and calibrations out of the tests, and the tests out of them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HUEHOLD_DATA", str(tmp_path_factory.mktemp("data")))
        yield


@dataclass(frozen=True)
class Rendered:
    """A rendered scenario: its recording, the truth about it, the masses."""

    preset: str
    recording: Path
    truth: Path
    masses: Path

    @property
    def facts(self) -> dict[str, Any]:
        """The truth file's content."""
        facts: dict[str, Any] = json.loads(self.truth.read_text(encoding="utf-8"))
        return facts


@pytest.fixture(scope="session")
def rendered(
    pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., Rendered]:
    """Render a preset, or take it from the cache: ``rendered("oblique", "seed=3")``.

    A preset as it stands lies ready in ``tests/media`` (see ``make.py`` there). Further arguments
    change settings; what they give is rendered and cached by the sources of the virtual bench, so
    a change there renders anew. Workers that want the same recording wait for each other.
    """
    keeper = getattr(pytestconfig, "cache", None)
    store = keeper.mkdir("rendered") if keeper else tmp_path_factory.mktemp("rendered")

    def render(preset: str, *settings: str) -> Rendered:
        if not settings and (kept := _kept(preset)) is not None:
            return kept
        key = hashlib.sha256("\n".join([_sources(), preset, *settings]).encode()).hexdigest()[:16]
        folder = store / f"{preset}-{key}"
        if not folder.is_dir():
            with _alone(store / f"{preset}-{key}.lock"):
                if not folder.is_dir():
                    _render(preset, settings, folder)
        return _found(preset, folder)

    return render


def _kept(preset: str) -> Rendered | None:
    truth = _MEDIA / f"{preset}.truth.json"
    videos = [p for p in _MEDIA.glob(f"{preset}.*") if p.suffix not in (".json", ".csv", ".py")]
    if not truth.is_file() or len(videos) != 1:
        return None
    return Rendered(preset, videos[0], truth, _MEDIA / f"{preset}.masses.csv")


@cache
def _sources() -> str:
    """Return a digest of everything the pictures depend on in the package."""
    digest = hashlib.sha256()
    root = Path(huehold.virtual.__file__).parent
    for path in sorted(root.rglob("*")):
        if path.suffix in (".py", ".toml", ".json"):
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


def _render(preset: str, settings: tuple[str, ...], folder: Path) -> None:
    from huehold.virtual.encode import recording_suffix
    from huehold.virtual.presets import load_preset
    from huehold.virtual.presets_settings import with_settings
    from huehold.virtual.simulate import simulate

    _forget_others(preset, folder)
    scenario = with_settings(load_preset(preset), settings)
    partial = folder.with_name(f"{folder.name}.{os.getpid()}.partial")
    partial.mkdir()
    simulate(scenario, partial / f"{preset}{recording_suffix(scenario.recording)}")
    partial.replace(folder)


def _forget_others(preset: str, folder: Path) -> None:
    """Remove recordings of this preset that are a day old: they belong to older sources."""
    for old in folder.parent.glob(f"{preset}-*"):
        if old.is_dir() and time.time() - old.stat().st_mtime > 86_400:
            shutil.rmtree(old, ignore_errors=True)


def _found(preset: str, folder: Path) -> Rendered:
    recording = next(p for p in folder.iterdir() if p.suffix not in (".json", ".csv"))
    return Rendered(
        preset,
        recording,
        recording.with_suffix(".truth.json"),
        recording.with_suffix(".masses.csv"),
    )


@contextmanager
def _alone(lock: Path) -> Iterator[None]:
    """Let one process at a time in; a lock left behind by a killed one is broken."""
    started = time.monotonic()
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
            break
        except FileExistsError:
            if time.monotonic() - started > _WAIT_S or _is_stale(lock):
                lock.unlink(missing_ok=True)
            time.sleep(0.1)
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)


def _is_stale(lock: Path) -> bool:
    try:
        return time.time() - lock.stat().st_mtime > _WAIT_S
    except FileNotFoundError:
        return False
