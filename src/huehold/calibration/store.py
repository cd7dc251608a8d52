"""Calibrations on disk: found, read, checked, kept, listed, chosen.

A calibration is one small TOML file called ``<kind>.<name>.toml``. The user's own lie in the
folder ``calibration`` of the user's data (``HUEHOLD_DATA`` moves it), the shipped ones in the
project's top-level ``calibration/``; the user's go before. When one is measured anew the older
version stays beside it as ``<kind>.<name>@<version>.toml``, so that a run can be computed
again with what it used.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from huehold.calibration.files import (
    KINDS,
    model_of,
    parse_toml,
    read_calibration,
    read_text,
    to_toml,
    write_whole,
)
from huehold.calibration.model import Calibration
from huehold.errors import InputError, UsageError
from huehold.shipped import shipped_file
from huehold.user_data import data_folder

__all__ = ["Entry", "Store", "default_folder", "slug"]

_CHOSEN = "chosen.toml"
_REF = re.compile(
    r"(?:(?P<kind>[a-z]+)/)?(?P<name>(?![a-z0-9-]{61})[a-z0-9]+(?:-[a-z0-9]+)*)"
    r"(?:@(?P<version>\d{1,6}))?"
)


@dataclass(frozen=True, slots=True)
class Entry:
    """A file in the store: readable (`calibration`) or not (`fault`, a sentence)."""

    path: Path
    calibration: Calibration | None
    fault: str = ""
    shipped: bool = False


def default_folder() -> Path:
    """Return the folder of the user's own calibrations; ``HUEHOLD_DATA`` moves it."""
    return data_folder() / "calibration"


def slug(text: str) -> str:
    """Turn what people type into a name: lower case, hyphens.

    Raises
    ------
    UsageError
        If nothing is left of it.
    """
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:60].strip("-")
    if not name:
        raise UsageError(f"'{text}' makes no name; use letters and digits, such as 'kitchen-2'.")
    return name


