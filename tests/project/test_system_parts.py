"""The check of the system's parts: silent when all is there, one clear command when not."""

import os
import shutil
import subprocess
import sys

import pytest

from tests.project.files import ROOT

TOOLS = ("bash", "cat", "mktemp", "rm", "dirname", "env", "uname")


@pytest.fixture
def bare_machine(tmp_path):
    """A folder of programs that holds no more than the check itself needs."""
    programs = tmp_path / "bin"
    programs.mkdir()
    for tool in TOOLS:
        found = shutil.which(tool)
        if found:
            (programs / tool).symlink_to(os.path.realpath(found))
    program(programs, "python3", f'exec {sys.executable} "$@"')
    return programs


def program(folder, name: str, script: str) -> None:
    path = folder / name
    path.write_text(f"#!/bin/bash\n{script}\n")
    path.chmod(0o755)


def check(programs, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [ROOT / ".ci" / "system", *options],
        env={"PATH": str(programs), "HOME": str(programs)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("lookup", "browser"), [("exit 0", "chromium-headless-shell"), ("exit 100", "chromium")]
)
def test_root_on_debian_installs_what_is_missing(bare_machine, tmp_path, lookup, browser):
    called = tmp_path / "called"
    program(bare_machine, "id", "echo 0")
    program(bare_machine, "apt-cache", lookup)
    program(bare_machine, "apt-get", f'echo "$*" >> {called}')
    checked = check(bare_machine, "--tests")
    assert checked.returncode == 0, checked.stderr
    update, install = called.read_text().splitlines()
    assert update.startswith("update")
    assert install.startswith("install -y")
    assert "redis-server" in install
    assert browser in install.split()


def test_a_failed_installation_stops_and_says_so(bare_machine):
    program(bare_machine, "id", "echo 0")
    program(bare_machine, "apt-get", "echo 'no route to the archive'; exit 100")
    checked = check(bare_machine)
    assert checked.returncode == 1
    assert "no route to the archive" in checked.stderr
    assert "apt-get could not install: redis-server" in checked.stderr


def test_without_rights_it_says_the_one_command(bare_machine):
    program(bare_machine, "id", "echo 1000")
    program(bare_machine, "apt-get", "exit 100")
    checked = check(bare_machine)
    assert checked.returncode == 1
    assert "sudo apt-get update && sudo apt-get install" in checked.stderr


def test_elsewhere_it_says_the_one_command(bare_machine):
    checked = check(bare_machine)
    assert checked.returncode == 1
    assert "sudo dnf install redis" in checked.stderr


def test_nothing_is_said_when_all_is_there(bare_machine):
    program(bare_machine, "redis-server", "")
    program(bare_machine, "uv", "")
    program(bare_machine, "chromium", "")
    program(bare_machine, "nginx", "")
    checked = check(bare_machine, "--tests")
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, "", "")
