"""The steps of README and guide, run: just as much of a shell, of curl and of the commands as they use."""

from __future__ import annotations

import os
import re
import shlex
import time
from collections.abc import Iterator
from contextlib import chdir
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from service.board.help_pages import PAGES
from service.cli import app as commands
from tests.api.asking import Answer
from tests.conftest import client_of

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
HELP = {name: ROOT / "service/board/help" / f"{name}.md" for name in PAGES}
# What a reader runs, in this order, with one service.
RUN = (README, HELP["session"], HELP["commands"])

ADDRESS = "http://127.0.0.1:8000"
COMMAND = ".venv/bin/capfall "
REFUSED = "fahrenheit_as_celsius"  # the step that shows a refusal


@dataclass(frozen=True)
class Block:
    """A fenced block of a page: what it is ("sh", or "" for an answer), and its text."""

    page: Path
    kind: str
    text: str

    @property
    def lines(self) -> list[str]:
        """Its commands; one that goes on over several lines is one line."""
        return self.text.replace("\\\n", " ").splitlines()


@dataclass
class Request:
    """One curl command."""

    method: str = "GET"
    address: str = ""
    json: str | None = None
    form: dict[str, str] = field(default_factory=dict)
    files: dict[str, Path] = field(default_factory=dict)

    @property
    def path(self) -> str:
        """Path and query."""
        return self.address.removeprefix(ADDRESS)


def blocks(page: Path) -> Iterator[Block]:
    """All fenced blocks of a page, in order."""
    text = page.read_text(encoding="utf-8")
    for found in re.finditer(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        yield Block(page, found[1], found[2])


def read_curl(line: str) -> Request:
    """A curl command whose variables are filled in.

    Raises
    ------
    ValueError
        If it uses an option that is not known here.
    """
    request = Request()
    words = iter(shlex.split(line)[1:])
    for word in words:
        match word:
            case "-sS":
                pass
            case "-X":
                request.method = next(words)
            case "--json":
                request.json = next(words)
                request.method = "POST" if request.method == "GET" else request.method
            case "-F":
                name, _, value = next(words).partition("=")
                request.method = "POST"
                if value.startswith("@"):
                    request.files[name] = ROOT / value[1:]
                else:
                    request.form[name] = value
            case _ if word.startswith("-"):
                raise ValueError(f"no such option of curl is read here: {word}")
            case _:
                request.address = word
    return request


def send(client: Any, request: Request) -> Answer:
    """Send a request as curl would."""
    if request.json is not None:
        headers = {"Content-Type": "application/json"}
        sent: Answer = client.request(
            request.method, request.path, content=request.json.encode(), headers=headers
        )
        return sent
    files = {name: (path.name, path.read_bytes()) for name, path in request.files.items()}
    form: Answer = client.request(
        request.method, request.path, files=files or None, data=request.form or None
    )
    return form


class Shell:
    """What a reader's terminal would print, line by line, beside a service over a database of its own."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._variables: dict[str, str] = {}

    def run(self, line: str) -> str:
        """What a line prints. Making the virtual environment, the tests and the service itself are left out."""
        line = re.sub(r"\$(\w+)", lambda found: self._variables[found[1]], line.rpartition(" && ")[2].strip())
        if kept := re.fullmatch(r"""(\w+)=\$\((curl .*?) \| grep -o '"(\w+)":.*\)""", line):
            found = re.search(rf'"{kept[3]}":"([^"]*)"', self._curl(kept[2]))
            assert found is not None, line
            self._variables[kept[1]] = found[1]
        elif plain := re.fullmatch(r"(\w+)=(\S+)", line):
            self._variables[plain[1]] = plain[2]
        elif line.startswith("curl "):
            return self._curl(line)
        elif line.startswith(COMMAND) and line != f"{COMMAND}serve":
            done = CliRunner().invoke(commands, shlex.split(line.removeprefix(COMMAND)))
            assert done.exit_code == 0, (line, done.output)
            return done.output
        else:
            assert line in (f"{COMMAND}serve", ".venv/bin/pytest"), line
        return ""

    def _curl(self, line: str) -> str:
        request = read_curl(line)
        if request.method == "GET" and request.path.endswith("/hindcast"):
            self._wait_for(self._variables["job"])
        answer = send(self._client, request)
        assert (answer.status_code < 300) is (REFUSED not in line), (line, answer.text)
        return answer.text

    def _wait_for(self, job: str) -> None:
        for _ in range(3000):
            told = self._client.get(f"/v1/jobs/{job}").json()
            assert told["state"] != "failed", told
            if told["state"] == "done":
                return
            time.sleep(0.2)
        raise AssertionError(told)


def play(folder: Path) -> Iterator[tuple[Block, str]]:
    """Run the steps of all pages, and tell what came for each printed answer."""
    database = folder / "capfall.db"
    (folder / "demo_weather").symlink_to(ROOT / "demo_weather")
    before = os.environ.get("CAPFALL_DATABASE_URL")
    os.environ["CAPFALL_DATABASE_URL"] = f"sqlite:///{database}"
    try:
        with chdir(folder), client_of(database) as client:
            shell = Shell(client)
            for page in RUN:
                came = ""
                for block in blocks(page):
                    if block.kind == "sh":
                        came = "\n".join(shell.run(line) for line in block.lines)
                    else:
                        yield block, came
    finally:
        del os.environ["CAPFALL_DATABASE_URL"]
        if before is not None:
            os.environ["CAPFALL_DATABASE_URL"] = before
