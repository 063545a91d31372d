"""The ``fieldlog`` command: each sub-command lives in the module named after it, loaded on use."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Mapping
from typing import Any

import click

from fieldlog.config import VERSION, trace_wanted
from fieldlog.errors import FieldlogError, ModelError

Table = Mapping[str, tuple[str, str]]
"""Command -> ("module:attribute", summary); imported only when the command is used."""

COMMANDS: Table = {
    "demo": ("fieldlog.cli.demo:demo", "the whole job on audio and photos that come with fieldlog"),
    "hear": ("fieldlog.cli.hear:hear", "audio files to findings with their verdicts"),
    "parse": ("fieldlog.cli.parse:parse", "what typed words mean, and their verdict"),
    "photos": (
        "fieldlog.cli.photos:photos",
        "read photos, set their clocks right, put them to findings",
    ),
    "listen": ("fieldlog.cli.listen:listen", "log an inspection as it is spoken"),
    "phone": ("fieldlog.cli.phone:phone", "phones as microphone and camera: listed, revoked"),
    "vehicle": (
        "fieldlog.cli.vehicle:vehicle",
        "the machines under care: facts, limits, wear, what is due",
    ),
    "inspection": (
        "fieldlog.cli.inspection:inspection",
        "start, hear, show, correct, sign and verify inspections",
    ),
    "bundle": ("fieldlog.cli.bundle:bundle", "an inspection or vehicle as one file to hand over"),
    "key": ("fieldlog.cli.key:key", "keys that people sign with"),
    "store": ("fieldlog.cli.store:store", "bring two records, or two copies of one, together"),
    "review": (
        "fieldlog.cli.review:review",
        "go through an inspection in the browser: hear it again, decide, correct",
    ),
    "report": ("fieldlog.cli.report:report", "write an inspection as HTML, PDF, JSON or CSV"),
    "years": ("fieldlog.cli.years:years", "questions over years of a record, asked in SQL"),
    "archive": (
        "fieldlog.cli.archive:archive",
        "work over a whole folder of bundles, on many machines",
    ),
    "catalogue": ("fieldlog.cli.catalogue:catalogue", "the components that can be spoken of"),
    "limits": ("fieldlog.cli.limits:limits", "the limits, each with its source"),
    "why": ("fieldlog.cli.why:why", "how words come to their verdict, step by step"),
    "grammar": ("fieldlog.cli.grammar:grammar", "check a grammar, or list phrases of it"),
    "language": ("fieldlog.cli.language:language", "the languages that can be spoken"),
    "added": ("fieldlog.cli.added:added", "what other installed packages add, and its checks"),
    "ready": ("fieldlog.cli.ready:ready", "what is installed, what is missing, how to get it"),
}

EXIT_CODES: tuple[tuple[int, str], ...] = (
    (0, "done; a question, or words that were not understood, are outcomes and no faults"),
    (1, "anything else, and output that nobody reads any more"),
    (2, "arguments that cannot be meant: unknown option, jurisdiction, setting, inspection"),
    (3, "a grammar or catalogue with faults, or words a listener cannot hear (all are listed)"),
    (4, "a listener's model is missing, broken or of the wrong kind, or a library is absent"),
    (5, "an audio file or device cannot be used"),
    (6, "a photo or a folder of photos cannot be used"),
    (7, "a limit pack with faults (all are listed)"),
    (8, "the record is not there, or cannot be read or written: full disk, no permission, newer"),
    (9, "done, but some inputs were left out (each is named)"),
    (130, "interrupted with Ctrl-C (`listen` ends cleanly with 0 instead)"),
)
"""What a command ends with, in words; ``fieldlog.errors`` has the classes."""


class LazyGroup(click.Group):
    """A group that imports a command's module only when that command is asked for."""

    def __init__(self, *args: Any, table: Table, **kwargs: Any) -> None:
        """``table`` has the commands in the order a newcomer needs them."""
        super().__init__(*args, **kwargs)
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return the command, or None when there is none of that name."""
        if cmd_name not in self.table:
            return None
        module, attribute = self.table[cmd_name][0].split(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The commands with their summaries, none of them imported."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in self.table.items()])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The exit codes, below everything else."""
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(code), when) for code, when in EXIT_CODES])

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; whatever goes wrong is one line on stderr and an exit code."""
        from fieldlog.cli.plain import plain_output

        with plain_output():
            return self._invoked(ctx)

    def _invoked(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except FieldlogError as error:
            click.echo(f"fieldlog: {error}", err=True)
            ctx.exit(error.exit_code)
        except (click.exceptions.Exit, click.ClickException, click.Abort, BrokenPipeError):
            raise
        except KeyboardInterrupt:
            click.echo("\nfieldlog: interrupted; what was saved before is kept", err=True)
            ctx.exit(130)
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            click.echo(f"fieldlog: {where}{error.strerror or error}", err=True)
            ctx.exit(FieldlogError.exit_code)
        except ImportError as error:
            library = (error.name or "").partition(".")[0]
            if trace_wanted() or library in ("", "fieldlog"):
                raise
            click.echo(f"fieldlog: {_absent(library, error)}", err=True)
            ctx.exit(ModelError.exit_code)
        except Exception as error:
            if trace_wanted():
                raise
            click.echo(
                f"fieldlog: a fault of fieldlog itself: {type(error).__name__}: {error}. Next: "
                "repeat with FIELDLOG_TRACE=1 set and report what it prints",
                err=True,
            )
            ctx.exit(FieldlogError.exit_code)


def _absent(library: str, error: ImportError) -> str:
    """A library that is not there, or cannot be loaded, with what brings it."""
    from fieldlog.cli.ready import LIBRARIES

    named = (name for name, (module, _) in LIBRARIES.items() if module == library)
    wanted = next(named, library)
    return (
        f"{library} is needed for this and cannot be loaded ({error}). "
        f"Next: pip install {wanted}; `fieldlog ready` says what else is missing"
    )


@click.group(
    cls=LazyGroup, table=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(VERSION, prog_name="fieldlog")
def main() -> None:
    """Log a motorcycle inspection by voice and photo, offline.

    \b
    Examples:
      fieldlog demo                    (the whole job on the demo's audio and photos)
      fieldlog parse "rear tread four thirty-seconds"
      fieldlog hear walk-round.flac --json
    """


if __name__ == "__main__":
    sys.exit(main())
