"""``docs/laboratory.md`` from the live commands: ``python -m fieldlog.lab.page > docs/laboratory.md``."""

from __future__ import annotations

import click

from fieldlog.cli.page import LABORATORY, sections
from fieldlog.lab.command import lab

HEAD = """# The laboratory

Made from the commands themselves by `python -m fieldlog.lab.page > docs/laboratory.md`; a test says
when it is not current.

The laboratory (`fieldlog/lab/`) measures what is shipped, makes the speech set it is measured on,
calibrates the decisions and trains the additions to the weights. It is run from a checkout with
`pip install -e '.[test,bench]'` (and `speech-set`, `adapting` where a command says so); the wheel
leaves it out and no module of the product imports it, so nothing of it can change what a session
does. A test holds both.

| folder | holds |
|---|---|
| `lab/benchmarks/` | figures for the pages: hearing ([hearing/](hearing/README.md)), doubt ([doubt.md](doubt.md)), photos, store, report, endpointing |
| `lab/speech_set/` | the inspection speech set: phrases, voices, rooms, noises ([audio.md](audio.md)) |
| `lab/adapting/` | training of the additions to the weights ([adapting.md](adapting.md)) |
"""


def page() -> str:
    """The whole page."""
    return HEAD + sections(lab, LABORATORY)


if __name__ == "__main__":
    click.echo(page(), nl=False)
