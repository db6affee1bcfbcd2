"""Which palette is worn: the next in turn, and the present one anew when its file changes."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from telltick.model.errors import BadInputError
from telltick.ui.palettes import PLAIN, Palette, load_palette, palette_files

LOOK_EVERY_S = 1.0


class Wardrobe:
    """The palettes at hand and the one worn."""

    def __init__(self, worn: Palette, clock_s: Callable[[], float] = time.monotonic) -> None:
        """Begin with a palette.

        Args:
            worn: the palette.
            clock_s: monotonic time in seconds.
        """
        self._clock_s = clock_s
        self._looked_s = clock_s()
        self.wear(worn)

    def wear(self, palette: Palette) -> None:
        """Take note of the palette worn."""
        self.worn = palette
        self._changed_ns = _changed_ns(palette.path)

    def next(self) -> tuple[Palette, str]:
        """The next palette that can be read, and a sentence that also tells which ones cannot."""
        files = palette_files()
        names = [*sorted(name for name in files if name != PLAIN), PLAIN]
        at = names.index(self.worn.name) if self.worn.name in names else -1
        faults: list[str] = []
        for step in range(1, len(names) + 1):
            try:
                palette = load_palette(files[names[(at + step) % len(names)]])
            except BadInputError as why:
                faults.append(str(why))
                continue
            self.wear(palette)
            return palette, "; ".join([f"palette {palette.name}: {palette.title}", *faults])
        raise BadInputError("; ".join(faults))

    def changed(self) -> Palette | None:
        """The palette worn, read anew when its file was changed; to be asked at any rate.

        Raises:
            BadInputError: the changed file cannot be used; said once for each change.
        """
        now_s = self._clock_s()
        if now_s - self._looked_s < LOOK_EVERY_S:
            return None
        self._looked_s = now_s
        changed_ns = _changed_ns(self.worn.path)
        if changed_ns is None or changed_ns == self._changed_ns:
            return None
        self._changed_ns = changed_ns
        assert self.worn.path is not None
        self.wear(load_palette(self.worn.path))
        return self.worn


def _changed_ns(path: Path | None) -> int | None:
    """When a file was last changed; None when it is not there."""
    try:
        return None if path is None else path.stat().st_mtime_ns
    except OSError:
        return None
