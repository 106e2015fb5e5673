"""The README's shell steps as requests to the app: just as much of curl as they use."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.api.asking import Answer

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

ADDRESS = "http://127.0.0.1:8000"
LEFT_OUT = "..."


@dataclass(frozen=True)
class Block:
    """A fenced block: what it is ("sh", or "" for an answer), and its text."""

    kind: str
    text: str


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


def blocks(text: str) -> Iterator[Block]:
    """All fenced blocks, in order; a command that goes on over several lines is one line."""
    for kind, body in re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        yield Block(kind, body.replace("\\\n", " "))


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


def fill_in(line: str, variables: dict[str, str]) -> str:
    """A line with its $variables filled in."""
    return re.sub(r"\$(\w+)", lambda found: variables[found[1]], line)


def fragments(answer: str) -> list[str]:
    """What a shortened answer shows, in comparable form: the texts between what was left out."""
    parts = (comparable(part) for part in answer.split(LEFT_OUT))
    return [part for part in parts if part]


def comparable(text: str) -> str:
    """A text without white space, and with one sign for every number, date and identifier.

    Another machine's linear algebra may round another way, and a draw may fall on the other side of a day.
    """
    months = "January|February|March|April|May|June|July|August|September|October|November|December"
    text = re.sub(r'("(?:fit|id)":)"[0-9a-f]{12}"', r"\1#", text)
    text = re.sub(rf"\d+ (?:{months})", "#", text)
    text = re.sub(r"-?\d+(?:\.\d+)?(?:[-T:]\d+)*", "#", text)
    return re.sub(r"\s+", "", text)
