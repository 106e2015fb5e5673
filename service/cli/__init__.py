"""The command line: one file a command, which is loaded when the command runs."""

from __future__ import annotations

import ast
from importlib import import_module, util
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from service.threads import use_one_thread

COMMANDS = ("demo", "serve", "report", "calendar", "scout", "hindcast", "region")
"""In the order of the list; the function of that name in the module of that name, with _ for -."""


class Commands(TyperGroup):
    """Commands that are loaded when they run: what they need takes seconds, and their list only their first words."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.commands.update({name: TyperCommand(name, help=_first_words(name)) for name in COMMANDS})

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        """The command that is called, loaded."""
        if args and args[0] in COMMANDS:
            self.commands[args[0]] = _loaded(args[0])
        return super().resolve_command(ctx, args)


def _loaded(name: str) -> Any:
    alone = typer.Typer(add_completion=False)
    alone.command(name)(getattr(import_module(_module(name)), name.replace("-", "_")))
    return typer.main.get_command(alone)


def _first_words(name: str) -> str:
    """What a command's docstring says, read without running its module."""
    spec = util.find_spec(_module(name))
    assert spec is not None
    source: str = spec.loader.get_source(spec.name)  # type: ignore[union-attr]
    functions = [each for each in ast.parse(source).body if isinstance(each, ast.FunctionDef)]
    return next(ast.get_docstring(each) or "" for each in functions if each.name == name.replace("-", "_"))


def _module(name: str) -> str:
    return f"{__name__}.{name.replace('-', '_')}"


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.callback()
def prepare() -> None:
    """When each grape cultivar blooms, and where pollen runs out before the flowers that need it."""
    use_one_thread()
