"""``python -m fieldlog.lab``: figures anybody can print again, and what the product was made with."""

from __future__ import annotations

import click

from fieldlog.cli import LazyGroup, Table

COMMANDS: Table = {
    "hearing": ("fieldlog.lab.benchmarks.command:hearing", "recognisers side by side"),
    "earlier": (
        "fieldlog.lab.benchmarks.earlier:earlier",
        "the same clips by an earlier code and by today's",
    ),
    "speed": (
        "fieldlog.lab.benchmarks.speed:speed",
        "how long the same clips take an earlier code and today's",
    ),
    "every": (
        "fieldlog.lab.benchmarks.hearing_every_command:every",
        "every unit and condition of the catalogue, spoken and heard",
    ),
    "chatter": (
        "fieldlog.lab.benchmarks.chatter_command:chatter",
        "what a live session makes of half an hour without a finding",
    ),
    "echo": (
        "fieldlog.lab.benchmarks.echo_command:echo",
        "its own voice in the microphone, and somebody over it",
    ),
    "second-ear": (
        "fieldlog.lab.benchmarks.second_ear:second_ear",
        "what a second opinion takes away of questions and of errors",
    ),
    "whose-voice": (
        "fieldlog.lab.benchmarks.whose_voice_command:whose_voice",
        "is it the voice that was heard before? fits it too",
    ),
    "breath": (
        "fieldlog.lab.benchmarks.breath_command:breath",
        "several findings in one breath, tails, gaps and pauses",
    ),
    "start": (
        "fieldlog.lab.benchmarks.hearing_start_command:start",
        "how long until it listens, how fast then, how much memory",
    ),
    "session": (
        "fieldlog.lab.live_session.command:session",
        "the demo's inspection spoken live, with all that comes between",
    ),
    "delay": (
        "fieldlog.lab.live_session.command:delay",
        "from the end of speech to the first sample of the answer",
    ),
    "endurance": (
        "fieldlog.lab.live_session.command:endurance",
        "memory and latency over simulated hours",
    ),
    "crash": (
        "fieldlog.lab.crash.command:crash",
        "sessions killed and disks filled: is anything lost?",
    ),
    "endpointing": (
        "fieldlog.lab.benchmarks.endpointing:endpointing",
        "where utterances are cut, against where they begin and end",
    ),
    "review": (
        "fieldlog.lab.benchmarks.review_page:review_page",
        "how soon the reviewer's page of a large inspection is painted, and the next thing on it",
    ),
    "photos": (
        "fieldlog.lab.benchmarks.command:photos",
        "reading, aligning and attaching photos",
    ),
    "store": (
        "fieldlog.lab.benchmarks.command:record_store",
        "a large record; a saving process killed",
    ),
    "fleet": (
        "fieldlog.lab.benchmarks.fleet_command:fleet",
        "bays that write and people who review at once, on a server and in a file",
    ),
    "phone": (
        "fieldlog.lab.benchmarks.phone_command:phone",
        "the demo inspection spoken into the phone's page in a real browser",
    ),
    "years": ("fieldlog.lab.benchmarks.years:years", "questions over ten million findings"),
    "archive": (
        "fieldlog.lab.benchmarks.archive:archive",
        "work over an archive: what a bundle costs, one worker and two, a million",
    ),
    "tampering": (
        "fieldlog.lab.proofs.tampering:tampering",
        "every part of a record tampered with in every way",
    ),
    "fuzz": (
        "fieldlog.lab.proofs.fuzzing:fuzz",
        "hostile files and arguments: outcomes, clean errors, faults",
    ),
    "merges": ("fieldlog.lab.proofs.orders:merges", "bundles merged in random orders"),
    "kills": (
        "fieldlog.lab.proofs.kills:kills_command",
        "bays and a shop killed while bundles are handed over",
    ),
    "life": ("fieldlog.lab.life:life", "what an utterance calls on its way, drawn"),
    "pictures": ("fieldlog.lab.pictures:pictures", "the pictures of the README, from the demo"),
    "report": ("fieldlog.lab.benchmarks.command:report_page", "the report of a large inspection"),
    "speech-set": (
        "fieldlog.lab.speech_set.command:speech_set",
        "make the inspection speech set",
    ),
    "language": (
        "fieldlog.lab.languages:language",
        "another language: numbers, what is told read again, what is heard",
    ),
    "voice": (
        "fieldlog.lab.voice.command:voice",
        "render the voice that reads back",
    ),
    "calibrate": (
        "fieldlog.lab.benchmarks.calibrate:calibrate",
        "make the decision file again from evidence",
    ),
    "size": ("fieldlog.lab.size:size", "lines of each package, by what they are"),
    "mutants": (
        "fieldlog.lab.mutants.command:mutants_command",
        "faults put in on purpose: does a test see each?",
    ),
    "adapt": (
        "fieldlog.lab.adapting.command:adapt",
        "train the additions to the bundled weights again",
    ),
}


@click.group(
    cls=LazyGroup, table=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]}
)
def lab() -> None:
    """Measure fieldlog on this machine, and make again what it was calibrated and trained with.

    Works from a checkout only: an installed fieldlog has no laboratory.

    \b
    Examples:
      python -m fieldlog.lab hearing --limit 30 --only whisper
      python -m fieldlog.lab photos
    """