class Store:
    """The calibrations of a user, with the shipped ones behind them.

    Parameters
    ----------
    folder : path, optional
        Where the user's own lie; made when the first one is saved.
    """

    def __init__(self, folder: str | os.PathLike[str] | None = None) -> None:
        self.folder = Path(folder) if folder is not None else default_folder()

    def entries(self, *, earlier: bool = False) -> tuple[Entry, ...]:
        """List all files, the user's first, unreadable ones with what is wrong with them.

        Parameters
        ----------
        earlier : bool
            List superseded versions as well.
        """
        own = [
            _entry(path, False) for path in _files(self.folder) if earlier or "@" not in path.stem
        ]
        shipped = [_entry(path, True) for path in _files(_shipped_folder())]
        return (*own, *shipped)

    def get(self, ref: str | os.PathLike[str]) -> Calibration:
        """Find a calibration by name, by ``kind/name``, by ``kind/name@version``, or by file.

        Raises
        ------
        UsageError
            If there is none, or a bare name fits several kinds.
        InputError
            If its file cannot be read or is wrong.
        """
        text = os.fspath(ref)
        if isinstance(ref, Path) or text.endswith(".toml"):
            return read_calibration(text)
        return _read_kept(self._path(text))

    def save(self, calibration: Calibration) -> Calibration:
        """Write a calibration, all of it or nothing; the version before is kept beside it.

        Returns
        -------
        Calibration
            As written, with its version number.

        Raises
        ------
        InputError
            If the folder cannot be written to.
        """
        path = self.folder / f"{calibration.kind}.{calibration.name}.toml"
        version = self._last_version(calibration) + 1
        numbered = calibration.model_copy(update={"version": version})
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            if path.is_file():
                write_whole(
                    path.with_name(f"{path.stem}@{version - 1}.toml"), path.read_text("utf-8")
                )
            write_whole(path, to_toml(numbered))
        except OSError as error:
            raise InputError(f"{path} cannot be written ({error.strerror}).") from error
        return numbered

    def remove(self, ref: str) -> tuple[Path, ...]:
        """Remove one of the user's calibrations, with its earlier versions unless one is named.

        Raises
        ------
        UsageError
            If there is none, or it is a shipped one.
        """
        path = self._path(ref)
        if path.parent != self.folder:
            raise UsageError(
                f"{ref} comes with huehold and cannot be removed; it may be left unused."
            )
        gone = [path]
        if "@" not in path.stem:
            gone += [p for p in _files(self.folder) if p.stem.startswith(f"{path.stem}@")]
            self._forget(path.stem)
        for old in gone:
            old.unlink(missing_ok=True)
        return tuple(gone)

    def use(self, ref: str) -> Calibration:
        """Have runs use this calibration from now on, in place of another of its kind.

        Raises
        ------
        UsageError, InputError
            As for `get`.
        """
        found = self.get(ref)
        lasting = str(Path(ref).absolute()) if ref.endswith(".toml") else _short(found, ref)
        self._write_chosen(self._chosen_names() | {found.kind: lasting})
        return found

    def use_none(self, kind: str) -> None:
        """Have runs use no calibration of a kind any more.

        Raises
        ------
        UsageError
            If there is no such kind.
        """
        model_of(kind)
        names = self._chosen_names()
        names.pop(kind, None)
        self._write_chosen(names)

    def chosen(self) -> tuple[tuple[Calibration, ...], tuple[str, ...]]:
        """Return what `use` was called for, and a sentence for each that cannot be used.

        Nothing is raised: a run goes on without a calibration that is broken, and says so.
        """
        try:
            names = self._chosen_names()
        except InputError as error:
            return (), (f"No calibration is used: {error}",)
        return self.load(names.values())

    def load(self, refs: Iterable[str]) -> tuple[tuple[Calibration, ...], tuple[str, ...]]:
        """Read several; what cannot be read becomes a sentence."""
        good, told = [], []
        for ref in refs:
            try:
                good.append(self.get(ref))
            except (InputError, UsageError) as error:
                told.append(f"The calibration {ref} is not used: {error}")
        return tuple(good), tuple(told)

    def _path(self, ref: str) -> Path:
        match = _REF.fullmatch(ref)
        if match is None:
            raise UsageError(
                f"'{ref}' names no calibration; say dropper/kitchen, dropper/kitchen@2, or a file "
                "that ends in .toml."
            )
        kinds = [match["kind"]] if match["kind"] else list(KINDS)
        if match["kind"]:
            model_of(match["kind"])
        found = [
            p for kind in kinds for p in self._candidates(kind, match["name"], match["version"])
        ]
        if not found:
            raise UsageError(self._unknown(ref))
        if len({p.stem.split(".")[0] for p in found}) > 1:
            refs = ", ".join(p.stem.split("@")[0].replace(".", "/") for p in found)
            raise UsageError(f"'{ref}' is the name of several calibrations: {refs}; say which.")
        return found[0]

    def _candidates(self, kind: str, name: str, version: str | None) -> list[Path]:
        found = []
        for folder in (self.folder, _shipped_folder()):
            current = folder / f"{kind}.{name}.toml"
            old = folder / f"{kind}.{name}@{version}.toml"
            if version is not None and old.is_file():
                found.append(old)
            elif current.is_file() and (version is None or _version_in(current) == int(version)):
                found.append(current)
        return found

    def _unknown(self, ref: str) -> str:
        known = sorted({f"{p.stem}".replace(".", "/", 1) for p in
                        (*_files(self.folder), *_files(_shipped_folder()))})  # fmt: skip
        near = difflib.get_close_matches(ref, known, n=1, cutoff=0.3)
        hint = f"did you mean '{near[0]}'?" if near else "`huehold calibrate list` shows all."
        return f"There is no calibration '{ref}'; {hint}"

    def _last_version(self, calibration: Calibration) -> int:
        stem = f"{calibration.kind}.{calibration.name}"
        parts = (p.stem.rsplit("@", 1) for p in _files(self.folder))
        older = [int(p[1]) for p in parts if p[0] == stem and p[1:] and p[1].isdecimal()]
        current = self.folder / f"{stem}.toml"
        if not current.is_file():
            return max(older, default=0)
        return max([1, _version_in(current), *(number + 1 for number in older)])

    def _chosen_names(self) -> dict[str, str]:
        path = self.folder / _CHOSEN
        if not path.is_file():
            return {}
        table = parse_toml(read_text(path), _CHOSEN).get("chosen")
        if not isinstance(table, dict) or not all(
            kind in KINDS and isinstance(ref, str) for kind, ref in table.items()
        ):
            raise InputError(
                f'{path} does not list calibrations as kind = "kind/name" under [chosen]; correct '
                "it or delete it."
            )
        return dict(table)

    def _write_chosen(self, names: Mapping[str, str]) -> None:
        import tomli_w

        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / _CHOSEN, tomli_w.dumps({"chosen": dict(names)}))
        except OSError as error:
            raise InputError(f"{self.folder} cannot be written to ({error.strerror}).") from error

    def _forget(self, stem: str) -> None:
        with contextlib.suppress(InputError):
            names = self._chosen_names()
            ref = stem.replace(".", "/", 1)
            kept = {k: v for k, v in names.items() if v.split("@")[0] != ref}
            if kept != names:
                self._write_chosen(kept)


def _short(found: Calibration, ref: str) -> str:
    return found.ref if "@" in ref else f"{found.kind}/{found.name}"


def _read_kept(path: Path) -> Calibration:
    found = read_calibration(path)
    if path.stem.split("@")[0] != f"{found.kind}.{found.name}":
        raise InputError(
            f"{path.name} says it is {found.kind}/{found.name}; give it its name back, "
            f"{found.kind}.{found.name}.toml."
        )
    return found


def _entry(path: Path, shipped: bool) -> Entry:
    try:
        return Entry(path, _read_kept(path), shipped=shipped)
    except InputError as error:
        return Entry(path, None, str(error), shipped)


def _files(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    return sorted(p for p in folder.glob("*.toml") if p.name != _CHOSEN)


def _shipped_folder() -> Path:
    try:
        return shipped_file("calibration", "README.md").parent
    except InputError:
        return Path("no-shipped-calibrations")


def _version_in(path: Path) -> int:
    with contextlib.suppress(OSError, ValueError, InputError):
        version = parse_toml(read_text(path), path.name).get("version")
        return version if isinstance(version, int) else 0
    return 0
