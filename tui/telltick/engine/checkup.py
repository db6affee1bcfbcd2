"""``telltick check``: what this machine offers. Nothing is opened: ports are only listed."""

from __future__ import annotations

import locale
import os
import shutil
import sys
import textwrap
from typing import Any

from telltick import __version__
from telltick.engine.versions import host, library_versions
from telltick.model.cautions import ALL
from telltick.model.errors import DeviceError
from telltick.sources.serial_port import list_ports
from telltick.sources.soundcard import InputInfo, list_inputs


def checkup() -> dict[str, Any]:
    """Look around; every entry is plain data for JSON."""
    inputs, problem = _sound_inputs()
    size = shutil.get_terminal_size()
    return {
        "program": f"telltick {__version__}",
        "host": host(),
        "versions": library_versions(),
        "terminal": {
            "interactive": sys.stdout.isatty(),
            "term": os.environ.get("TERM", ""),
            "columns": size.columns,
            "rows": size.lines,
            "encoding": locale.getpreferredencoding(False),
            "no_color": bool(os.environ.get("NO_COLOR")),
        },
        "sound_inputs": [
            {"name": one.name, "channels": one.channels, "rate_hz": one.rate_hz, "default": one.default}
            for one in inputs
        ],
        "sound_problem": problem,
        "ports": [{"port": one.device, "what": one.description} for one in list_ports()],
        "cautions": list(ALL),
    }


def _sound_inputs() -> tuple[tuple[InputInfo, ...], str | None]:
    """The machine's sound inputs, and why there are none, with the fix."""
    try:
        inputs = list_inputs()
    except DeviceError as why:
        return (), str(why)
    if not inputs:
        return (), "no sound input was found: connect the receiver's audio to a sound input, then look again"
    return inputs, None


def checkup_text(found: dict[str, Any]) -> str:
    """The same for reading."""
    terminal = found["terminal"]
    lines = [f"{found['program']} on {found['host']}", "", "Libraries"]
    lines += [f"  {name:<12} {version}" for name, version in found["versions"].items()]
    lines += ["", "Terminal", f"  {_terminal_line(terminal)}", "", "Sound inputs"]
    lines += [
        f"  {one['name']}  ({one['channels']} ch, {one['rate_hz']} Hz{', default' if one['default'] else ''})"
        for one in found["sound_inputs"]
    ]
    if found["sound_problem"]:
        lines += [f"  {found['sound_problem']}", "  demo, replay, import, measure and export work without it"]
    lines += ["", "Serial ports (listed, not opened)"]
    lines += [f"  {one['port']}  {one['what']}".rstrip() for one in found["ports"]] or ["  none found"]
    lines += ["", "Cautions"]
    lines += [
        textwrap.fill(caution, 100, initial_indent="  - ", subsequent_indent="    ")
        for caution in found["cautions"]
    ]
    return "\n".join(lines)


def _terminal_line(terminal: dict[str, Any]) -> str:
    if not terminal["interactive"]:
        return "not a terminal: output goes to a file or a pipe"
    colour = "no colour wanted (NO_COLOR)" if terminal["no_color"] else "colour"
    size = f"{terminal['columns']}x{terminal['rows']}"
    advice = (
        "" if terminal["columns"] >= 80 and terminal["rows"] >= 24 else "; the screen needs at least 80x24"
    )
    return f"{terminal['term'] or 'unknown type'}, {size}, {terminal['encoding']}, {colour}{advice}"
