"""The operator's station profiles: kept by name beside the settings, so that `monitor` can offer them."""

from __future__ import annotations

import contextlib
import dataclasses
from pathlib import Path
from typing import Any

import tomli_w

from telltick.model.errors import BadInputError
from telltick.model.plan import StationProfile
from telltick.store.folder import slug
from telltick.store.settings import settings_path
from telltick.store.station import load_station

HEAD = "# Station profile for telltick: telltick monitor --station {name}\n"


def stations_folder() -> Path:
    """Where profiles are kept by name; it need not exist."""
    return settings_path().parent / "stations"


def station_files(folder: Path | None = None) -> dict[str, Path]:
    """Name -> file of every profile that is kept."""
    folder = stations_folder() if folder is None else folder
    return {path.stem: path for path in sorted(folder.glob("*.toml"))} if folder.is_dir() else {}


def find_station(given: Path) -> Path:
    """The file that ``--station`` means: a file, else a profile that is kept under that name.

    Raises:
        BadInputError: there is neither.
    """
    if given.exists() or given.name != str(given):
        return given
    kept = station_files()
    if str(given) in kept:
        return kept[str(given)]
    known = f"; kept are {', '.join(kept)}" if kept else "; telltick setup makes one"
    raise BadInputError(f"there is no station profile {str(given)!r}{known}")


def station_text(profile: StationProfile) -> str:
    """A profile as TOML; what stands at its usual value is left out."""
    table = _changed(profile)
    table.setdefault("name", profile.name)
    ordered = {"name": table.pop("name"), **table}
    return HEAD.format(name=slug(profile.name)) + "\n" + tomli_w.dumps(ordered)


def save_station(profile: StationProfile, folder: Path | None = None) -> Path:
    """Keep a profile under its name; an older one of that name is replaced as a whole.

    Raises:
        BadInputError: the folder cannot be written.
    """
    folder = stations_folder() if folder is None else folder
    path = folder / f"{slug(profile.name)}.toml"
    fresh = path.with_suffix(".new")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        fresh.write_text(station_text(profile), encoding="utf-8")
        fresh.replace(path)
    except OSError as why:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise BadInputError(f"{path}: the profile cannot be kept there ({why.strerror or why})") from why
    return path


def _changed(value: Any) -> dict[str, Any]:
    """The fields of a dataclass that differ from their defaults, as plain values; TOML has no None."""
    out: dict[str, Any] = {}
    for field in dataclasses.fields(value):
        one = getattr(value, field.name)
        default = field.default
        if field.default_factory is not dataclasses.MISSING:
            default = field.default_factory()
        if one is None or one == default:
            continue
        out[field.name] = _changed(one) if dataclasses.is_dataclass(one) else one
    return out


def load_stations(folder: Path | None = None) -> dict[str, StationProfile | BadInputError]:
    """Every profile that is kept, by name, or what is wrong with it."""
    found: dict[str, StationProfile | BadInputError] = {}
    for name, path in station_files(folder).items():
        try:
            found[name] = load_station(path)
        except BadInputError as why:
            found[name] = why
    return found
