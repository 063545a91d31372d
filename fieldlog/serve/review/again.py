"""Hearing once more from the page, in a thread of its own: decisions go on meanwhile, nothing is changed."""

from __future__ import annotations

import threading
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldlog.errors import FieldlogError, UsageError
from fieldlog.model.understanding import Decision
from fieldlog.review.again import Differs, HeardAgain
from fieldlog.review.exchanges import exchanges_of
from fieldlog.review.view import Sheet, is_blind, name_of
from fieldlog.shop.ears import open_ears
from fieldlog.shop.rehearing import heard_again, language_of
from fieldlog.store.media import MediaFolder
from fieldlog.store.records import InspectionRecord
from fieldlog.words import tell

Json = dict[str, Any]


@dataclass(slots=True)
class _Job:
    name: str
    inspection: str
    of: int
    """Things to be heard."""
    hidden: int
    """Things that are drawn blind and not decided: what stands of them is not told."""
    done: int = 0
    found: list[Json] = field(default_factory=list)
    fault: str = ""
    over: bool = False
    stopped: threading.Event = field(default_factory=threading.Event)


class Again:
    """One re-hearing at a time; another one ends it."""

    def __init__(self, media: MediaFolder) -> None:
        """``media``: where the clips are."""
        self._media = media
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="again")
        self._job: _Job | None = None
        self._work: Future[None] | None = None
        self._count = 0

    def start(self, sheet: Sheet, what: Json) -> Json:
        """Begin. ``what``: ``listener``, ``model`` and ``grammar`` (folders, "" as usual), ``item`` ("": all).

        Raises ``UsageError`` for what cannot be meant; what only shows once it is opened is told later.
        """
        listener, model, grammar, item = (
            _text(what, key) for key in ("listener", "model", "grammar", "item")
        )
        blind = {name_of(each) for each in sheet.weighed if is_blind(each)}
        there = [each for each in exchanges_of(sheet.record) if each.first and each.first.clip]
        wanted = [each for each in there if item in ("", each.id)]
        numbers = [each.first.number for each in wanted if each.first and each.id not in blind]
        if not wanted:
            raise UsageError("nothing of it was said with sound")
        self.stop()
        self._count += 1
        head = sheet.record.inspection.id
        hidden = len(wanted) - len(numbers)
        job = self._job = _Job(str(self._count), head, len(numbers), hidden)
        paths = (Path(model) if model else None, Path(grammar) if grammar else None)
        work = (job, sheet.record, numbers, listener or "whisper", *paths)
        self._work = self._pool.submit(self._hear, *work)
        return self.told(job.name)

    def told(self, name: str) -> Json:
        """How far it is, and what differs; raises ``UsageError`` where another one took its place."""
        job = self._job
        if job is None or job.name != name:
            raise UsageError("this hearing was ended by another one")
        return {
            "job": job.name, "of": job.of, "done": job.done, "hidden": job.hidden,
            "found": list(job.found), "fault": job.fault, "over": job.over,
        }  # fmt: skip

    def stop(self) -> None:
        """End what is going on; what was found is still there."""
        if self._job is not None:
            self._job.stopped.set()

    def close(self) -> None:
        """End it and let go of the thread."""
        self.stop()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _hear(
        self,
        job: _Job,
        record: InspectionRecord,
        numbers: list[int],
        listener: str,
        model: Path | None,
        grammar: Path | None,
    ) -> None:
        try:
            crashes: list[object] = []
            with open_ears(language_of(grammar), listener, model, on_crash=crashes.append) as ears:
                for number in numbers:
                    if job.stopped.is_set():
                        break
                    for one in heard_again(record, self._media, ears, number):
                        if one.differs is not Differs.NOT:
                            job.found.append(line(one))
                    job.done += 1
        except FieldlogError as error:
            job.fault = f"{error}"
        except Exception as error:  # a fault of ours ends the hearing and is told, not the server
            job.fault = f"a fault of fieldlog itself: {type(error).__name__}"
        finally:
            job.over = True


def line(one: HeardAgain) -> Json:
    """One difference, with what a decision about it has to name."""
    accepted = one.now.decision is Decision.ACCEPT
    return {
        "item": one.exchange.id,
        "seen": one.exchange.state,
        "utterance": one.number,
        "differs": str(one.differs),
        "stands": [tell.finding(each.finding) for each in one.exchange.standing],
        "now": [tell.finding(each) for each in one.now.offered],
        "was": one.was,
        "text": one.now.text,
        "reason": "" if accepted else one.now.question_text or one.now.reason,
    }


def _text(what: Json, key: str) -> str:
    value = what.get(key, "")
    if not isinstance(value, str) or len(value) > 1000 or "\0" in value:
        raise UsageError(f"{key} is no text")
    return value.strip()
