"""The commands as a whole: all of them documented, quick help, no traceback for what people get wrong."""

import re
import resource
import subprocess
import sys
from pathlib import Path

import pytest
import typer

import run
from pitbird.cli.app import app
from tests.cli.conftest import Pitbird

DOCUMENT = (run.ROOT / "docs" / "commands.md").read_text("utf-8")
#: Options that belong to the program or to every command.
EVERYWHERE = {"--help", "-h", "--version"}


def commands() -> dict[str, set[str]]:
    """Every command with its options, groups included."""
    found: dict[str, set[str]] = {}

    def walk(name: str, command: object) -> None:
        options = {each for parameter in command.params for each in parameter.opts if each.startswith("-")}  # type: ignore[attr-defined]
        found[name] = options - EVERYWHERE
        for part, inner in getattr(command, "commands", {}).items():
            walk(f"{name} {part}", inner)

    walk("pitbird", typer.main.get_command(app))
    del found["pitbird"]
    return found


def sections() -> dict[str, str]:
    """The sections of the document that are about a command, by its name."""
    parts = re.split(r"(?m)^#{2,3} ", DOCUMENT)[1:]
    return {part.splitlines()[0]: part for part in parts if part.startswith("pitbird ")}


def test_every_command_is_documented_and_no_other() -> None:
    assert set(sections()) == set(commands())
    assert len(commands()) > 20


@pytest.mark.parametrize("command", sorted(commands()))
def test_every_option_is_documented_and_no_other(command: str) -> None:
    said = set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", sections()[command]))
    options = commands()[command]
    assert options - said == set(), "not in docs/commands.md"
    assert said - options == set(), "no such option"


@pytest.mark.parametrize("command", ["pitbird", *sorted(commands())])
def test_every_command_explains_itself(command: str) -> None:
    from typer.testing import CliRunner

    shown = CliRunner().invoke(app, [*command.split()[1:], "--help"])
    assert shown.exit_code == 0
    usage = shown.stdout.splitlines()[0]
    assert all(word in usage.split() for word in command.split()[1:])
    assert len(shown.stdout.splitlines()) > 5


def test_help_comes_at_once() -> None:
    """Less than 0.4 s of processor time, since people ask for it often."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "pitbird", "--help"], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert spent < 0.4


def test_help_loads_neither_django_nor_pydantic() -> None:
    code = (
        "import sys, pitbird.cli.app, typer; typer.main.get_command(pitbird.cli.app.app); "
        "print(sorted({'django', 'pydantic', 'uvicorn', 'pitbird.services'} & set(sys.modules)))"
    )
    ended = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert ended.stdout.strip() == "[]"


def test_an_unknown_command_or_option_is_refused(program: Pitbird) -> None:
    for line in ("gait", "gate --sight x", "test"):
        refused = program(line)
        assert refused.status == 2, line
        assert refused.out == ""
        assert refused.err


def test_a_wrong_setting_speaks_and_leaves_no_traceback(program: Pitbird, tmp_path: Path) -> None:
    refused = program("gate", PITBIRD_DATABASE="mysql://somewhere/else")
    assert refused.status == 2
    assert "PITBIRD_DATABASE must look like postgresql://" in refused.err
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    refused = program("gate", PITBIRD_HOME=str(in_the_way / "home"))
    assert refused.status == 2
    assert refused.err.startswith("PITBIRD_HOME: ")
    assert len(refused.faults) == 1


def test_the_program_says_its_version(program: Pitbird) -> None:
    import pitbird

    assert program("--version").out == f"pitbird {pitbird.__version__}\n"
