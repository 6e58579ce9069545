#!/usr/bin/env python3
"""One door to everything in this repository: `python3 run.py COMMAND`.

It makes `.venv`, fills it from the hashed lock, and runs the command there. Only the standard library is
used, and the file keeps to syntax that every Python from 3.6 on can read, so that an old one can be told so.

  demo               start the demonstration in a folder of its own, then open the address it prints
  serve [ARGS]       serve the book (pitbird serve)
  pitbird ARGS       any command of the program: run.py pitbird --help
  test               everything that is checked: style, types, layers, tests
  test ARGS          only pytest, given ARGS
  test --quick       the same without slow, browser and PostgreSQL tests
  check              style, types and layers only
  bench [NAMES]      the measurements in bench/
  words              gather the words to translate and compile the catalogues (docs/languages.md)
  setup [--dev]      make or repair .venv and stop there
  lock [ARGS]        work out the lock files anew (ARGS go to uv: --upgrade, --upgrade-package NAME)
"""

import hashlib
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time

OLDEST = (3, 11)


def version_complaint(version: "tuple[int, ...]", executable: str) -> str:
    """Say what to do when Python is older than `OLDEST`; an empty string when it is not."""
    if version[:2] >= OLDEST:
        return ""
    return (
        "pitbird needs Python {0}.{1} or newer; {2} is Python {3}.{4}.\n"
        "Install a newer Python beside it (Debian and Ubuntu: apt install python3 python3-venv; Windows and\n"
        "macOS: the installer from the Python project), then start run.py with it, for example:\n"
        "    python{0}.{1} run.py demo"
    ).format(OLDEST[0], OLDEST[1], executable or "this", version[0], version[1])


if version_complaint(sys.version_info[:3], sys.executable):
    sys.stderr.write(version_complaint(sys.version_info[:3], sys.executable) + "\n")
    sys.exit(2)

from functools import partial  # noqa: E402
from pathlib import Path  # noqa: E402 (the check above comes before anything that an old Python may lack)
from typing import Any, NoReturn  # noqa: E402

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
STAMP = VENV / "pitbird-stamp.json"
# Debian packages of which the tests use one program, to look at papers and signatures from outside.
PROGRAMS = {"poppler-utils": "pdfsig", "qpdf": "qpdf", "openssl": "openssl"}
LOCKS = {"runtime": ROOT / "requirements.lock", "dev": ROOT / "requirements-dev.lock"}
PIP = ["-m", "pip", "--disable-pip-version-check", "--no-input", "--no-color"]
ON_POSTGRES = ("tests/store", "tests/services")  # tested twice: on SQLite with all others, and on PostgreSQL
QUICK = "not slow and not browser and not postgres"
CLOSING = re.compile(
    r"^(\x1b\[[0-9;]*m)*(=+ )?.*\b(passed|failed|errors?|skipped|no tests ran)\b.* in [0-9.]+s"
)
NETWORK_WORDS = (
    "NewConnectionError",
    "NameResolutionError",
    "name resolution",
    "Network is unreachable",
    "Max retries exceeded",
    "ConnectTimeout",
    "Read timed out",
    "ProxyError",
    "Could not find a version",
    "No matching distribution",
)


def say(words: str) -> None:
    """Print one line of progress."""
    print("run.py: " + words, flush=True)


def stop(words: str, status: int = 2) -> NoReturn:
    """Print what went wrong and what to do, and end."""
    sys.stdout.flush()
    sys.stderr.write("run.py: " + words + "\n")
    sys.exit(status)


# --- the environment


