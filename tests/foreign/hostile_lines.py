"""Attacks on the line: connections, frames, headers, and those who take their time."""

import random
import struct
import time

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
from recording import attach, block
from recording import header as run_header

NOISE = random.Random(20_260_301)
UNARY = "/springwright.v1.RackService/GetSpring"


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


def requests_that_never_end(api):
    """Many calls whose message never comes; fewer than the bound on work in flight, which would shed the others too."""
    held = [Connection(api.address) for _ in range(2)]
    for connection in held:
        for stream in range(1, 301, 2):
            connection.open(UNARY, stream=stream)
            connection.try_send(frame(DATA, 0, stream, b"\x00\x00\x00\x00\x09abc"))
    time.sleep(3)
    for connection in held:
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


def foreign_hosts(api):
    for number in range(50):
        connection = Connection(api.address)
        connection.open(UNARY, authority=f"shop-{number}.example:443", end=True)
        answer = connection.answer(within=3)
        assert answer.get("grpc-status") == "7" or answer.get(":status") in ("403", "421"), answer
        connection.close()


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


ATTACKS = [
    half_open_sockets,
    garbage,
    frames_against_the_rules,
    headers_without_end,
    floods,
    rapid_resets,
    slow_senders,
    requests_that_never_end,
    slow_readers,
    foreign_hosts,
    messages_that_lie,
]
