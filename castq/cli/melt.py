"""The melt desk on the command line: `castq melt ...`; its commands are imported when one of them is asked for."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_command

_MODULES = ("melt_judge", "melt_log", "melt_import", "melt_look", "melt_pour", "melt_page")


class MeltGroup(TyperGroup):
    """The group of melt commands, filled at first use so that `castq --help` stays quick."""

    def _fill(self) -> None:
        if not self.commands:
            app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False)
            for name in _MODULES:
                import_module(f"castq.cli.{name}").add_commands(app)
            self.commands = get_command(app).commands  # type: ignore[attr-defined]

    def list_commands(self, ctx: Any) -> list[str]:
        """Return the names of the commands, in the order of a shift's work."""
        self._fill()
        return list(self.commands)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return a command by its name."""
        self._fill()
        return super().get_command(ctx, cmd_name)


def add_commands(app: typer.Typer) -> None:
    """Add the group to the app."""
    melt = typer.Typer(
        cls=MeltGroup,
        no_args_is_help=True,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    @melt.callback()
    def _melt() -> None:
        """Judge a melt, plan its degassing, keep the log book, and see which wheels it may pour."""

    app.add_typer(melt, name="melt")
