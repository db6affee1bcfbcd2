"""``telltick compare``: measure, compare, and say or write what was found."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_cache_path

from telltick import __version__
from telltick.engine.compare import compare_paths
from telltick.engine.parts import Progress
from telltick.export.comparison_out import (
    WIDTH,
    check_place,
    comparison_document,
    comparison_text,
    write_comparison,
)
from telltick.model.measurement import MeasuringOptions


def compare(
    paths: Sequence[Path],
    output: Path | None,
    progress: Progress,
    *,
    as_json: bool = False,
    overwrite: bool = False,
    workers: int | None = None,
    options: MeasuringOptions | None = None,
    width: int = WIDTH,
) -> str:
    """Compare sessions; returns what to print.

    Results are kept beside the output, or where this platform keeps caches, so that a second run measures
    only what is new.

    Args:
        paths: two or more sessions, or one folder of sessions.
        output: file to write; None only prints.
        progress: told the share done, 0 to 1; answers False to give up.
        as_json: print one JSON object.
        overwrite: a file at the output may be replaced.
        workers: processes to measure with; one a core unless given.
        options: what the user says that the sessions do not.
        width: columns that a text may have.

    Raises:
        BadInputError: there is nothing to compare, or the file cannot be written.
        CancelledError: progress said to give up; what was finished is kept.
    """
    if output is not None:
        check_place(output, overwrite=overwrite)
    compared = compare_paths(paths, cache_of(output), progress, options, workers)
    if output is not None:
        made = datetime.fromtimestamp(time.time(), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        write_comparison(compared, output, f"{made} by telltick {__version__}", overwrite=overwrite)
        if not as_json:
            return str(output)
    if as_json:
        return json.dumps(comparison_document(compared), indent=2, allow_nan=False)
    return comparison_text(compared, width)


def cache_of(output: Path | None) -> Path:
    """Where results are kept between runs."""
    if output is not None:
        return output.with_name(f".{output.stem}.measured.jsonl")
    return user_cache_path("telltick", appauthor=False) / "measured.jsonl"
