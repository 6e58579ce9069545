"""run.py: what it says when something is missing; an environment is only ready when it is finished."""

import ast
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import run

SOURCE = run.ROOT / "run.py"


@pytest.mark.parametrize("minor", [6, 7, 8, 10])
def test_older_pythons_can_read_run_py(minor: int) -> None:
    ast.parse(SOURCE.read_text("utf-8"), feature_version=(3, minor))


def test_nothing_newer_than_python_3_6_runs_before_the_version_is_checked() -> None:
    """Up to the check: imports of modules that Python 3.6 has, constants, one function with plain hints."""
    known_to_old = {
        "hashlib",
        "json",
        "os",
        "platform",
        "re",
        "shutil",
        "subprocess",
        "sys",
        "tempfile",
        "time",
    }
    tree = ast.parse(SOURCE.read_text("utf-8"))
    before = tree.body[: next(i for i, node in enumerate(tree.body) if isinstance(node, ast.If))]
    imported = {a.name for node in before if isinstance(node, ast.Import) for a in node.names}
    assert imported <= known_to_old
    assert all(isinstance(node, (ast.Expr, ast.Import, ast.Assign, ast.FunctionDef)) for node in before)
    hints = [arg.annotation for node in before if isinstance(node, ast.FunctionDef) for arg in node.args.args]
    assert all(isinstance(hint, (ast.Constant, ast.Name)) for hint in hints)


def test_an_old_python_is_told_what_to_do_and_ends_with_status_2(tmp_path: Path) -> None:
    script = tmp_path / "old.py"
    script.write_text(
        "import runpy, sys\n"
        "sys.version_info = (3, 8, 10, 'final', 0)\n"
        f"runpy.run_path({str(SOURCE)!r}, run_name='__main__')\n"
    )
    ended = subprocess.run([sys.executable, script], capture_output=True, text=True, check=False)
    assert ended.returncode == 2
    assert "needs Python 3.11 or newer" in ended.stderr
    assert "is Python 3.8" in ended.stderr
    assert "python3.11 run.py demo" in ended.stderr
    assert "Traceback" not in ended.stderr


@pytest.mark.parametrize(
    ("version", "complains"),
    [((3, 10, 14), True), ((3, 11, 0), False), ((3, 13, 1), False), ((4, 0, 0), False)],
)
def test_the_oldest_python_that_will_do_is_3_11(version: tuple[int, int, int], complains: bool) -> None:
    assert bool(run.version_complaint(version, "python3")) is complains


