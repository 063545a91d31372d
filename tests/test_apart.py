"""A process apart: what it answers, and what is said when it dies, hangs or prints."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fieldlog.apart.frames import READY, read_frame, write_frame
from fieldlog.apart.process import Lost, Process

ROOT = Path(__file__).resolve().parents[1]


def obedient() -> Callable[[bytes], bytes]:
    """Runs over there: does what a message says, which is the point of the tests."""

    def handle(message: bytes) -> bytes:
        match message.split():
            case [b"die"]:
                os.kill(os.getpid(), signal.SIGSEGV)
            case [b"exit", code]:
                os._exit(int(code))
            case [b"sleep", seconds]:
                time.sleep(float(seconds))
            case [b"print"]:
                os.write(1, b"a native library's banner\n" * 1000)
                print("and one of Python's", flush=True)
            case [b"folder"]:
                return str(Path.cwd()).encode()
        return message

    return handle


def unready() -> Callable[[bytes], bytes]:
    raise SystemExit(9)


@pytest.fixture
def process() -> Iterator[Process]:
    running = Process(f"{__name__}:obedient", quiet=True)
    assert running.answer(60) == READY
    yield running
    running.end()


def test_messages_are_answered_in_order_whatever_their_size(process: Process) -> None:
    messages = [b"", b"\n", bytes(range(256)), b"x" * 3_000_000, b"last"]
    process.send(messages)
    assert [process.answer(60) for _ in messages] == messages
    process.send([b"again"])
    assert process.answer(60) == b"again"


def test_many_large_messages_do_not_wait_for_each_other(process: Process) -> None:
    """Both pipes are full long before the last message is read: neither end may block for good."""
    messages = [bytes([n]) * 200_000 for n in range(40)]
    process.send(messages)
    time.sleep(0.2)
    assert [process.answer(60) for _ in messages] == messages


@pytest.mark.parametrize(
    ("message", "what"), [(b"die", "signal 11"), (b"exit 7", "exit 7"), (b"exit 0", "exit 0")]
)
def test_a_death_is_told_with_its_cause(process: Process, message: bytes, what: str) -> None:
    process.send([b"before", message, b"after"])
    assert process.answer(60) == b"before"
    assert process.answer(60) == Lost(what)


def test_a_process_that_hangs_is_lost_after_its_time_and_is_ended(process: Process) -> None:
    process.send([b"sleep 60"])
    began = time.monotonic()
    assert process.answer(0.3) == Lost("no answer in 0.3 s", hung=True)
    process.end()
    assert time.monotonic() - began < 20
    with pytest.raises(ProcessLookupError):
        os.kill(process.pid, 0)
    process.end()


def test_a_stopped_process_with_messages_left_over_is_ended(process: Process) -> None:
    os.kill(process.pid, signal.SIGSTOP)
    process.send([b"x" * 1_000_000])
    assert isinstance(process.answer(0.2), Lost)
    process.end(0.1)
    with pytest.raises(ProcessLookupError):
        os.kill(process.pid, 0)


def test_what_it_prints_does_not_come_between_the_answers(process: Process) -> None:
    process.send([b"print", b"after"])
    assert [process.answer(60), process.answer(60)] == [b"print", b"after"]


def test_one_that_does_not_get_ready_says_how_it_ended() -> None:
    for target in (f"{__name__}:unready", "fieldlog.apart.frames:nothing", "no.such.module:at_all"):
        process = Process(target, quiet=True)
        assert process.answer(60) == Lost("exit 9" if "unready" in target else "exit 1")
        process.end()


def test_ctrl_c_of_the_terminal_does_not_reach_its_work(process: Process) -> None:
    os.kill(process.pid, signal.SIGINT)
    process.send([b"still here"])
    assert process.answer(60) == b"still here"


def test_it_ends_by_itself_when_its_owner_is_killed() -> None:
    code = f"""
        import time
        from fieldlog.apart.process import Process
        process = Process({__name__ + ":obedient"!r})
        process.answer(60)
        print(process.pid, flush=True)
        time.sleep(60)
    """
    owner = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert owner.stdout is not None
    pid = int(owner.stdout.readline())
    owner.kill()
    owner.communicate()
    until = time.monotonic() + 20
    while time.monotonic() < until and Path(f"/proc/{pid}").exists() and not _is_zombie(pid):
        time.sleep(0.05)
    assert not Path(f"/proc/{pid}").exists() or _is_zombie(pid)


def _is_zombie(pid: int) -> bool:
    try:
        return ") Z " in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return True


def test_a_script_without_a_main_guard_can_start_one(tmp_path: Path) -> None:
    """``multiprocessing`` would run the script again in the child, which then starts another."""
    script = tmp_path / "script.py"
    script.write_text(
        "from fieldlog.apart.process import Process\n"
        f"process = Process({__name__ + ':obedient'!r})\n"
        "process.answer(60)\nprocess.send([b'folder'])\nprint(len(process.answer(60)) > 1)\n"
        "process.end()\n"
    )
    ran = subprocess.run(
        [sys.executable, str(script)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (ran.stdout, ran.returncode) == ("True\n", 0), ran.stderr


@pytest.mark.parametrize("cut", [0, 1, 3, 4, 6])
def test_a_frame_cut_short_is_the_end(cut: int) -> None:
    whole = io.BytesIO()
    write_frame(whole, b"abc")
    assert read_frame(io.BytesIO(whole.getvalue()[:cut])) is None
    assert read_frame(io.BytesIO(whole.getvalue())) == b"abc"
