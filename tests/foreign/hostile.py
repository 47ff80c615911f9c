"""Everything a server on a bench may meet, and worse: hostile.py ADDRESS PROCESS_ID [ATTACK...]

While it goes on, well-formed calls must be answered within a second each; after it the server must be as it was."""

import math
import pathlib
import random
import struct
import sys
import threading
import time

import grpc
import numpy

from client import Api, Refusal, channel, fresh, length, refused
from frames import (
    ACK,
    CONTINUATION,
    DATA,
    END_HEADERS,
    END_STREAM,
    GOAWAY,
    HEADERS,
    PING,
    PREFACE,
    PRIORITY,
    PUSH,
    RESET,
    SETTINGS,
    WINDOW,
    Connection,
    call_headers,
    frame,
    header,
    message,
)
from rack import put
from recording import COLUMNS, attach, attach_refused, block
from recording import header as run_header

PATIENCE = 1.0  # seconds for a well-formed call
MEMORY = 200 << 10  # KiB
NOISE = random.Random(20_260_301)
UNARY = "/springwright.v1.RackService/GetSpring"


class Witness:
    """Somebody at the bench, who goes on working on a connection of their own."""

    def __init__(self, address, process):
        self._api, self._process = Api(address), process
        put(self._api, "witness")
        self.late, self.failed, self.took, self.memory = [], [], [], []
        self.during = "the start"
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self):
        reduce = {"samples": press(numpy.linspace(0, 20, 60)), "tare": {"none": True}}
        calls = [
            ("RackService/GetSpring", {"name": "springs/witness"}),
            ("RackService/ListSprings", {"page_size": 5}),
            ("SpringService/ReduceRun", reduce),
            ("grpc.health.v1.Health/Check", {}),
        ]
        while not self._over.is_set():
            for name, content in calls:
                self._make(name, content)
            self.memory.append(resident(self._process))
            time.sleep(0.05)

    def _make(self, name, content):
        started = time.monotonic()
        try:
            self._api.call(name, content, limit=10)
        except grpc.RpcError as error:
            self.failed.append(f"{name} during {self.during}: {Refusal(error)}")
        took = time.monotonic() - started
        self.took.append(took)
        if took > PATIENCE:
            self.late.append(f"{name} during {self.during}: {took:.2f} s")

    def end(self):
        self._over.set()
        self._thread.join(30)


def resident(process):
    """Memory the process holds, in KiB; 0 when it is gone."""
    try:
        lines = pathlib.Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return 0
    found = [line for line in lines if line.startswith("VmRSS:")]
    return int(found[0].split()[1]) if found else 0


def press(deflections, rate=95.0):
    deflections = numpy.asarray(deflections, dtype=float)
    return {
        "deflection_unit": "UNIT_MILLIMETER",
        "deflections": deflections.tolist(),
        "load_unit": "UNIT_NEWTON",
        "loads": (rate * deflections).tolist(),
    }


def quietly(attack, *arguments):
    """A refused or closed connection is a good answer to all of this."""
    try:
        return attack(*arguments)
    except OSError:
        return None


# Connections that never become one.


def half_open_sockets(api):
    held = []
    for number in range(200):
        opened = quietly(lambda n=number: Connection(api.address, PREFACE[: n % len(PREFACE)], settings=False))
        if opened:
            held.append(opened)
    assert held, "no connection was taken at all"
    time.sleep(7)
    left = [one for one in held if not one.is_closed(0.2)]
    assert not left, f"{len(left)} of {len(held)} connections without a preface are still open after 7 s"


def garbage(api):
    hello = bytes.fromhex("16030100c8010000c40303") + NOISE.randbytes(190)
    for start in (
        NOISE.randbytes(10_000),
        b"\x00" * 10_000,
        b"\xff" * 10_000,
        hello,
        b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 5_000 + b"\r\n",
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99999999999999\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\nffffffffffffffff\r\n",
        b"PRI * HTTP/2.0\r\n\r\nXX\r\n\r\n",
        PREFACE + NOISE.randbytes(10_000),
        PREFACE[:12] + NOISE.randbytes(1_000),
    ):
        connection = quietly(Connection, api.address, start, False)
        if connection:
            connection.is_closed(0.3)
            connection.close()
    for _ in range(200):
        connection = quietly(Connection, api.address, NOISE.randbytes(NOISE.randrange(1, 200)), False)
        if connection:
            connection.close()


# Frames against the rules.

