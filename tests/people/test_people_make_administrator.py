"""``manage.py make_administrator`` asks for little, checks the password and says what it did."""

import io
import sys

import pytest
from django.core.management import CommandError, call_command

from people.models import Installation, Site, User

pytestmark = pytest.mark.django_db

WHERE = ["--site-name", "Castelmar", "--prefix", "CA", "--time-zone", "Europe/Madrid"]
PASSWORD = "a lamp over the far bench"


@pytest.fixture
def run(monkeypatch, capsys):
    """Run the command with a line of standard input; return what it printed."""
    monkeypatch.delenv("PASSWORD_FILE", raising=False)

    def call(*arguments, password=PASSWORD):
        monkeypatch.setattr(sys, "stdin", io.StringIO(f"{password}\n"))
        call_command("make_administrator", "10001", "--name", "Runa Whitlock", *arguments)
        return capsys.readouterr().out

    return call


def test_the_first_one_is_made_with_the_site(run):
    output = run(*WHERE, "--organisation", "Skarnfell Instruments", "--password-stdin")

    assert output == "Runa Whitlock (10001) administers Castelmar. Sign in with it.\n"
    assert User.objects.get().check_password(PASSWORD)
    assert Installation.current().organisation == "Skarnfell Instruments"


def test_the_password_is_read_from_a_file(run, monkeypatch, tmp_path):
    file = tmp_path / "password"
    file.write_text(f"{PASSWORD}\n")
    monkeypatch.setenv("PASSWORD_FILE", str(file))

    run(*WHERE)

    assert User.objects.get().check_password(PASSWORD)


@pytest.mark.parametrize(
    ("arguments", "password", "output"),
    [
        ([*WHERE, "--password-stdin"], "short", "too short"),
        ([*WHERE, "--password-stdin"], "", "too short"),
        ([*WHERE, "--password-stdin"], "1234567890", "too common"),
        (WHERE, PASSWORD, "Nobody is there to type a password"),
        (["--password-stdin"], PASSWORD, "There is no site yet"),
        (["--prefix", "CA", "--password-stdin"], PASSWORD, "No site has the prefix CA"),
        (["--site-name", "Castelmar", "--password-stdin"], PASSWORD, "together, or none"),
    ],
    ids=["short", "empty", "common", "nobody types", "no site", "unknown prefix", "half a site"],
)
def test_what_cannot_be_is_refused_and_nothing_is_made(run, arguments, password, output):
    with pytest.raises(CommandError, match=output):
        run(*arguments, password=password)
    assert not User.objects.exists()
    assert not Site.objects.exists()


def test_a_file_that_is_not_there_is_named(run, monkeypatch):
    monkeypatch.setenv("PASSWORD_FILE", "/nowhere/password")

    with pytest.raises(CommandError, match="PASSWORD_FILE cannot be read"):
        run(*WHERE)


def test_a_number_that_could_not_stand_in_an_address_is_refused(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{PASSWORD}\n"))
    with pytest.raises(CommandError, match="letters, digits"):
        call_command("make_administrator", "1/2", "--name", "Runa", "--password-stdin", *WHERE)


def test_a_second_one_needs_another(run):
    run(*WHERE, "--password-stdin")

    with pytest.raises(CommandError, match="--another"):
        run("--password-stdin")
    run("--prefix", "CA", "--another", "--password-stdin")