@pytest.mark.parametrize("arguments", [["--help"], ["help"]])
def test_help_lists_every_command(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run.main(arguments) == 0
    shown = capsys.readouterr().out
    for command in ("demo", "serve", "pitbird", "test", "check", "bench", "setup", "lock"):
        assert f"\n  {command} " in shown


def test_an_unknown_command_is_named_and_ends_with_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        run.main(["tets"])
    assert ended.value.code == 2
    assert "no command 'tets'" in capsys.readouterr().err


def test_a_missing_venv_module_is_explained() -> None:
    debian = "The virtual environment was not created successfully because ensurepip is not\navailable."
    assert "apt install python3-venv" in run.venv_complaint(debian)
    assert "No space left" in run.venv_complaint("OSError: [Errno 28] No space left on device")


def test_a_missing_network_is_explained() -> None:
    # What pip 23.2 prints without a network, shortened.
    output = (
        "WARNING: Retrying (Retry(total=0)) after connection broken by 'NewConnectionError(...)'\n"
        "ERROR: No matching distribution found for django==5.2"
    )
    said = run.pip_complaint("download", output)
    assert "could not be fetched. Nothing was changed" in said
    assert "No matching distribution found for django" in said


def test_a_file_with_the_wrong_hash_is_not_called_a_network_fault() -> None:
    output = "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE."
    assert "not the one that the lock names" in run.pip_complaint("download", output)


class Tree:
    """A small tree whose lock needs no network: one package, made here, found by pip's find-links."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.links = root / "links"
        self.links.mkdir()
        (root / "run.py").write_bytes(SOURCE.read_bytes())
        (root / "requirements-dev.lock").write_text("")
        self.environ = {key: value for key, value in os.environ.items() if not key.startswith("PIP_")}
        self.environ.update(PIP_CONFIG_FILE=os.devnull, PIP_NO_INDEX="1", PIP_FIND_LINKS=str(self.links))
        self.environ.update(TMPDIR=str(root))

    def project(self, text: str) -> None:
        """A pyproject.toml whose backend is the one in this test's own environment."""
        (self.root / "pyproject.toml").write_text(text)

    def begin(self) -> "subprocess.Popen[str]":
        """Start `run.py setup` there."""
        command = [sys.executable, "-u", "run.py", "setup"]
        piped = subprocess.PIPE
        return subprocess.Popen(
            command, cwd=self.root, env=self.environ, stdout=piped, stderr=piped, text=True
        )

    def setup(self) -> "subprocess.CompletedProcess[str]":
        """Run `run.py setup` there to its end."""
        return subprocess.run(
            [sys.executable, "run.py", "setup"],
            cwd=self.root,
            env=self.environ,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )


BACKEND = """
import os, zipfile

def _wheel(folder, name, files):
    with zipfile.ZipFile(os.path.join(folder, name + "-1.0-py3-none-any.whl"), "w") as wheel:
        for path, text in files.items():
            wheel.writestr(path, text)
        info = name + "-1.0.dist-info/"
        wheel.writestr(info + "METADATA", "Metadata-Version: 2.1\\nName: " + name + "\\nVersion: 1.0\\n")
        wheel.writestr(info + "WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr(info + "RECORD", "".join(p + ",,\\n" for p in list(files) + [info + n for n in
                                                ("METADATA", "WHEEL", "RECORD")]))
    return name + "-1.0-py3-none-any.whl"

def build_editable(folder, config_settings=None, metadata_directory=None):
    return _wheel(folder, "tinyproject", {"tinyproject.pth": os.path.join(os.getcwd(), "src")})
"""


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    made = Tree(tmp_path)
    scope: dict[str, object] = {}
    exec(compile(BACKEND, "backend", "exec"), scope)  # noqa: S102 (the backend above, which the test wrote)
    wheel = scope["_wheel"]
    assert callable(wheel)
    wheel(str(made.links), "tinybackend", {"tinybackend.py": BACKEND})
    made.project('[build-system]\nrequires = []\nbuild-backend = "tinybackend"\n')
    lock_tiny(made)
    return made


def lock_tiny(tree: Tree, digest: str = "") -> None:
    wheel = tree.links / "tinybackend-1.0-py3-none-any.whl"
    digest = digest or hashlib.sha256(wheel.read_bytes()).hexdigest()
    (tree.root / "requirements.lock").write_text(f"tinybackend==1.0 \\\n    --hash=sha256:{digest}\n")


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="looks into the environment by its layout on Linux and macOS")
def test_setting_up_is_done_once_and_repaired_after_a_break(tree: Tree) -> None:
    first = tree.setup()
    assert first.returncode == 0, first.stdout + first.stderr
    assert "making .venv" in first.stdout
    assert "environment ready" in first.stdout
    python = tree.root / ".venv" / "bin" / "python"
    assert subprocess.run([python, "-c", "import tinybackend"], check=False).returncode == 0

    assert tree.setup().stdout == "", "the second time there is nothing to do"

    (tree.root / "pyproject.toml").write_text((tree.root / "pyproject.toml").read_text() + "# changed\n")
    third = tree.setup().stdout
    assert "installing pitbird itself" in third
    assert "fetching" not in third

    # A break in the middle of installing leaves no stamp; what is there is not trusted.
    (tree.root / ".venv" / "pitbird-stamp.json").unlink()
    next((tree.root / ".venv").glob("lib/*/site-packages/tinybackend.py")).unlink()
    fourth = tree.setup()
    assert "making it anew" in fourth.stdout
    assert subprocess.run([python, "-c", "import tinybackend"], check=False).returncode == 0


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="looks into the environment by its layout on Linux and macOS")
def test_a_failed_fetch_changes_nothing_and_leaves_nothing_half_made(tree: Tree) -> None:
    lock_tiny(tree, "0" * 64)
    refused = tree.setup()
    assert refused.returncode == 2
    assert "not the one that the lock names" in refused.stderr
    assert not (tree.root / ".venv").exists()

    lock_tiny(tree)
    assert tree.setup().returncode == 0
    stamp = tree.root / ".venv" / "pitbird-stamp.json"
    before = stamp.read_text()
    (tree.root / "requirements.lock").write_text("absent==1.0 \\\n    --hash=sha256:" + "0" * 64 + "\n")
    missing = tree.setup()
    assert missing.returncode == 2
    assert "could not be fetched. Nothing was changed" in missing.stderr
    assert stamp.read_text() == before
    python = tree.root / ".venv" / "bin" / "python"
    assert subprocess.run([python, "-c", "import tinybackend"], check=False).returncode == 0


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="kills by signal")
def test_two_set_ups_at_once_make_one_environment_and_a_killed_one_is_made_good(tree: Tree) -> None:
    killed = tree.begin()
    assert killed.stdout is not None
    assert "making .venv" in killed.stdout.readline()
    assert "fetching" in killed.stdout.readline()
    killed.kill()
    killed.communicate()

    both = [tree.begin(), tree.begin()]
    said = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    together = said[0][0] + said[1][0]
    assert together.count("environment ready") == 1
    assert together.count("waiting for it") == 1
    python = tree.root / ".venv" / "bin" / "python"
    assert subprocess.run([python, "-c", "import tinybackend"], check=False).returncode == 0