BROKEN_FRAMES = {
    "frame of 16 MiB": frame(DATA, 0, 1, b"", stated_length=(1 << 24) - 1) + b"\x00" * 100_000,
    "data on a stream nobody opened": frame(DATA, 0, 7, b"data"),
    "settings of odd length": frame(SETTINGS, 0, 0, b"12345"),
    "settings on a stream": frame(SETTINGS, 0, 3),
    "window of nothing": frame(WINDOW, 0, 0, struct.pack(">I", 0)),
    "window beyond all bounds": frame(WINDOW, 0, 0, struct.pack(">I", 0x7FFFFFFF)) * 2,
    "push from a client": frame(PUSH, END_HEADERS, 1, struct.pack(">I", 2)),
    "continuation of nothing": frame(CONTINUATION, END_HEADERS, 1, b"\x00"),
    "headers that are none": frame(HEADERS, END_HEADERS, 1, NOISE.randbytes(500)),
    "even stream": frame(HEADERS, END_HEADERS, 2, call_headers(UNARY, "127.0.0.1")),
    "stream that depends on itself": frame(PRIORITY, 0, 1, struct.pack(">IB", 1, 16)),
    "no path": frame(HEADERS, END_HEADERS, 1, header(":method", "POST") + header(":scheme", "http")),
    "two paths": frame(HEADERS, END_HEADERS, 1, header(":path", "/b") + call_headers(UNARY, "127.0.0.1")),
    "upper case": frame(HEADERS, END_HEADERS, 1, call_headers(UNARY, "127.0.0.1") + header("Loud", "x")),
    "header table of 4 GiB": frame(SETTINGS, 0, 0, struct.pack(">HI", 1, 0xFFFFFFFF)),
    "unknown frames": b"".join(frame(kind, 0xFF, 0, b"?" * 50) for kind in range(10, 250)),
    "ping of odd length": frame(PING, 0, 0, b"123"),
    "answers nobody asked for": frame(SETTINGS, ACK) * 1_000 + frame(PING, ACK, 0, b"12345678") * 1_000,
    "end of everything": frame(GOAWAY, 0, 0, struct.pack(">II", 0, 0)),
}


def frames_against_the_rules(api):
    for broken in BROKEN_FRAMES.values():
        connection = quietly(Connection, api.address)
        if connection:
            connection.try_send(broken)
            connection.is_closed(0.1)
            connection.close()


def headers_without_end(api):
    block_ = call_headers(UNARY, api.address) + header("long", "x" * 60_000)
    connection = Connection(api.address)
    connection.try_send(frame(HEADERS, 0, 1, block_[:16_000]))
    part = header("more", "y" * 15_000)
    sent = 0
    while sent < 2_000 and connection.try_send(frame(CONTINUATION, 0, 1, part)):
        sent += 1
    assert sent < 2_000, "30 MB of headers were taken without a word"
    connection.close()
    many = call_headers(UNARY, api.address) + b"".join(header(f"n{number}", "v") for number in range(1_500))
    connection = Connection(api.address)
    connection.try_send(frame(HEADERS, END_HEADERS | END_STREAM, 1, many[:16_384]))
    connection.answer(within=0.5)
    connection.close()


def floods(api):
    for flood in (
        frame(SETTINGS) * 20_000,
        frame(PING, 0, 0, b"12345678") * 20_000,
        frame(WINDOW, 0, 0, struct.pack(">I", 1)) * 20_000,
        frame(PRIORITY, 0, 1, struct.pack(">IB", 3, 16)) * 20_000,
    ):
        connection = Connection(api.address)
        connection.socket.settimeout(3)
        connection.try_send(flood)
        connection.close()


def rapid_resets(api):
    connection = Connection(api.address)
    connection.socket.settimeout(5)
    opened = call_headers(UNARY, api.address)
    for number in range(5_000):
        stream = 2 * number + 1
        reset = frame(RESET, 0, stream, struct.pack(">I", 8))
        if not connection.try_send(frame(HEADERS, END_HEADERS, stream, opened) + reset):
            break
    connection.close()


# Those who take their time.


def slow_senders(api):
    held, parts = [], frame(HEADERS, END_HEADERS, 1, call_headers(UNARY, api.address))
    for number in range(60):
        connection = quietly(Connection, api.address, PREFACE if number % 2 else b"")
        if connection:
            held.append((connection, parts if number % 2 else PREFACE + frame(SETTINGS) + parts))
    for step in range(25):
        for connection, content in held:
            connection.try_send(content[step : step + 1])
        time.sleep(0.2)
    for connection, _ in held:
        connection.close()


