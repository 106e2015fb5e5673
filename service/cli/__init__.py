"""The command line: a file for each command or group of them, which is loaded when the command runs."""

from __future__ import annotations

import ast
import keyword
from importlib import import_module, util
from typing import Annotated, Any

import typer
from typer.core import TyperCommand, TyperGroup

from service.threads import use_one_thread

COMMANDS = {
    **{name: name for name in ("demo", "serve", "report", "calendar", "scout", "hindcast", "region")},
    **{name: name.replace("-", "_") for name in ("run-all", "import-stations")},
    **dict.fromkeys(("backup", "restore", "check"), "backup"),
    **dict.fromkeys(("export", "import"), "everything"),
    **{name: name for name in ("key", "grower")},
}
"""In the order of the list, each with its module: the function of that name there (with ``_`` for ``-``, and behind a
word of the language), or the group ``app``."""


class Commands(TyperGroup):
    """Commands that are loaded when they run: what they need takes seconds, and their list only their first words."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.commands.update({name: TyperCommand(name, help=_first_words(name)) for name in COMMANDS})

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        """The command that is called, loaded."""
        if args and args[0] in COMMANDS:
            self.commands[args[0]] = loaded(args[0])
        return super().resolve_command(ctx, args)


def loaded(name: str) -> Any:
    """A command or a group, to be run."""
    module = import_module(f"{__name__}.{COMMANDS[name]}")
    alone: Any = getattr(module, "app", None)
    if alone is None:
        alone = typer.Typer(add_completion=False)
        alone.command(name)(getattr(module, _function(name)))
    made = typer.main.get_command(alone)
    made.name = name
    return made


def _first_words(name: str) -> str:
    """What the docstring of a command, or the help of a group, says: read without running its module."""
    spec = util.find_spec(f"{__name__}.{COMMANDS[name]}")
    assert spec is not None
    source: str = spec.loader.get_source(spec.name)  # type: ignore[union-attr]
    for each in ast.parse(source).body:
        match each:
            case ast.FunctionDef(name=found) if found == _function(name):
                return ast.get_docstring(each) or ""
            case ast.Assign(targets=[ast.Name(id="app")], value=ast.Call(keywords=told)):
                return next(str(ast.literal_eval(word.value)) for word in told if word.arg == "help")
    raise LookupError(name)


def _function(name: str) -> str:
    return f"{name}_" if keyword.iskeyword(name) else name.replace("-", "_")


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _tell_version(asked: bool) -> None:
    if asked:
        from importlib import metadata  # the list of commands does without

        typer.echo(f"capfall {metadata.version('capfall')}")
        raise typer.Exit


@app.callback()
def prepare(
    version: Annotated[  # noqa: ARG001
        bool, typer.Option("--version", callback=_tell_version, is_eager=True, help="Which version this is.")
    ] = False,
) -> None:
    """When each grape cultivar blooms, and where pollen runs out before the flowers that need it."""
    use_one_thread()
