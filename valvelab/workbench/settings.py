"""What outlives a run: theme, units, remembered column assignments, window layout.

A JSON file in the user's settings folder. What can't be read is left at its default, never a reason not to start.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, field, fields, replace
from pathlib import Path

from platformdirs import user_config_path

from valvelab.file_lock import FileLock
from valvelab.frozen import frozen
from valvelab.writing import make_folder, write_whole

SHOP_DEFAULTS, SHOP_CARD = "defaults.toml", "shop.toml"
"""A shop's own files in the folder."""
VERSION = 1
_REMEMBERED = 200
_RECENT = 12
WAIT_S = 0.5


@frozen
class Settings:
    """scheme: "system", "light" or "dark". language: "system" or a code such as "de", of windows that start later.

    columns: assignment by file shape. layout: opaque window state by name.

    recent_jobs: paths of job files, the last one first. sign_with: name of the key that signs certificates, or "".
    store: where records are kept, a file or a URL; "" is the user's own place. text: size of all text in per cent of
    the desktop's. toured: whether the tour was offered.
    """

    scheme: str = "system"
    language: str = "system"
    units: str = "metric"
    columns: dict[str, str] = field(default_factory=dict)
    layout: dict[str, str] = field(default_factory=dict)
    recent_folder: str = ""
    sign_with: str = ""
    store: str = ""
    recent_jobs: tuple[str, ...] = ()
    text: int = 100
    toured: bool = False


def folder() -> Path:
    """Folder of settings and recovery; `VALVELAB_SETTINGS` names another."""
    stated = os.environ.get("VALVELAB_SETTINGS")
    if stated:
        return Path(stated)
    return user_config_path("valvelab", appauthor=False)


def load(place: Path) -> Settings:
    """Settings of a folder; defaults for whatever is missing or unreadable."""
    try:
        found = json.loads((place / "settings.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Settings()
    if not isinstance(found, dict) or found.get("version") != VERSION:
        return Settings()
    plain = Settings()
    jobs = found.get("recent_jobs")
    found["recent_jobs"] = tuple(str(path) for path in jobs) if isinstance(jobs, list) else ()
    kept = {
        f.name: found[f.name] for f in fields(Settings) if isinstance(found.get(f.name), type(getattr(plain, f.name)))
    }
    for name in ("columns", "layout"):
        if name in kept:
            kept[name] = {k: v for k, v in kept[name].items() if isinstance(v, str)}
    return replace(plain, **kept)


def save(before: Settings, new: Settings, place: Path) -> Settings:
    """Write what changed from `before` to `new` into the settings as they lie there by now; what was written.

    Another window may have written meanwhile: what it changed stays, unless this one changed the same. The file is
    the user's alone. Raises CannotWrite.
    """
    make_folder(place, private=True)
    lock = FileLock(place / "settings.lock")
    lock.take(WAIT_S)  # where it can't be had, settings are still worth writing
    try:
        merged = _merged(load(place), before, new)
        text = json.dumps({"version": VERSION, **asdict(merged)}, indent=1)
        write_whole(place / "settings.json", text, private=True)
    finally:
        lock.release()
    return merged


def _merged(there: Settings, before: Settings, new: Settings) -> Settings:
    changed = {
        f.name: getattr(new, f.name) for f in fields(Settings) if getattr(new, f.name) != getattr(before, f.name)
    }
    for name in {"columns", "layout"} & changed.keys():
        old, wanted = getattr(before, name), changed[name]
        own = {key: value for key, value in wanted.items() if old.get(key) != value}
        gone = {key for key in old if key not in wanted}
        kept = {key: value for key, value in getattr(there, name).items() if key not in own and key not in gone}
        changed[name] = dict(list({**kept, **own}.items())[-_REMEMBERED:])
    return replace(there, **changed)


def remember_columns(settings: Settings, shape: str, kind: str, columns: str) -> Settings:
    """Settings that know a column assignment for files of this shape; the oldest are forgotten."""
    kept = {key: value for key, value in settings.columns.items() if key != shape}
    kept[shape] = f"{kind}: {columns}"
    return replace(settings, columns=dict(list(kept.items())[-_REMEMBERED:]))


def remember_job(settings: Settings, path: str) -> Settings:
    """Settings that name a job file first among the recent ones."""
    others = (one for one in settings.recent_jobs if one != path)
    return replace(settings, recent_jobs=(path, *others)[:_RECENT])


def forget_columns(settings: Settings, shape: str) -> Settings:
    """Settings without the column assignment for files of this shape."""
    return replace(settings, columns={key: value for key, value in settings.columns.items() if key != shape})


def remembered_columns(settings: Settings, shape: str) -> tuple[str, str] | None:
    """Kind and column assignment last given to a file of this shape."""
    kind, mark, columns = settings.columns.get(shape, "").partition(": ")
    return (kind, columns) if mark else None