def slow_readers(api):
    """Streams that nobody reads, with windows of nothing and with windows that stay full."""
    held = []
    for number in range(40):
        connection = quietly(Connection, api.address)
        if not connection:
            continue
        if number % 2:
            connection.try_send(frame(SETTINGS, 0, 0, struct.pack(">HI", 4, 0)))
        for stream in range(1, 41, 2):
            block_ = call_headers("/springwright.v1.RunService/WatchBench", api.address)
            connection.try_send(frame(HEADERS, END_HEADERS, stream, block_) + frame(DATA, END_STREAM, stream, message(b"")))
        held.append(connection)
    stream, _ = attach(api, run_header())
    for number in range(1, 31):
        stream.send({"block": block(number, samples=200)})
        time.sleep(0.05)
    stream.cut()
    for connection in held:
        connection.close()


# Messages that are none.


def raw(api, name, payload, limit=10):
    """A call with bytes of one's own."""
    service, method = name.split("/")
    stub = api.channel.unary_unary(
        f"/springwright.v1.{service}/{method}", request_serializer=lambda one: one, response_deserializer=lambda one: one
    )
    return stub(payload, timeout=limit)


def messages_that_lie(api):
    for payload in (
        b"\x00\xff\xff\xff\xff",
        b"\x00\x7f\xff\xff\xff" + b"x" * 50_000,
        b"\x01\x00\x00\x00\x04abcd",
        b"\xff\x00\x00\x00\x00",
        b"\x00\x00\x00\x00\x09abc",
        message(b"") * 100,
    ):
        connection = Connection(api.address)
        connection.open(UNARY)
        connection.try_send(frame(DATA, END_STREAM, 1, payload[:16_384]))
        answer = connection.answer(within=3)
        assert "silent" not in answer, f"no answer to {payload[:10]!r}"
        assert answer.get("grpc-status") != "0", answer
        connection.close()


def messages_too_large(api):
    content = api.request("RackService/CreateSpring", {"spring_id": "huge", "request_id": fresh()})
    content.spring.notes = "x" * (20 << 20)
    refusal = refused(api.call, "RackService/CreateSpring", content)
    assert refusal.code.name in ("OUT_OF_RANGE", "RESOURCE_EXHAUSTED"), refusal
    content.spring.notes = "ä" * 100_000
    refusal = refused(api.call, "RackService/CreateSpring", content)
    assert refusal.faults() == [("spring.notes", "WRONG_LENGTH")], refusal


def bytes_that_are_no_message(api):
    name = b"\x0a\x04spr\xff"  # a string that is no UTF-8
    groups = b"\x9b\x06" * 200_000  # unknown groups within groups, never closed
    nested = b""
    for _ in range(3_000):
        nested = b"\x52" + varint(len(nested)) + nested  # field 10 within field 10
    endless = b"\x0a" + b"\xff" * 9 + b"\x01"
    for content in (name, groups, nested, endless, b"\x08", b"\x07", NOISE.randbytes(3_000), b"\x00" * 100):
        for rpc in ("RackService/GetSpring", "RackService/CreateSpring", "SpringService/ReduceRun"):
            refusal = refused(raw, api, rpc, content)
            assert refusal.code.name in ("INVALID_ARGUMENT", "INTERNAL", "OUT_OF_RANGE", "NOT_FOUND"), f"{content[:9]}: {refusal}"


def varint(value):
    out = bytearray()
    while value >= 128:
        out.append(value % 128 + 128)
        value //= 128
    return bytes(out) + bytes([value])


def foreign_hosts(api):
    for number in range(50):
        connection = Connection(api.address)
        connection.open(UNARY, authority=f"shop-{number}.example:443", end=True)
        answer = connection.answer(within=3)
        assert answer.get("grpc-status") == "7" or answer.get(":status") in ("403", "421"), answer
        connection.close()


# Requests in good form that ask for nonsense.


def pages_out_of_all_bounds(api):
    for size in (2**31 - 1, -(2**31)):
        quietly_refused(api, "RackService/ListSprings", {"page_size": size})
        quietly_refused(api, "RunService/ListRuns", {"page_size": size})
    tokens = ["", "=", "A" * 100_000, "'; drop", "\u0000", "../../..", NOISE.randbytes(300).hex()]
    for token in tokens[1:]:
        for rpc in ("RackService/ListSprings", "RunService/ListRuns"):
            refusal = refused(api.call, rpc, {"page_token": token})
            assert refusal.code.name == "INVALID_ARGUMENT", f"{token[:20]!r}: {refusal}"
    springs = api.call("RackService/ListSprings", {"page_size": 1}).next_page_token
    if springs:
        refusal = refused(api.call, "RunService/ListRuns", {"page_token": springs})
        assert refusal.code.name == "INVALID_ARGUMENT", refusal


