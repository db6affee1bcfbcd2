"""An evidence bag: a session and all that is needed to check it, as a bag for archives (BagIt, RFC 8493)."""

from __future__ import annotations

import logging
import re
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

from telltick.export.report.words import lasting, said
from telltick.export.values import utc, wall_utc
from telltick.model.errors import CancelledError
from telltick.model.evidence import Evidence

Progress = Callable[[float], bool]
ALGORITHMS = ("sha256", "sha512")  # RFC 8493 section 2.4 wants SHA-512; SHA-256 is what the report prints
_VERSION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_LEVEL = 6  # of deflating: audio of noise shrinks by a tenth, a journal by a half

README = """\
Evidence: interference made by serial polling
=============================================

{subtitle}

This is a bag (BagIt 1.0, RFC 8493). What it holds, in data/:

{session}/      the session itself: audio/ (plain WAV) and journal.sqlite (what happened, and when)
results.json    everything measured, in full precision (schema telltick.session/1)
report.html     the report, one page that needs nothing else; open it in any browser
README.txt      this text

Is it as it was? Any BagIt tool validates it; so do, in the folder of the bag:

    sha256sum -c manifest-sha256.txt

Are the numbers right? Measure it again, and compare with results.json, key "measurement":

    telltick measure --json .

Made by {program} on {made}. The session was {how} by {recorder}.

{cautions}
"""


def name_in_bag(name: str) -> str:
    """A session's name as a folder that every system and every manifest can hold."""
    return re.sub(r"[^\w.-]", "_", name).lstrip(".") or "session"


def readme_text(evidence: Evidence, subtitle: str, cautions: tuple[str, ...]) -> str:
    """The text beside the session in a bag."""
    facts = evidence.session.facts
    made = utc(evidence.made_wall_ns)
    return README.format(
        subtitle=subtitle,
        session=evidence.session.name,
        program=evidence.program,
        made=made or "an unknown day",
        how="imported" if facts.imported else "recorded",
        recorder=facts.program or "an unknown program",
        cautions="\n".join(f"- {caution}" for caution in cautions),
    )


def bag_info(evidence: Evidence, title: str, subtitle: str) -> dict[str, str]:
    """What ``bag-info.txt`` says (RFC 8493 section 2.2.2); nothing about people."""
    session = evidence.session
    made = utc(evidence.made_wall_ns)
    told = {
        "External-Description": f"{title}: {subtitle}",
        "External-Identifier": session.name,
        "Bag-Software-Agent": evidence.program,
        "Recording-Date": wall_utc(session.facts) or said(session.facts.recorded, 40),
        "Recording-Length": lasting(session.seconds),
    }
    if made:
        told["Bagging-Date"] = made[:10]
    return {label: value for label, value in told.items() if value}


def make_bag(folder: Path, info: Mapping[str, str]) -> None:
    """Turn a folder into a bag: its contents move into ``data/``, manifests come beside it.

    The library steps into the folder while it works: nothing else in this process may rely on the working
    directory meanwhile.

    Args:
        folder: what shall be in ``data/``.
        info: labels and values for ``bag-info.txt``.
    """
    import bagit

    logging.getLogger("bagit").setLevel(logging.CRITICAL)  # it would print tracebacks of what is told anyway
    bag = bagit.make_bag(str(folder), dict(info), checksums=list(ALGORITHMS))
    # The library writes the draft's number, 0.97. What it makes is a bag of RFC 8493 all the same, which is
    # 1.0: no path here needs the one escape in which they differ.
    (folder / "bagit.txt").write_text(_VERSION, encoding="ascii", newline="\n")
    bag = bagit.Bag(str(folder))
    bag.save()
    bag.validate(completeness_only=True)


def zip_bag(folder: Path, archive: Path, name: str, progress: Progress = lambda _: True) -> None:
    """Write a bag as one ZIP file that unpacks into one folder (RFC 8493 section 4).

    Args:
        folder: the bag.
        archive: file to write.
        name: folder that it unpacks into.
        progress: told the share done, 0 to 1; answers False to give up.

    Raises:
        CancelledError: progress said to give up.
    """
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    whole, done = max(sum(path.stat().st_size for path in paths), 1), 0
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as out:
        for path in paths:
            out.write(path, f"{name}/{path.relative_to(folder).as_posix()}")
            done += path.stat().st_size
            if not progress(done / whole):
                raise CancelledError("given up: nothing was written")
