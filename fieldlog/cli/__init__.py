"""The ``fieldlog`` command: each sub-command lives in the module named after it, loaded on use."""

from __future__ import annotations

import importlib
import sys
from typing import Any

import click

from fieldlog import __version__
from fieldlog.config import trace_wanted
from fieldlog.errors import FieldlogError

COMMANDS: dict[str, str] = {
    # command -> "module:attribute"; the module is imported only when the command is used
    "demo": "fieldlog.cli.demo:demo",
    "hear": "fieldlog.cli.hear:hear",
    "parse": "fieldlog.cli.parse:parse",
    "photos": "fieldlog.cli.photos:photos",
    "listen": "fieldlog.cli.listen:listen",
    "vehicle": "fieldlog.cli.vehicle:vehicle",
    "inspection": "fieldlog.cli.inspection:inspection",
    "report": "fieldlog.cli.report:report",
    "catalogue": "fieldlog.cli.catalogue:catalogue",
    "limits": "fieldlog.cli.limits:limits",
    "why": "fieldlog.cli.why:why",
    "grammar": "fieldlog.cli.grammar:grammar",
    "doctor": "fieldlog.cli.doctor:doctor",
    "benchmarks": "fieldlog.cli.benchmarks:benchmarks",
}


class LazyGroup(click.Group):
    """A group that imports a command's module only when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order a newcomer needs them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return the command, or None when there is none of that name."""
        target = COMMANDS.get(cmd_name)
        if target is None:
            return None
        module, attribute = target.split(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; whatever goes wrong is one line on stderr and an exit code."""
        try:
            return super().invoke(ctx)
        except FieldlogError as error:
            click.echo(f"fieldlog: {error}", err=True)
            ctx.exit(error.exit_code)
        except (click.exceptions.Exit, click.ClickException, click.Abort, BrokenPipeError):
            raise
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            click.echo(f"fieldlog: {where}{error.strerror or error}", err=True)
            ctx.exit(FieldlogError.exit_code)
        except Exception as error:
            if trace_wanted():
                raise
            click.echo(
                f"fieldlog: a fault of fieldlog itself: {type(error).__name__}: {error}. Next: "
                "repeat with FIELDLOG_TRACE=1 set and report what it prints",
                err=True,
            )
            ctx.exit(FieldlogError.exit_code)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fieldlog")
def main() -> None:
    """Log a motorcycle inspection by voice and photo, offline.

    \b
    Examples:
      fieldlog demo                                  the whole job on the demo's audio and photos
      fieldlog parse "rear tread four thirty-seconds"
      fieldlog hear walk-round.flac --json
    """


if __name__ == "__main__":
    sys.exit(main())