def quietly_refused(api, rpc, content):
    try:
        api.call(rpc, content)
    except grpc.RpcError as error:
        assert error.code().name == "INVALID_ARGUMENT", Refusal(error)


def blocks_of_nonsense(api):
    good = block(1)
    loads = good["columns"][1]["values"]
    for fault in (
        {"columns": [good["columns"][0]]},
        {"columns": good["columns"] * 500},
        {"columns": [{"values": []}, {"values": []}], "elapsed_ns": []},
        {"columns": [good["columns"][0], {"values": loads[:7]}]},
        {"columns": [good["columns"][0], {"values": ["NaN"] * len(loads)}]},
        {"number": -(2**63)},
        {"number": 2**63 - 1},
        {"number": 0},
        {"segment": -1},
        {"segment": 2**31 - 1, "number": 2},
        {"elapsed_ns": [0]},
        {"gap_before": {"block": -1, "lost_sample_count": -1, "duration": "-315576000000s", "cause": "x" * 10_000}},
        block(1, samples=4_097),
        block(1, samples=200_000),
    ):
        stream, _ = attach(api, run_header())
        stream.send({"block": dict(good, **fault)})
        refusal = stream.end_of_error()
        assert refusal.code.name in ("INVALID_ARGUMENT", "OUT_OF_RANGE", "RESOURCE_EXHAUSTED"), f"{str(fault)[:80]}: {refusal}"


def clocks_of_nonsense(api):
    """Times may be anything a broken clock can give: they are kept, and a fit must survive them."""
    for times in ([2**63 - 1] * 50, [-(2**63)] * 50, [NOISE.randrange(-(2**63), 2**63) for _ in range(50)]):
        stream, accepted = attach(api, run_header())
        stream.send({"block": dict(block(1), elapsed_ns=times)})
        stream.end()
        while stream.receive() is not None:
            pass
        time.sleep(0.1)
        answered(api, {"run": accepted.run})


def headers_of_nonsense(api):
    for fault in (
        {"columns": []},
        {"columns": COLUMNS * 5_000},
        {"columns": [{"quantity": number} for number in range(-5, 5)]},
        {"columns": [{"quantity": "QUANTITY_LOAD", "temperature": 1}]},
        {"start_time": "9999-12-31T23:59:59.999999999Z", "columns": []},
        {"tester": "\u202e" * 5_000},
        {"rate_test": {"frame": {"curve": {"loads": [1] * 100_000, "gives": [2] * 3}}}},
        {"run_id": "../../etc/passwd"},
        {"run_id": "CON"},
        {"spring": "springs/" + "a" * 100_000},
    ):
        refusal = attach_refused(api, run_header(**fault))
        assert refusal.code.name == "INVALID_ARGUMENT", f"{str(fault)[:80]}: {refusal}"


def answered(api, content):
    """The reply, or the refusal, which must be about the request; nothing else is an answer."""
    try:
        return api.call("SpringService/ReduceRun", content)
    except grpc.RpcError as error:
        refusal = Refusal(error)
        wanted = ("INVALID_FIELDS", "NOT_REDUCIBLE", "RUN_OPEN", "NOT_CONVERGED")
        assert refusal.code.name in ("INVALID_ARGUMENT", "FAILED_PRECONDITION") and refusal.reason in wanted, refusal
        return refusal


def a_million_of_nothing(api):
    content = api.request("SpringService/ReduceRun")
    content.samples.deflection_unit = content.samples.load_unit = 1
    content.samples.deflections.extend(numpy.arange(1e6))
    content.samples.loads.extend(numpy.full(1_000_000, math.nan))
    refusal = answered(api, content)
    assert isinstance(refusal, Refusal) and refusal.violations[-1][1] == "MORE", refusal
    assert "999976" in refusal.violations[-1][2], refusal.violations[-1]
    content.samples.deflections.append(0.0)
    content.samples.loads.append(0.0)
    refusal = answered(api, content)
    assert any(reason == "WRONG_LENGTH" for _, reason in refusal.faults()), refusal