def test_a_folder_that_is_no_environment_is_not_removed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run, "VENV", tmp_path / ".venv")
    (tmp_path / ".venv").mkdir()
    (tmp_path / ".venv" / "letters.txt").write_text("keep me")
    with pytest.raises(SystemExit):
        run.make_venv()
    assert (tmp_path / ".venv" / "letters.txt").read_text() == "keep me"
    assert "not a Python environment" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["", "{", "[]", '{"kind": 3}', '"runtime"'])
def test_a_damaged_stamp_counts_as_none(text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "STAMP", tmp_path / "stamp.json")
    (tmp_path / "stamp.json").write_text(text)
    assert run.read_stamp() == {}


def test_an_environment_for_testing_serves_for_running_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "STAMP", tmp_path / "stamp.json")
    (tmp_path / "stamp.json").write_text(json.dumps(run.wanted_state("dev")))
    assert run.is_ready("dev")
    assert run.is_ready("runtime")
    (tmp_path / "stamp.json").write_text(json.dumps(run.wanted_state("runtime")))
    assert run.is_ready("runtime")
    assert not run.is_ready("dev")


@pytest.mark.parametrize(
    "line",
    [
        "============================== 9 passed in 2.06s ===============================",
        "1 failed, 3 passed, 2 skipped in 0.12s",
        "\x1b[32m====== \x1b[32m\x1b[1m9 passed\x1b[0m\x1b[32m in 2.06s\x1b[0m\x1b[32m ======\x1b[0m",
        "============ no tests ran in 0.01s ============",
        "=== 3 passed, 1 error in 65.00s (0:01:05) ===",
    ],
)
def test_the_closing_line_of_pytest_is_recognised(line: str) -> None:
    assert run.CLOSING.match(line)


@pytest.mark.parametrize("line", ["tests/a.py ....", "E   assert 'passed in' == 3", "slowest 3 durations"])
def test_other_lines_are_not_taken_for_the_closing_line(line: str) -> None:
    assert not run.CLOSING.match(line)


def test_what_cannot_be_installed_is_named_with_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "find_chromium", lambda: None)
    monkeypatch.setattr(run, "find_postgres", lambda: "/usr/bin")
    monkeypatch.setattr(shutil, "which", lambda _: None)
    assert run.install_system_packages() == [
        f"{name}: apt-get is not here; install it with the system's own packages"
        for name in ("chromium", "poppler-utils", "qpdf", "openssl")
    ]


def test_nothing_is_installed_that_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: list[str]) -> str:
        raise AssertionError("apt was called")

    monkeypatch.setattr(run, "find_chromium", lambda: "/usr/bin/chromium")
    monkeypatch.setattr(run, "find_postgres", lambda: "/usr/bin")
    monkeypatch.setattr(run, "PROGRAMS", {"a-shell": "sh"})
    monkeypatch.setattr(run, "apt_install", refuse)
    assert run.install_system_packages() == []


@pytest.mark.skipif(os.name == "nt", reason="apt-get is a program of Debian's")
@pytest.mark.parametrize(
    ("status", "why"), [(0, "not where it is looked for"), (100, "ended with status 100")]
)
def test_debian_packages_are_asked_for_once_and_without_recommendations(
    status: int, why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake = tmp_path / "apt-get"
    fake.write_text(f'#!/bin/sh\necho "$@" >> {tmp_path}/calls\nexit {status}\n')
    fake.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(run, "find_chromium", lambda: None)
    monkeypatch.setattr(run, "find_postgres", lambda: None)
    monkeypatch.setattr(run, "PROGRAMS", {"qpdf": "qpdf"})
    missing = run.install_system_packages()
    calls = (tmp_path / "calls").read_text().splitlines()
    assert calls[0].endswith("update")
    assert status != 0 or calls[1].endswith("install --no-install-recommends chromium postgresql qpdf")
    assert [line.split(":")[0] for line in missing] == ["chromium", "postgresql", "qpdf"]
    assert all(why in line for line in missing)


def test_bench_says_when_a_measurement_is_unknown() -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "bench", "no-such"], cwd=run.ROOT, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 2
    assert "no measurement named no-such" in ended.stderr
