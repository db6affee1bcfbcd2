"""Rounds on disk: the shipped ones, and the operator's own beside the settings."""

from __future__ import annotations

from pathlib import Path

from telltick.model.errors import BadInputError
from telltick.model.rounds import Round
from telltick.store import toml
from telltick.store.settings import settings_path

SHIPPED = Path(__file__).resolve().parent.parent / "rounds"
SHIPPED_ORDER = ("five-minute-proof", "full-round", "after-repair")


def round_files(own: Path | None = None) -> dict[str, Path]:
    """Name -> file of every round there is; the operator's own go before shipped ones of the same name.

    Args:
        own: folder of the operator's rounds; None takes ``rounds`` beside the settings file.
    """
    files = {name: SHIPPED / f"{name}.toml" for name in SHIPPED_ORDER}
    folder = settings_path().parent / "rounds" if own is None else own
    if folder.is_dir():
        files |= {path.stem: path for path in sorted(folder.glob("*.toml"))}
    return files


def load_round(path: Path) -> Round:
    """Read a round.

    Raises:
        BadInputError: the file, a key or a value cannot be used; the message names it.
    """
    return toml.load(path, Round, "round")


def load_rounds(own: Path | None = None) -> tuple[dict[str, Round], tuple[str, ...]]:
    """Every round that can be used, and a sentence about each that cannot."""
    rounds: dict[str, Round] = {}
    faults: list[str] = []
    for name, path in round_files(own).items():
        try:
            rounds[name] = load_round(path)
        except BadInputError as why:
            faults.append(str(why))
    return rounds, tuple(faults)
