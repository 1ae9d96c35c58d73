"""What an installed copy must bring along: scripts, styles, templates, schemas and rule examples.

`make wheel-test` runs this against the built wheel in an environment of its own (KB and WHEEL name
them); `make test` runs it against the copy under test and a wheel built for the occasion.
"""

from __future__ import annotations

import filecmp
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.smoke


def run(*command: str, cwd: Path) -> str:
    """Run a command that must go well and return what it prints."""
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 0, f"{command} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the wheel that WHEEL names, or build one."""
    if "WHEEL" in os.environ:
        return ROOT / os.environ["WHEEL"]
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder), cwd=ROOT)
    return next(folder.glob("*.whl"))


def test_wheel_holds_every_file_of_the_package(wheel: Path) -> None:
    """Every file below kb_tools that is no leftover of a run is in the wheel, and nothing else of ours."""
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    ours = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "kb_tools").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert held == ours


def test_command_tells_its_version(kb: str, tmp_path: Path) -> None:
    """The installed command starts anywhere."""
    assert run(kb, "--version", cwd=tmp_path).startswith("kb ")


def test_demo_library_is_sound(kb: str, tmp_path: Path) -> None:
    """The installed command proves the demo library."""
    run(kb, "check", "--library", str(ROOT), cwd=tmp_path)


def test_rule_is_explained(kb: str, tmp_path: Path) -> None:
    """The installed command explains a rule from the rule's own page."""
    assert "no-loop" in run(kb, "rule", "no-loop", cwd=tmp_path)


def test_site_is_the_same_from_an_installed_copy(kb: str, demo_site: Path, tmp_path: Path) -> None:
    """The command under test and the one of this environment build the same site, byte for byte."""
    own = shutil.which("kb", path=sysconfig.get_path("scripts"))
    assert own
    assert kb == os.environ.get("KB", own)
    site = tmp_path / "site"
    run(own, "build", "--library", str(ROOT), "--out", str(site), cwd=tmp_path)
    built, expected = (
        {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
        for folder in (demo_site, site)
    )
    assert built == expected
    assert filecmp.cmpfiles(demo_site, site, sorted(built), shallow=False)[1:] == ([], [])
    assert any(name.endswith(".css") for name in built)
    assert any(name.startswith("kb/trees/") for name in built)


def test_new_library_can_be_started(kb: str, tmp_path: Path) -> None:
    """A library that `kb start` writes is sound."""
    library = tmp_path / "library"
    run(kb, "start", str(library), cwd=tmp_path)
    run(kb, "check", "--library", str(library), cwd=tmp_path)