def venv_python() -> str:
    """Path of the interpreter inside `.venv`."""
    return str(VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python"))


def base_python() -> str:
    """The interpreter that `.venv` is made from: never the one inside it, which a rebuild removes."""
    return getattr(sys, "_base_executable", "") or sys.executable


def digest(*parts: bytes) -> str:
    """SHA-256 over the parts, each preceded by its length, as hex."""
    whole = hashlib.sha256()
    for part in parts:
        whole.update(str(len(part)).encode() + b":" + part)
    return whole.hexdigest()


def wanted_state(kind: str) -> "dict[str, str]":
    """What the stamp must say for `.venv` to be the environment of this tree, this Python and this lock."""
    python = (
        platform.python_implementation(),
        platform.python_version(),
        platform.machine(),
        sys.base_prefix,
    )
    return {
        "root": str(ROOT),
        "python": " ".join(python),
        "kind": kind,
        "lock": digest(LOCKS[kind].read_bytes()),
        "project": digest((ROOT / "pyproject.toml").read_bytes()),
    }


def read_stamp() -> "dict[str, str]":
    """The stamp of a finished environment; empty when there is none, or it cannot be read."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    sound = isinstance(stamp, dict) and all(isinstance(value, str) for value in stamp.values())
    return stamp if sound and os.path.exists(venv_python()) else {}


def settle_kind(kind: str, stamp: "dict[str, str]") -> str:
    """An environment once made for testing stays one: what it holds includes what running needs."""
    return "dev" if stamp.get("kind") == "dev" else kind


def is_ready(kind: str) -> bool:
    """Whether `.venv` needs nothing done."""
    stamp = read_stamp()
    wanted = wanted_state(settle_kind(kind, stamp))
    return all(stamp.get(key) == value for key, value in wanted.items())


def locked_names(lock: str) -> "list[str]":
    """Names of the packages that a lock file pins."""
    return re.findall(r"(?m)^([A-Za-z0-9][A-Za-z0-9._-]*)==", lock)


def setup_environ() -> "dict[str, str]":
    """The caller's environment (its pip configuration too), without what would make Python look elsewhere."""
    return {key: value for key, value in os.environ.items() if key not in ("PYTHONHOME", "PYTHONPATH")}


class SetupLock:
    """A file lock, so that two run.py do not fill the same `.venv` at once; freed when the process ends."""

    def __enter__(self) -> "SetupLock":
        self.file = open(str(ROOT / ".venv.lock"), "a+")
        told = False
        while not self._try():
            if not told:
                say("another run.py is setting up .venv; waiting for it")
                told = True
            time.sleep(0.5)
        return self

    def _try(self) -> bool:
        try:
            if sys.platform == "win32":
                import msvcrt

                self.file.seek(0)
                msvcrt.locking(self.file.fileno(), msvcrt.LK_NBLCK, 1)
            else:
                import fcntl

                fcntl.flock(self.file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            return False
        except OSError:
            return True  # a file system without locks: go on without
        return True

    def __exit__(self, *_: object) -> None:
        self.file.close()


def prepare(kind: str) -> None:
    """Make `.venv` be what `kind` ("runtime" or "dev") needs; at once when it already is."""
    if is_ready(kind):
        return
    with SetupLock():
        if is_ready(kind):
            return
        began = time.monotonic()
        build(kind)
        say("environment ready after %.0f s" % (time.monotonic() - began))


def build(kind: str) -> None:
    """Fetch first, then install, and write the stamp last: what breaks off is made anew next time."""
    stamp = read_stamp()
    wanted = wanted_state(kind)
    fresh = any(stamp.get(key) != wanted[key] for key in ("root", "python"))
    if fresh:
        make_venv()
    else:
        kind = settle_kind(kind, stamp)
        wanted = wanted_state(kind)
    try:
        if fresh or (stamp.get("kind"), stamp.get("lock")) != (kind, wanted["lock"]):
            fill(LOCKS[kind], stamp)
        else:
            remove_stamp()
        say("installing pitbird itself from this folder")
        offline = ["--no-index", "--no-deps", "--no-build-isolation", "--no-compile"]
        run_pip(["install"] + offline + ["-e", str(ROOT)])
    except BaseException:
        if fresh:
            shutil.rmtree(str(VENV), ignore_errors=True)
        raise
    wanted["names"] = " ".join(locked_names(LOCKS[kind].read_text(encoding="utf-8")))
    partial = STAMP.with_suffix(".new")
    partial.write_text(json.dumps(wanted, indent=1), encoding="utf-8")
    os.replace(str(partial), str(STAMP))


def remove_stamp() -> None:
    """Mark the environment as unfinished."""
    if STAMP.exists():
        STAMP.unlink()


def make_venv() -> None:
    """An empty `.venv`, in place of whatever stands there."""
    if VENV.is_symlink() or (VENV.exists() and not VENV.is_dir()):
        stop("%s is in the way and is not a folder; move it away and try again." % VENV)
    if VENV.exists():
        if any(VENV.iterdir()) and not (VENV / "pyvenv.cfg").exists():
            stop("%s holds something that is not a Python environment; move it away and try again." % VENV)
        say("the environment in .venv is unfinished or for another Python; making it anew")
        try:
            shutil.rmtree(str(VENV))
        except OSError as fault:
            stop("cannot remove %s (%s). End what still runs from it and try again." % (VENV, fault))
    say("making .venv with Python " + platform.python_version())
    made = subprocess.run([base_python(), "-m", "venv", str(VENV)], env=setup_environ(), check=False, **TEXT)
    if made.returncode != 0:
        shutil.rmtree(str(VENV), ignore_errors=True)
        stop(venv_complaint(made.stdout + made.stderr))


TEXT: "dict[str, Any]" = {
    "stdin": subprocess.DEVNULL,
    "stdout": subprocess.PIPE,
    "stderr": subprocess.PIPE,
    "encoding": "utf-8",
    "errors": "replace",
}


def venv_complaint(output: str) -> str:
    """What to do when `python -m venv` did not work."""
    if "ensurepip" in output or "No module named venv" in output:
        return (
            "this Python (%s) cannot make environments: its venv or ensurepip module is missing.\n"
            "On Debian and Ubuntu they are a package of their own; install it and try again:\n"
            "    apt install python3-venv" % base_python()
        )
    advice = "Is there room on the disk, and may you write to %s?" % ROOT
    return "python -m venv failed:\n%s\n%s" % (output.strip(), advice)


def fill(lock: Path, stamp: "dict[str, str]") -> None:
    """Put the lock's packages into `.venv`: fetched and hash-checked before anything there is touched."""
    text = lock.read_text(encoding="utf-8")
    names = locked_names(text)
    with tempfile.TemporaryDirectory(prefix="pitbird-wheels-") as wheels:
        say("fetching the packages of %s, each checked against its hash" % lock.name)
        run_pip(["download", "--no-deps", "--require-hashes", "-r", str(lock), "-d", wheels], len(names))
        remove_stamp()
        say("installing them")
        offline = ["install", "--no-index", "--find-links", wheels, "--no-deps", "--no-compile"]
        run_pip(offline + ["--require-hashes", "-r", str(lock)])
    leavers = sorted(set(stamp.get("names", "").split()) - set(names))
    if leavers:
        say("removing what the lock no longer holds: " + ", ".join(leavers))
        run_pip(["uninstall", "-y"] + leavers)
    say("compiling")
    compiling = [venv_python(), "-m", "compileall", "-q", "-j", "0", str(VENV)]
    subprocess.run(
        compiling, env=setup_environ(), check=False, **TEXT
    )  # some packages ship templates of code


def run_pip(arguments: "list[str]", expected: int = 0) -> None:
    """Run pip in `.venv` under the user's own pip configuration, with a progress line now and then."""
    command = [venv_python()] + PIP + arguments
    process = subprocess.Popen(
        command,
        cwd=str(ROOT),
        env=setup_environ(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    )
    lines: "list[str]" = []
    seen, told = 0, time.monotonic()
    assert process.stdout is not None
    try:
        for line in process.stdout:
            lines.append(line.rstrip())
            seen += line.startswith("Collecting ")
            if expected and time.monotonic() - told > 4:
                say("  %d of about %d packages" % (seen, expected))
                told = time.monotonic()
    finally:
        if process.poll() is None and sys.exc_info()[0] is not None:
            process.terminate()
        process.wait()
    if process.returncode != 0:
        stop(pip_complaint(arguments[0], "\n".join(lines)))


def pip_complaint(verb: str, output: str) -> str:
    """What to do when pip failed."""
    tail = "\n".join("    " + line for line in output.splitlines()[-12:])
    if "DO NOT MATCH THE HASHES" in output:
        advice = (
            "A fetched file is not the one that the lock names. Nothing was installed. Look at the package\n"
            "source that pip is set to use (pip config list); against damaged downloads: pip cache purge"
        )
    elif verb == "download" and any(word in output for word in NETWORK_WORDS):
        advice = (
            "The packages could not be fetched. Nothing was changed. Is this machine online, and does pip\n"
            "reach its package source (pip config list; behind a proxy: HTTPS_PROXY)? Then run it again."
        )
    else:
        advice = "The environment is not finished; the next run makes it anew. The lines above say why."
    return "pip %s failed:\n%s\n%s" % (verb, tail, advice)


# --- commands


def hand_over(arguments: "list[str]") -> int:
    """Run `.venv`'s Python in place of this process, in the caller's folder, so that signals reach it."""
    command = [venv_python()] + arguments
    sys.stdout.flush()
    if os.name != "nt":
        os.execv(command[0], command)  # noqa: S606 (no shell is wanted)
    return wait_for(command, Path.cwd())


def wait_for(command: "list[str]", folder: Path, **environ: str) -> int:
    """Run a command and return its exit status; on Ctrl-C let it end by itself first."""
    process = subprocess.Popen(command, cwd=str(folder), env=dict(os.environ, **environ))
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue


def find_chromium() -> "str | None":
    """The Chromium that browser tests use: PITBIRD_CHROMIUM, or one on the path."""
    named = os.environ.get("PITBIRD_CHROMIUM", "")
    return named or shutil.which("chromium") or shutil.which("chromium-browser")


def find_postgres() -> "str | None":
    """A folder with PostgreSQL's initdb and pg_ctl."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    found = str(debian[-1]) if debian else shutil.which("initdb")
    return os.path.dirname(found) if found else None


def install_system_packages() -> "list[str]":
    """What the tests need besides, installed where it may be; returns what is missing, and why."""
    finders = {"chromium": find_chromium, "postgresql": find_postgres}
    finders.update({package: partial(shutil.which, program) for package, program in PROGRAMS.items()})
    missing = [name for name, find in finders.items() if not find()]
    if not missing:
        return []
    if not shutil.which("apt-get"):
        why = "apt-get is not here; install it with the system's own packages"
    elif os.name == "nt" or os.geteuid() != 0:
        why = "not root; as root: apt-get install --no-install-recommends " + " ".join(missing)
    else:
        why = apt_install(missing)
    return ["%s: %s" % (name, why) for name in missing if not finders[name]()]


def apt_install(names: "list[str]") -> str:
    """Install Debian packages with progress shown; return why it did not work, if so."""
    say("installing Debian packages for the tests: " + ", ".join(names))
    environ = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    update = ["apt-get", "-q", "update"]
    install = ["apt-get", "-q", "-y", "-o", "Dpkg::Use-Pty=0", "install", "--no-install-recommends"] + names
    for command in (update, install):
        status = subprocess.call(command, env=environ, stdin=subprocess.DEVNULL)
        if status != 0:
            return "%s ended with status %d" % (" ".join(command[:1] + command[-len(names) - 2 :]), status)
    return "apt-get installed it, but it is not where it is looked for"


def check() -> "dict[str, bool]":
    """Style, types, layers; name of each check and whether it passed."""
    scripts = Path(venv_python()).parent
    checks = {
        "ruff check": [str(scripts / "ruff"), "check", "."],
        "ruff format": [str(scripts / "ruff"), "format", "--check", "."],
        "mypy --strict": [venv_python(), "-m", "mypy"],
        "layers": [str(scripts / "lint-imports"), "--no-logo"],
    }
    results = {}
    with tempfile.TemporaryDirectory(prefix="pitbird-check-") as home:  # mypy reads Django's settings
        for name, command in checks.items():
            say(name)
            results[name] = wait_for(command, ROOT, PITBIRD_HOME=home) == 0
    return results


def run_pytest(arguments: "list[str]", notes_file: str) -> "tuple[int, str]":
    """Run pytest, showing what it prints as it prints it; return its exit status and its closing line."""
    colour = ["--color=yes"] if sys.stdout.isatty() else []
    environ = dict(os.environ, PITBIRD_TEST_NOTES=notes_file, PYTHONUNBUFFERED="1")
    command = [venv_python(), "-m", "pytest"] + colour + arguments
    process = subprocess.Popen(command, cwd=str(ROOT), env=environ, stdout=subprocess.PIPE)
    assert process.stdout is not None
    kept = b""
    while True:
        try:
            chunk = os.read(process.stdout.fileno(), 65536)
        except KeyboardInterrupt:
            continue
        if not chunk:
            break
        sys.stdout.buffer.write(chunk)
        sys.stdout.buffer.flush()
        kept = (kept + chunk)[-200000:]
    lines = kept.decode("utf-8", "replace").splitlines()
    closing = [line for line in lines if CLOSING.match(line)]
    return process.wait(), closing[-1] if closing else ""


def test(arguments: "list[str]") -> int:
    """The whole workshop round; pytest's closing line is printed last."""
    quick = "--quick" in arguments
    arguments = [argument for argument in arguments if argument != "--quick"]
    began = time.monotonic()
    prepare("dev")
    missing = [] if quick else install_system_packages()
    results = {} if arguments else check()
    workers = min(4, os.cpu_count() or 1)
    spread = ["-n", str(workers), "--dist", "loadfile"] if not arguments and workers > 1 else []
    if not arguments and not quick and find_postgres():
        say("the rooms with the database, on PostgreSQL")
        folders = [name for name in ON_POSTGRES if (ROOT / name).is_dir()]
        command = [venv_python(), "-m", "tests.workshop.postgres"] + spread + ["-m", "not own_book"] + folders
        results["on PostgreSQL"] = wait_for(command, ROOT) == 0
    options = (["-m", QUICK, "--hypothesis-profile=quick"] if quick else []) + spread
    with tempfile.TemporaryDirectory(prefix="pitbird-test-") as folder:
        notes_file = os.path.join(folder, "notes.json")
        status, closing = run_pytest(options + arguments, notes_file)
        untested = json.loads(Path(notes_file).read_text("utf-8")) if os.path.exists(notes_file) else []
    results["pytest"] = status == 0
    print("\nSummary (%.0f s)" % (time.monotonic() - began))
    for name, passed in results.items():
        print("  %-14s %s" % (name, "passed" if passed else "FAILED"))
    for line in missing + untested:
        print("  not tested     " + line)
    print(closing, flush=True)
    return status or (0 if all(results.values()) else 1)


def lock(arguments: "list[str]") -> int:
    """Work out both lock files: for every system and Python, with hashes, naming no package source."""
    prepare("dev")
    uv = [str(Path(venv_python()).parent / "uv")]
    uv += "--no-config pip compile pyproject.toml --quiet --universal --fork-strategy fewest".split()
    uv += "--generate-hashes --no-header --no-emit-index-url --python-version".split() + ["%d.%d" % OLDEST]
    uv += arguments
    runtime = ["--group", "build", "--output-file", LOCKS["runtime"].name]
    dev = ["--group", "dev", "--extra", "postgres", "--constraints", LOCKS["runtime"].name]
    for extra in (runtime, dev + ["--output-file", LOCKS["dev"].name]):
        say("working out " + extra[-1])
        status = wait_for(uv + extra, ROOT)
        if status != 0:
            return status
    prepare("dev")
    return 0


def main(arguments: "list[str]") -> int:
    """Run one command."""
    command, rest = (arguments[0], arguments[1:]) if arguments else ("help", [])
    if command in ("demo", "serve", "pitbird"):
        prepare("runtime")
        return hand_over(["-m", "pitbird"] + ([] if command == "pitbird" else [command]) + rest)
    if command == "test":
        return test(rest)
    if command == "check":
        prepare("dev")
        return 0 if all(check().values()) else 1
    if command == "bench":
        prepare("dev")
        return wait_for([venv_python(), "-m", "bench"] + rest, ROOT)
    if command == "words":
        prepare("dev")
        return wait_for([venv_python(), "-m", "tests.workshop.catalogues"], ROOT)
    if command == "setup":
        prepare("dev" if "--dev" in rest else "runtime")
        return 0
    if command == "lock":
        return lock(rest)
    print(__doc__)
    if command in ("help", "-h", "--help"):
        return 0 if arguments else 2
    stop("there is no command '%s'; the commands are listed above." % command)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        stop("broken off; the next run takes up where this one ended.", 130)
