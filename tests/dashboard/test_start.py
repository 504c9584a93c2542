"""How the server is started: on this machine only, and silent."""

import sys

import pytest

from sameloop import cli
from sameloop_dashboard.start import server_command


def test_the_server_listens_here_only_and_tells_nobody():
    flags = set(server_command(8501, open_browser=False))
    assert {
        "--server.address=localhost",
        "--server.enableXsrfProtection=true",
        "--server.enableCORS=true",
        "--browser.gatherUsageStats=false",
        "--server.showEmailPrompt=false",
        "--logger.hideWelcomeMessage=true",
        "--server.headless=true",
        "--server.port=8501",
        "--server.maxUploadSize=64",
    } <= flags
    assert not [flag for flag in flags if "http" in flag or "font" in flag.lower()]


def test_every_flag_is_known_to_streamlit():
    from streamlit import config

    known = config.get_config_options()
    for flag in server_command(8501, open_browser=True)[5:]:
        name, value = flag.removeprefix("--").split("=", 1)
        assert name in known
        assert value


def test_the_command_becomes_the_server_with_the_study(tmp_path, monkeypatch, capsys):
    started = []
    monkeypatch.setattr("os.execve", lambda *given: started.append(given))
    assert cli.main(["dashboard", str(tmp_path), "--no-browser", "--port", "9000"]) == 0
    ((program, command, environment),) = started
    assert program == sys.executable
    assert "--server.port=9000" in command
    assert "at http://localhost:9000, on this machine only" in capsys.readouterr().out
    assert environment["SAMELOOP_STUDY"] == str(tmp_path.resolve())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(["nowhere"], "there is no such folder"), (["--port", "80"], "80 is not from 1024")],
)
def test_mistakes_are_one_sentence(arguments, words, capsys, monkeypatch):
    monkeypatch.setattr("os.execve", lambda *given: pytest.fail("it must not start"))
    assert cli.main(["dashboard", *arguments]) == 2
    assert words in capsys.readouterr().err


def test_without_its_packages_it_says_what_to_install(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "streamlit", None)
    monkeypatch.setattr("os.execve", lambda *_: pytest.fail("the server was started"))
    assert cli.main(["dashboard", str(tmp_path)]) == 2
    assert "run pip install '.[dashboard]' in the folder" in capsys.readouterr().err
