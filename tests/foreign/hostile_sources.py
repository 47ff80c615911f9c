"""Attacks through the instrument feed: files and lines that no tester would send."""

import contextlib
import json
import pathlib
import random
import socket
import subprocess
import tempfile
import threading

from recording import wait_state

NOISE = random.Random(20_260_303)
COLUMNS = "deflection:mm,load:N"
GOOD = [f"{index / 50},{95.0 * index / 50}" for index in range(1_000)]

SOURCES = {
    "nothing": b"",
    "noise": NOISE.randbytes(200_000),
    "one line without end": b"1.5," * 1_000_000,
    "zeros": b"\x00" * 100_000,
    "no numbers": b"deflection,load\nlots,of\nwords,here\n" * 1_000,
    "numbers that are none": b"NaN,NaN\ninf,-inf\n1e999,-1e999\n0x10,1_000\n" * 1_000,
    "too many columns": (b"1.0," * 500 + b"\n") * 100,
    "two bytes a character": "0.5,47.5\n1.0,95.0\n".encode("utf-16") * 500,
    "line ends of every kind": b"0.5,1\r\r\n\n\n\x0b\x0c\x85" * 2_000,
}


def feed(api, folder, *source):
    """Runs the feed to its end and returns what it reported; a panic or a hang is a failure."""
    command = [api.program, "feed", "--server", f"http://{api.address}", "--columns", COLUMNS, "--separator", "comma", "--json"]
    command += ["--spool", str(folder / "spool"), "--new-run", "--give-up-after-s", "10", "--source-patience-s", "1"]
    ended = subprocess.run([*command, *source], capture_output=True, timeout=60, check=False)
    said = (ended.stdout + ended.stderr).decode(errors="replace")
    assert ended.returncode in (0, 1, 2) and "panicked" not in said, f"{source}: {ended.returncode}: {said[-2000:]}"
    return ended.returncode, said, ended.stdout.decode(errors="replace")


@contextlib.contextmanager
def scratch():
    with tempfile.TemporaryDirectory() as folder:
        yield pathlib.Path(folder)


def files_of_garbage(api):
    for name, content in SOURCES.items():
        with scratch() as folder:
            path = folder / "source.csv"
            path.write_bytes(content)
            code, said, _ = feed(api, folder, "--file", str(path))
            assert code != 0 or name not in ("noise", "no numbers", "numbers that are none"), f"{name}: {said[-500:]}"


def good_lines_among_garbage_are_kept(api):
    lines = []
    for line in GOOD:
        lines.append(line.encode())
        if NOISE.random() < 0.05:
            lines.append(NOISE.randbytes(40).replace(b"\n", b"?").replace(b"#", b"?"))
    with scratch() as folder:
        path = folder / "source.csv"
        path.write_bytes(b"\n".join(lines) + b"\n")
        code, said, printed = feed(api, folder, "--file", str(path))
    assert code == 0, said[-2000:]
    run = json.loads(printed)["run"]
    wait_state(api, run, "FINISHED")
    kept = api.call("RunService/GetRun", {"name": run})
    assert kept.sample_count == len(GOOD) and len(kept.gaps) > 10, kept
    blocks = [said.block for said in api.read("RunService/ReadRunSamples", {"name": run}) if said.HasField("block")]
    loads = [load for one in blocks for load in one.columns[1].values]
    assert loads == [float(line.split(",")[1]) for line in GOOD]


def lines_of_garbage(api):
    for content in SOURCES.values():
        with scratch() as folder, serving(content) as source:
            feed(api, folder, "--connect", source)


@contextlib.contextmanager
def serving(content):
    """A tester that says this to everybody who connects, and hangs up."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve():
        with contextlib.suppress(OSError):
            while True:
                connection, _ = listener.accept()
                with connection:
                    connection.sendall(content)

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield "127.0.0.1:%d" % listener.getsockname()[1]
    finally:
        listener.close()


ATTACKS = [files_of_garbage, good_lines_among_garbage_are_kept, lines_of_garbage]
