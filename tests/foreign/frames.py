"""HTTP/2 by hand (RFC 9113): what no well-behaved library would send, and what comes back."""

import socket
import struct
import time

import hpack

PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"
DATA, HEADERS, PRIORITY, RESET, SETTINGS, PUSH, PING, GOAWAY, WINDOW, CONTINUATION = range(10)
END_STREAM, ACK, END_HEADERS = 0x1, 0x1, 0x4


def frame(kind, flags=0, stream=0, payload=b"", stated_length=None):
    size = len(payload) if stated_length is None else stated_length
    return struct.pack(">I", size)[1:] + bytes([kind, flags]) + struct.pack(">I", stream) + payload


def number(value, prefix_bits):
    """An integer in the form of HPACK (RFC 7541, 5.1)."""
    top = (1 << prefix_bits) - 1
    if value < top:
        return bytes([value])
    out, value = bytearray([top]), value - top
    while value >= 128:
        out.append(value % 128 + 128)
        value //= 128
    return bytes(out) + bytes([value])


def header(name, value):
    """A literal that is not indexed, neither of its texts compressed."""
    name, value = (text if isinstance(text, bytes) else text.encode() for text in (name, value))
    return b"\x00" + number(len(name), 7) + name + number(len(value), 7) + value


def call_headers(path, authority, **more):
    fixed = [(":method", "POST"), (":scheme", "http"), (":path", path), (":authority", authority)]
    fixed += [("content-type", "application/grpc"), ("te", "trailers")]
    fixed += [(name.replace("_", "-"), value) for name, value in more.items()]
    return b"".join(header(name, value) for name, value in fixed)


def message(payload):
    """A gRPC message: not compressed, its length, itself."""
    return b"\x00" + struct.pack(">I", len(payload)) + payload


class Connection:
    """A connection with its preface sent; everything after it is up to the caller."""

    def __init__(self, address, preface=PREFACE, settings=True):
        host, port = address.rsplit(":", 1)
        self.socket = socket.create_connection((host, int(port)), timeout=10)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._buffer, self._decoder = b"", hpack.Decoder()
        self.authority = address
        if preface:
            self.send(preface)
        if settings:
            self.send(frame(SETTINGS))

    def send(self, data):
        self.socket.sendall(data)

    def try_send(self, data):
        """False when the server has closed the connection."""
        try:
            self.send(data)
            return True
        except OSError:
            return False

    def close(self):
        self.socket.close()

    def open(self, path, stream=1, end=False, authority=None, **more):
        block = call_headers(path, authority or self.authority, **more)
        flags = END_HEADERS | (END_STREAM if end else 0)
        self.send(frame(HEADERS, flags, stream, block))

    def frames(self, within):
        """Frames as they come, until the time is over or the connection closed. Settings and pings are answered."""
        end = time.monotonic() + within
        while True:
            while len(self._buffer) >= 9 and len(self._buffer) >= 9 + int.from_bytes(self._buffer[:3], "big"):
                yield self._take()
            left = end - time.monotonic()
            if left <= 0:
                return
            self.socket.settimeout(left)
            try:
                got = self.socket.recv(65536)
            except TimeoutError:
                return
            except OSError:
                got = b""
            if not got:
                return
            self._buffer += got

    def _take(self):
        size = int.from_bytes(self._buffer[:3], "big")
        kind, flags = self._buffer[3], self._buffer[4]
        stream = int.from_bytes(self._buffer[5:9], "big") & 0x7FFFFFFF
        payload, self._buffer = self._buffer[9 : 9 + size], self._buffer[9 + size :]
        if kind in (SETTINGS, PING) and not flags & ACK:
            self.try_send(frame(kind, ACK, 0, payload if kind == PING else b""))
        return kind, flags, stream, payload

    def answer(self, stream=1, within=10):
        """Headers and trailers of a stream together, when it ends or is reset."""
        found = {}
        for kind, flags, number_, payload in self.frames(within):
            if kind == HEADERS:
                # Decoded for every stream: the decoder's table is the connection's.
                said = {name: value for name, value in self._decoder.decode(payload)}
                if number_ == stream:
                    found.update(said)
            if number_ == stream and kind == RESET:
                found["reset"] = int.from_bytes(payload, "big")
            if kind == GOAWAY:
                found["goaway"] = int.from_bytes(payload[4:8], "big")
                return found
            if number_ == stream and ((kind in (HEADERS, DATA) and flags & END_STREAM) or kind == RESET):
                return found
        found["silent"] = True
        return found

    def is_closed(self, within):
        """Whether the server closes the connection within a time."""
        end = time.monotonic() + within
        for _ in self.frames(within):
            pass
        return time.monotonic() < end
