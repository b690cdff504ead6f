"""The first step, on a bare Python: it says what is missing, and does nothing twice."""

import errno
import importlib.util
import os
import stat
import subprocess
import sys
from unittest.mock import Mock

import pytest

from config import install, secret_key


@pytest.fixture
def top(tmp_path, monkeypatch):
    """A checkout with requirement files and no .venv, where commands are noted and not run."""
    (tmp_path / "requirements.txt").write_text("one==1\n")
    (tmp_path / "requirements-dev.txt").write_text("one==1\ntwo==2\n")
    monkeypatch.setattr(install, "TOP", tmp_path)
    monkeypatch.setattr(install, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(install, "VENV_PYTHON", tmp_path / ".venv" / "bin" / "python")
    monkeypatch.setattr(install, "STAMP", tmp_path / ".venv" / "installed-requirements")
    return tmp_path


@pytest.fixture
def ran(top, monkeypatch):
    commands = []

    def run(command, **options):
        commands.append(command)
        if "venv" in command:
            install.VENV_PYTHON.parent.mkdir(parents=True)
            install.VENV_PYTHON.touch()
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(install.subprocess, "run", run)
    return commands


def test_a_venv_is_made_and_what_is_pinned_installed_by_its_hashes(top, ran):
    install.main("requirements.txt")
    assert ran[0] == [sys.executable, "-m", "venv", "--clear", str(top / ".venv")]
    assert "--require-hashes" in ran[1]
    assert ran[1][-1] == "requirements.txt"


def test_nothing_is_installed_twice(top, ran):
    install.main("requirements.txt")
    ran.clear()
    install.main("requirements.txt")
    assert [command for command in ran if "pip" in command] == []


def test_what_tests_need_includes_what_the_site_needs(top, ran):
    install.main("requirements-dev.txt")
    ran.clear()
    install.main("requirements.txt")
    assert [command for command in ran if "pip" in command] == []


def test_a_changed_pin_is_installed(top, ran):
    install.main("requirements.txt")
    (top / "requirements.txt").write_text("one==2\n")
    ran.clear()
    install.main("requirements.txt")
    assert len([command for command in ran if "pip" in command]) == 1


def test_a_bare_debian_is_told_which_package_to_install(top, monkeypatch):
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "ensurepip" else True
    )
    with pytest.raises(SystemExit) as ended:
        install.main("requirements.txt")
    assert "sudo apt install python3-venv" in str(ended.value)


def test_an_old_python_is_told_which_one_is_needed(top, monkeypatch):
    monkeypatch.setattr(install.sys, "version_info", (3, 9, 18))
    with pytest.raises(SystemExit) as ended:
        install.main("requirements.txt")
    assert str(ended.value).startswith("This needs Python 3.11 or later and found 3.9")


def test_the_site_itself_comes_with_what_tests_pin():
    """Both files pin the same, so that installing for tests changes nothing for the site."""

    def pins(name):
        text = (install.TOP / name).read_text()
        return {line.split()[0] for line in text.splitlines() if "==" in line[:60]}

    assert pins("requirements.txt") <= pins("requirements-dev.txt")


def test_no_requirement_file_holds_an_address():
    for name in (
        "requirements.in",
        "requirements.txt",
        "requirements-dev.in",
        "requirements-dev.txt",
    ):
        assert "://" not in (install.TOP / name).read_text(), name


@pytest.mark.parametrize("has_links", [True, False])
def test_a_secret_key_is_its_owners_alone_and_made_once(tmp_path, monkeypatch, has_links):
    if not has_links:  # As on a share of a Windows machine.
        refused = OSError(errno.EPERM, os.strerror(errno.EPERM))
        monkeypatch.setattr(os, "link", Mock(side_effect=refused))
    file = tmp_path / "in" / "secret_key"
    secret_key.main(str(file))
    first = file.read_text()
    secret_key.main(str(file))
    assert file.read_text() == first
    assert len(first.strip()) >= 50
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [*file.parent.iterdir()] == [file]
