"""What is built from the tree, and that its version is written once."""

import re
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import version
from pathlib import Path

import pytest

import pitbird
import run


def test_the_version_is_written_once_and_installed_as_written() -> None:
    project = tomllib.loads((run.ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert "version" not in project
    assert "version" in project["dynamic"]
    assert version("pitbird") == pitbird.__version__
    assert re.fullmatch(r"\d+\.\d+\.\d+", pitbird.__version__)


@pytest.mark.slow
def test_the_wheel_holds_every_file_of_the_package(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=run.ROOT, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("*.whl")
    held = {name for name in zipfile.ZipFile(wheel).namelist() if name.startswith("pitbird/")}
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "src/pitbird"],
        cwd=run.ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode != 0:
        pytest.skip("not a git work tree: what belongs to the package cannot be listed")
    tree = {line.removeprefix("src/") for line in listed.stdout.splitlines() if (run.ROOT / line).exists()}
    assert "pitbird/py.typed" in held
    assert tree == held


def test_the_licence_travels_with_the_package() -> None:
    assert "Apache License" in (run.ROOT / "LICENSE").read_text("utf-8")
    project = tomllib.loads((run.ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["license"] == "Apache-2.0"
    assert project["license-files"] == ["LICENSE"]


def test_the_changelog_has_a_heading_for_this_version_and_says_none_where_there_is_none() -> None:
    text = (run.ROOT / "CHANGELOG.md").read_text("utf-8")
    sections = re.split(r"(?m)^## ", text)[1:]
    assert any(
        pitbird.__version__ in section.splitlines()[0] or "Unreleased" in section for section in sections
    )
    for section in sections:
        for heading in ("Results that change", "Book format"):
            found = re.search(rf"(?m)^### {heading}\n+(\S.*)", section)
            assert found, f"{section.splitlines()[0]}: '{heading}' must say something, if only 'none'"
