"""Attacks by requests: bytes that are no message, and messages in good form that ask for nonsense."""

import math
import random
import threading
import time

import grpc
import numpy

from client import Refusal, channel, fresh, length, must_refuse, refused
from recording import COLUMNS, attach, attach_refused, block
from recording import header as run_header

NOISE = random.Random(20_260_302)


def press(deflections, rate=95.0):
    return {
        "deflection_unit": "UNIT_MILLIMETER",
        "deflections": [float(one) for one in deflections],
        "load_unit": "UNIT_NEWTON",
        "loads": [rate * float(one) for one in deflections],
    }


# Messages that are none.


def raw(api, name, payload, limit=10):
    """A call with bytes of one's own."""
    service, method = name.split("/")
    stub = api.channel.unary_unary(
        f"/springwright.v1.{service}/{method}", request_serializer=lambda one: one, response_deserializer=lambda one: one
    )
    return stub(payload, timeout=limit)


def messages_too_large(api):
    content = api.request("RackService/CreateSpring", {"spring_id": "huge", "request_id": fresh()})
    content.spring.notes = "x" * (20 << 20)
    must_refuse("RESOURCE_EXHAUSTED", "TOO_LARGE", api.call, "RackService/CreateSpring", content)
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
        try:
            refusal = stream.end_of_error()
        except AssertionError as accepted:
            raise AssertionError(f"{str(fault)[:80]}: {accepted}") from accepted
        # A number that is a number but not the next one is a hole, and said as that.
        hole = refusal.code.name == "OUT_OF_RANGE" and refusal.reason == "BLOCK_OUT_OF_ORDER"
        assert hole or refusal.code.name in ("INVALID_ARGUMENT", "RESOURCE_EXHAUSTED"), f"{str(fault)[:80]}: {refusal}"


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


def nothing(api, count):
    content = api.request("SpringService/ReduceRun")
    content.samples.deflection_unit = content.samples.load_unit = 1
    content.samples.deflections.extend(numpy.arange(float(count)))
    content.samples.loads.extend(numpy.full(count, math.nan))
    return content


def a_million_of_nothing(api):
    refusal = answered(api, nothing(api, 250_000))
    assert isinstance(refusal, Refusal) and refusal.violations[-1][1] == "MORE", refusal
    assert "249976" in refusal.violations[-1][2], refusal.violations[-1]
    refusal = answered(api, nothing(api, 250_001))
    assert any(reason == "WRONG_LENGTH" for _, reason in refusal.faults()), refusal
    must_refuse("RESOURCE_EXHAUSTED", "TOO_LARGE", api.call, "SpringService/ReduceRun", nothing(api, 1_000_000))


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
    messages_too_large,
    bytes_that_are_no_message,
    pages_out_of_all_bounds,
    blocks_of_nonsense,
    clocks_of_nonsense,
    headers_of_nonsense,
    a_million_of_nothing,
    presses_of_nonsense,
    many_at_once,
]
