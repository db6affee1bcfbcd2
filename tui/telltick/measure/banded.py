"""Rows of a long stretch in little memory: the bins of the band added up, their spectrum kept as sums.

Readings ask for no more of a row than its power over the band without steady tones. Adding the bins up before
a stretch is over takes a thirtieth of the memory and yields the same digits, as long as the tones were looked
for in the same rows. Over hours tones come, go and wander: they are looked for in stretches of ten minutes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from telltick.measure.frames import to_db
from telltick.measure.ringing import quiet_sums
from telltick.measure.rows import PollRows, Summed
from telltick.measure.shapes import effective_bins
from telltick.measure.tones import band_bins, clear_share, floor_of, tonal_bins
from telltick.measure.verge import verge_scale
from telltick.model.clock import Floats
from telltick.model.readings import Band, Spectrum

_BY_BIN = ("active", "core", "inner", "gap", "rim", "close", "verge", "slots", "pair_gap", "pair_core")
_COUNTS = (
    "core_frames",
    "inner_frames",
    "active_frames",
    "quiet_frames",
    "rim_frames",
    "close_frames",
    "verge_frames",
    "slot_row",
    "pair_row",
)
_SHARES = ("core_share", "inner_share", "gap_share", "gate_share")
_SHORT: dict[str, type] = {
    **dict.fromkeys(_COUNTS, np.int32),
    **dict.fromkeys(_SHARES, np.float32),
    **dict.fromkeys(("slot_place", "pair_place"), np.int8),
}  # a day holds half a million polls


def band_rows(rows: PollRows, band: Band, tonal: npt.NDArray[np.bool_]) -> PollRows:
    """The same rows with one bin: the power of the band, its tonal bins taken to be as those around them.

    Numbers are held as short as they may be.

    Args:
        rows: as `measure_rows` returned them.
        band: the band to measure.
        tonal: shape (bins,), as `tonal_bins` found them in these rows.
    """
    inside = band_bins(rows, band)
    use = inside & ~tonal
    share = clear_share(rows, band, tonal)
    some = _as_slice(use)
    sums = {name: getattr(rows, name)[:, some].sum(axis=1, dtype=np.float64) for name in _BY_BIN}
    sums["quiet"] = quiet_sums(rows, use)
    level = rows.quiet.sum(axis=0, dtype=np.float64)
    scale = verge_scale(level, use)
    sums["verge"] *= scale or 0.0
    lost = 1 - float(use.sum()) / max(1.0, float(inside.sum()))
    middle = np.array([(band.low_hz + band.high_hz) / 2])
    whole = {name: (power / share)[:, None].astype(np.float32) for name, power in sums.items()}
    short = {name: getattr(rows, name).astype(dtype) for name, dtype in _SHORT.items()}
    short["verge_frames"] *= scale is not None
    return replace(rows, freq_hz=middle, **whole, **short, summed=Summed(effective_bins(level[use]), lost))


def _as_slice(use: npt.NDArray[np.bool_]) -> slice | npt.NDArray[np.bool_]:
    """The same bins as a slice where they lie side by side: what they hold need not be copied then."""
    first, last = (int(use.argmax()), len(use) - int(use[::-1].argmax())) if use.any() else (0, 0)
    return slice(first, last) if np.count_nonzero(use) == last - first else use


@dataclass(frozen=True)
class SpectrumSums:
    """What the average spectra of a stretch are made of; sums of two stretches add up.

    Attributes:
        freq_hz: shape (bins,), bin centres.
        quiet: shape (bins,), sum of power over quiet frames.
        active: shape (bins,), sum of power over active frames.
        quiet_frames: how many quiet frames.
        active_frames: how many active frames.
        share: sum over active frames of the share of their energy inside the gate.
        tonal: shape (bins,), for how many seconds a bin held a steady tone.
        seconds: audio covered.
    """

    freq_hz: Floats
    quiet: Floats
    active: Floats
    quiet_frames: int
    active_frames: int
    share: float
    tonal: Floats
    seconds: float

    @classmethod
    def of(cls, rows: PollRows, tonal: npt.NDArray[np.bool_]) -> SpectrumSums:
        """Of rows whose tonal bins are known."""
        return cls(
            rows.freq_hz,
            rows.quiet.sum(axis=0, dtype=np.float64),
            rows.active.sum(axis=0, dtype=np.float64),
            int(rows.quiet_frames.sum()),
            int(rows.active_frames.sum()),
            float(rows.gate_share.sum()),
            np.asarray(tonal * rows.seconds, dtype=np.float64),
            rows.seconds,
        )

    def plus(self, other: SpectrumSums) -> SpectrumSums:
        """Both together; they must come from one sample rate."""
        return SpectrumSums(
            self.freq_hz,
            self.quiet + other.quiet,
            self.active + other.active,
            self.quiet_frames + other.quiet_frames,
            self.active_frames + other.active_frames,
            self.share + other.share,
            self.tonal + other.tonal,
            self.seconds + other.seconds,
        )

    def spectrum(self) -> Spectrum:
        """Average spectra; a bin counts as tonal when it held a tone for half of the time."""
        nothing = np.full(len(self.freq_hz), np.nan)
        quiet = self.quiet / self.quiet_frames if self.quiet_frames else nothing
        rise = self.active - quiet * self.active_frames
        active = quiet + np.maximum(rise / self.share, 0.0) if self.share > 0 else nothing
        tonal = np.asarray(self.tonal >= max(self.seconds, 1e-9) / 2)
        return Spectrum(self.freq_hz, to_db(quiet), to_db(active), to_db(floor_of(quiet, tonal)), tonal)


def sums_of(
    rows: PollRows, band: Band | None = None, tonal: npt.NDArray[np.bool_] | None = None
) -> tuple[PollRows, SpectrumSums]:
    """Rows with one bin, and what their spectra are made of.

    Args:
        rows: as `measure_rows` returned them.
        band: the band to measure, 300-2700 Hz unless given.
        tonal: shape (bins,), steady tones where they are known; looked for in the rows unless given.
    """
    band = band or Band()
    tonal = tonal_bins(rows, band) if tonal is None else tonal
    return band_rows(rows, band, tonal), SpectrumSums.of(rows, tonal)
