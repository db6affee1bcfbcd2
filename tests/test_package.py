"""The wheel that users install holds all that the program needs at run time."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest

from telltick import __version__

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> zipfile.ZipFile:
    """The wheel of this tree, freshly built."""
    uv = shutil.which("uv")
    if uv is None:
        pytest.skip("uv is not installed: the wheel cannot be built")
    place = tmp_path_factory.mktemp("wheel")
    command = [uv, "build", "--wheel", "--out-dir", str(place), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    if done.returncode and "error sending request" in done.stderr:
        pytest.skip("the build backend cannot be fetched: no network")
    assert done.returncode == 0, done.stderr
    (path,) = place.glob("telltick-*.whl")
    with zipfile.ZipFile(path) as opened:
        yield opened


def data_files(folder: str) -> set[str]:
    """Files of a folder at the top of the tree, as git knows them."""
    known = subprocess.run(
        ["git", "ls-files", "-z", folder], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return {name for name in known.stdout.split("\0") if name}


@pytest.mark.parametrize("folder", ["themes", "recordings"])
def test_palettes_and_example_sessions_are_in_the_wheel(wheel, folder):
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    wanted = data_files(folder)
    assert wanted
    assert {f"telltick/{name}" for name in wanted} <= set(wheel.namelist())


def test_schemas_and_the_typing_marker_are_in_the_wheel(wheel):
    names = set(wheel.namelist())
    assert "telltick/py.typed" in names
    assert {"telltick/export/schemas/measurement-1.json", "telltick/export/schemas/session-1.json"} <= names


def test_every_module_is_in_the_wheel_and_no_test_is(wheel):
    names = set(wheel.namelist())
    source = ROOT / "tui"
    modules = {path.relative_to(source).as_posix() for path in (source / "telltick").rglob("*.py")}
    assert modules <= names
    assert not [name for name in names if name.startswith("tests/") or "/test_" in name]


def test_the_command_and_the_version_are_declared(wheel):
    names = wheel.namelist()
    metadata = next(name for name in names if name.endswith(".dist-info/METADATA"))
    told = Parser().parsestr(wheel.read(metadata).decode())
    assert told["Name"] == "telltick"
    assert told["Version"] == __version__
    assert told["Requires-Python"] == ">=3.11"
    assert any(need.startswith("textual") and "<9" in need for need in told.get_all("Requires-Dist"))
    entries = next(name for name in names if name.endswith(".dist-info/entry_points.txt"))
    assert "telltick = telltick.cli:main" in wheel.read(entries).decode()
    assert any("LICENSE" in name for name in names)


def test_the_unpacked_wheel_runs_from_anywhere_and_finds_its_own_files(wheel, tmp_path):
    wheel.extractall(tmp_path / "site")
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import telltick.assets, telltick.cli\n"
        "from pathlib import Path\n"
        "for folder in ('themes', 'recordings'):\n"
        "    print(telltick.assets.shipped(folder).relative_to(Path(sys.argv[1]).resolve()).as_posix())\n"
        "sys.exit(telltick.cli.main(['--version']))\n"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", program, str(tmp_path / "site")],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines == ["telltick/themes", "telltick/recordings", f"telltick {__version__}"]


def test_the_installed_command_tells_its_version():
    command = Path(sys.executable).parent / "telltick"
    if not command.exists():
        pytest.skip("telltick is not installed as a command here")
    done = subprocess.run([command, "--version"], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == f"telltick {__version__}\n"
