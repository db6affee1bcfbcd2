"""TOML files onto the model's dataclasses, with errors that name the file, the key and the line."""

from __future__ import annotations

import dataclasses
import difflib
import re
import tomllib
import types
import typing
from enum import Enum
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from telltick.model.errors import BadInputError

T = TypeVar("T")
_LARGEST = 1_000_000  # bytes; a hand-written file is far smaller
_AT = re.compile(r"^(?P<what>.*?)(?: - at `\$(?P<path>.*)`)?$", re.DOTALL)
_HEADING = re.compile(r"^\s*\[(?P<name>[^\[\]]+)\]")
_ENTRY = re.compile(r"""^\s*(?P<quote>["']?)(?P<key>[^"'=]+?)(?P=quote)\s*=""")
_LINE = re.compile(r"^(?P<what>.*) \(at (?P<where>.*)\)$", re.DOTALL)

_WORDS = {
    "float": "a number", "int": "a whole number", "str": "text", "bool": "true or false",
    "object": "a section", "array": "a list", "null": "nothing",
}  # fmt: skip


def load(path: Path, kind: type[T], what: str, section: str | None = None) -> T:
    """Read a TOML file.

    Args:
        path: the file.
        kind: the dataclass it describes.
        what: what such a file is called, for messages.
        section: table of the file that holds it; None takes the whole file.

    Raises:
        BadInputError: missing, not TOML (with the line), a key that does not exist (with the nearest that
            does), or a value that cannot be (with its key and line).
    """
    table = _parse(path, what)
    prefix = ""
    if section is not None:
        if not isinstance(table.get(section), dict):
            raise BadInputError(f"{path}: it has no section [{section}]")
        table, prefix = table[section], f"{section}."
    unknown = _unknown_key(table, kind, prefix)
    if unknown is not None:
        key, said = unknown
        raise BadInputError(f"{place_of(path, key)}: {said}")
    try:
        return msgspec.convert(table, kind)
    except msgspec.ValidationError as why:
        said = _explain(str(why), prefix, table, kind)
        raise BadInputError(f"{place_of(path, said.partition(':')[0])}: {said}") from why


def place_of(path: Path, key: str) -> str:
    """``FILE, line 7`` for a dotted key that stands in a TOML file, ``FILE`` for one that does not."""
    section, _, last = key.rpartition(".")
    lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    inside = ""
    for number, line in enumerate(lines, 1):
        heading = _HEADING.match(line)
        inside = heading["name"].strip() if heading else inside
        entry = _ENTRY.match(line)
        if (heading and inside == key) or (entry and inside == section and entry["key"] == last):
            return f"{path}, line {number}"
    return str(path)


def has_section(path: Path, section: str, what: str) -> bool:
    """Whether a TOML file has a table of that name.

    Raises:
        BadInputError: it cannot be read.
    """
    return isinstance(_parse(path, what).get(section), dict)


def _parse(path: Path, what: str) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST + 1)
        if len(content) > _LARGEST:
            raise BadInputError(f"{path} is too large to be a {what}")
        return tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as why:
        raise BadInputError(f"{path}: this {what} cannot be read ({why.strerror or why})") from why
    except UnicodeDecodeError as why:
        raise BadInputError(f"{path} is not a {what}: it is not UTF-8 text") from why
    except tomllib.TOMLDecodeError as why:
        match = _LINE.match(str(why))
        message = f"{match['where']}: {_lower(match['what'])}" if match else _lower(str(why))
        raise BadInputError(f"{path}, {message}") from why
    except RecursionError as why:
        raise BadInputError(f"{path} is not a {what}: it is nested too deeply") from why


def _unknown_key(table: dict[str, Any], kind: Any, prefix: str) -> tuple[str, str] | None:
    """The first key that the dataclass does not have, and what is to be said of it."""
    hints = typing.get_type_hints(kind)
    for key, value in table.items():
        if key not in hints:
            near = difflib.get_close_matches(key, hints, n=1, cutoff=0.5)
            advice = f"did you mean {prefix}{near[0]}?" if near else f"it may hold {', '.join(sorted(hints))}"
            return f"{prefix}{key}", f"there is no key {prefix}{key}; {advice}"
        inner = _dataclass_in(hints[key])
        if inner is None:
            continue
        for place, table_inside in _tables_in(f"{prefix}{key}", value):
            unknown = _unknown_key(table_inside, inner, f"{place}.")
            if unknown is not None:
                return unknown
    return None


def _tables_in(place: str, value: Any) -> list[tuple[str, dict[str, Any]]]:
    """The table at a key, or each of its list of tables, with its place."""
    if isinstance(value, list):
        return [(f"{place}[{i}]", one) for i, one in enumerate(value) if isinstance(one, dict)]
    return [(place, value)] if isinstance(value, dict) else []


def _dataclass_in(hint: Any) -> Any:
    """The dataclass among the alternatives of a type hint, if any."""
    listed = isinstance(hint, types.UnionType) or typing.get_origin(hint) is tuple
    options = typing.get_args(hint) if listed else (hint,)
    return next((option for option in options if dataclasses.is_dataclass(option)), None)


def _explain(message: str, prefix: str, table: dict[str, Any], kind: Any) -> str:
    """``key: what is wrong`` from a validation message and the path in it."""
    match = _AT.match(message)
    assert match is not None
    inside = (match["path"] or "").lstrip(".")
    if inside.endswith("[...]"):  # tables of free keys hold text only
        section = inside.removesuffix("[...]")
        odd = next(key for key, value in table[section].items() if not isinstance(value, str))
        inside = f"{section}.{odd}"
    path = f"{prefix}{inside}".strip(".")
    what = match["what"]
    missing = re.fullmatch(r"Object missing required field `(\w+)`", what)
    if missing:
        return f"{path}.{missing[1]}: this key is missing".lstrip(".")
    own_key = re.match(r"([a-z_]+)(?::| (?=must ))", what)  # the model's own checks name the key first
    if own_key:
        return f"{path}.{own_key[1]}: {what[own_key.end() :].lstrip()}".lstrip(".")
    if what.startswith("Invalid enum value"):
        choices = ", ".join(_choices(kind, inside))
        what = what.replace("Invalid enum value", f"must be one of {choices}, not")
    what = re.sub(r"`([\w |]+)`", lambda name: _in_words(name[1]), what)
    what = _lower(what.replace("Expected", "must be").replace(", got", ", not"))
    return f"{path}: {what}" if path else what


def _choices(kind: Any, path: str) -> tuple[str, ...]:
    """The words allowed at a key such as ``poll.handshake``."""
    hint = kind
    for key in re.sub(r"\[\d+\]", "", path).split("."):
        hint = typing.get_type_hints(_dataclass_in(hint))[key]
    options = typing.get_args(hint)
    words = next((one for one in options if isinstance(one, type) and issubclass(one, Enum)), None)
    return options if words is None else tuple(str(one.value) for one in words)


def _in_words(types: str) -> str:
    return " or ".join(_WORDS.get(name, name) for name in types.split(" | "))


def _lower(sentence: str) -> str:
    return f"{sentence[:1].lower()}{sentence[1:]}"