def presses_of_nonsense(api):
    """None of these may come back as a sure rate."""
    there = numpy.linspace(0, 40, 400)
    noise = numpy.random.default_rng(7)
    back_and_forth = noise.uniform(0, 40, 400)
    clipped = press(there)
    clipped["loads"] = numpy.minimum(clipped["loads"], 900.0).tolist()
    wandering = press(there)
    wandering["loads"] = (95.0 * there + numpy.cumsum(noise.normal(0, 60, 400))).tolist()
    backwards = dict(press(there), elapsed_ns=[int(-one * 1e9) for one in range(400)])
    jumping = dict(press(there), elapsed_ns=noise.permutation(400).tolist())
    static = dict(press(there), loads=noise.normal(0, 1, 400).tolist())
    sure = {
        "nothing": press([]),
        "one point": press([3.0]),
        "two points": press([3.0, 4.0]),
        "one deflection": press([5.0] * 400),
        "the same load throughout": dict(press(there), loads=[100.0] * 400),
        "all zeros": dict(press([0.0] * 400), loads=[0.0] * 400),
        "a spring that pulls": dict(press(there), loads=(-95.0 * there).tolist()),
        "noise alone": static,
        "clipped at the cell's end": clipped,
        "wandering": wandering,
        "numbers at the edge of numbers": dict(press([1e308, -1e308] * 200), loads=[1e308, -1e308] * 200),
        "numbers next to nothing": dict(press([5e-324 * n for n in range(400)]), loads=[5e-324] * 400),
    }
    for name, samples in sure.items():
        said = answered(api, {"samples": samples})
        if not isinstance(said, Refusal):
            rate = said.rate.value.value
            assert math.isfinite(rate), f"{name}: the rate is {rate}"
            warned = any(finding.severity >= 2 for finding in said.findings)
            assert warned, f"{name}: {rate} without a warning: {[finding.code for finding in said.findings]}"
    for samples in (backwards, jumping, press(back_and_forth)):
        answered(api, {"samples": samples})
    # Odd windows and frames over good samples.
    for odd in (
        {"window": {"deflections": {"from": length(39.99), "to": length(39.991)}}},
        {"window": {"share": {"from_ratio": 0.9, "to_ratio": 0.1}}},
        {"frame": {"stiffness": {"rate": {"value": 94.9, "unit": 1}}}},
        {"tare": {"leading_sample_count": 2**31 - 1}},
        {"predict_at": [length(1.0)] * 5_000},
        {"grade": {"system": 77, "grade": -5}},
        {"reply_units": 77},
    ):
        answered(api, dict(odd, samples=press(there)))


def many_at_once(api):
    """Large calculations side by side: some may be shed, none may take the others down."""
    content = api.request("SpringService/ReduceRun", {"samples": press(numpy.linspace(0, 60, 100_000))})
    worst = []

    def ask():
        with channel(api.address) as mine:
            try:
                api.call("SpringService/ReduceRun", content, limit=30, through=mine)
            except grpc.RpcError as error:
                worst.append(error.code().name)

    threads = [threading.Thread(target=ask) for _ in range(12)]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    assert set(worst) <= {"RESOURCE_EXHAUSTED"}, worst


ATTACKS = [
    half_open_sockets,
    garbage,
    frames_against_the_rules,
    headers_without_end,
    floods,
    rapid_resets,
    slow_senders,
    slow_readers,
    messages_that_lie,
    messages_too_large,
    bytes_that_are_no_message,
    foreign_hosts,
    pages_out_of_all_bounds,
    blocks_of_nonsense,
    clocks_of_nonsense,
    headers_of_nonsense,
    a_million_of_nothing,
    presses_of_nonsense,
    many_at_once,
]


def run(attack, api, witness):
    witness.during = attack.__name__
    started = time.monotonic()
    try:
        attack(api)
    except Exception as error:  # the other attacks are still worth trying
        print(f"FAILED {attack.__name__}: {type(error).__name__}: {error}", flush=True)
        return False
    print(f"ok {attack.__name__} ({time.monotonic() - started:.1f} s)", flush=True)
    return True


def main(address, process, *chosen):
    witness = Witness(address, process)
    api = Api(address)
    results = [run(attack, api, witness) for attack in ATTACKS if not chosen or attack.__name__ in chosen]
    witness.during = "the quiet after"
    time.sleep(3)
    witness.end()
    print(f"{len(witness.took)} calls of the witness, the slowest took {max(witness.took):.3f} s")
    print(f"memory: {max(witness.memory) >> 10} MiB at most, {resident(process) >> 10} MiB in the end")
    wrong = witness.failed + witness.late
    # A connection from nowhere, as the next customer's.
    if Api(address).call("grpc.health.v1.Health/Check").status != 1:
        wrong.append("health is not SERVING")
    if not 0 < resident(process) < MEMORY:
        wrong.append(f"the server holds {resident(process)} KiB; allowed are {MEMORY}")
    for fault in wrong[:40]:
        print(f"FAILED {fault}")
    return 0 if results and all(results) and not wrong else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
