"""Runs: recorded, cut, taken up again, sealed, read back to the bit, watched, handled."""

import struct
import time

import crc32c
import numpy

from client import check_refusal, fresh, length, must_refuse, refused
from rack import pages, put

COLUMNS = [
    {"quantity": "QUANTITY_DEFLECTION", "length": "UNIT_MILLIMETER"},
    {"quantity": "QUANTITY_LOAD", "force": "UNIT_NEWTON"},
]
RATE = 95.0  # N/mm, of the run that is pressed here


def header(**more):
    return dict({"tester": "tester 1", "columns": COLUMNS, "rate_test": {}, "request_id": fresh()}, **more)


def block(number, samples=50, segment=0, rate=RATE):
    """A part of one slow press: 1 mm a block."""
    first = (number - 1) * samples
    index = numpy.arange(first, first + samples)
    deflections = index / samples
    return {
        "number": number,
        "segment": segment,
        "elapsed_ns": [int(one) for one in index * 10_000_000],
        "columns": [{"values": deflections.tolist()}, {"values": (rate * deflections).tolist()}],
    }


def checksum(blocks):
    """As Finish states it: per block the times as 64-bit integers, then each column's doubles, little-endian."""
    crc = 0
    for one in blocks:
        crc = crc32c.crc32c(struct.pack(f"<{len(one['elapsed_ns'])}q", *one["elapsed_ns"]), crc)
        for column in one["columns"]:
            crc = crc32c.crc32c(struct.pack(f"<{len(column['values'])}d", *column["values"]), crc)
    return crc


def finish(blocks, **more):
    samples = sum(len(one["columns"][0]["values"]) for one in blocks)
    return dict({"block_count": len(blocks), "sample_count": samples, "crc32c": checksum(blocks)}, **more)


def attach(api, head):
    """A stream whose header was accepted, and what was accepted."""
    stream = api.open("RunService/RecordRun", limit=60)
    stream.send({"header": head})
    first = stream.receive()
    if first is None:
        raise stream.error or EOFError("the stream ended without an error")
    assert first.WhichOneof("step") == "accepted", first
    return stream, first.accepted


def send(stream, blocks):
    for one in blocks:
        stream.send({"block": one})


def wait_durable(stream, number):
    stream.wait_for(lambda said: said.WhichOneof("step") == "progress" and said.progress.durable_through >= number)


def record(api, blocks, **more):
    """A finished run."""
    stream, _ = attach(api, header(**more))
    send(stream, blocks)
    stream.send({"finish": finish(blocks)})
    return stream.wait_for(lambda said: said.WhichOneof("step") == "finished").finished


def state(api, run):
    return api.catalogue.enum("RunState"), api.call("RunService/GetRun", {"name": run}).state


def wait_state(api, run, wanted, within=10):
    end = time.monotonic() + within
    while True:
        names, now = state(api, run)
        if now == names["RUN_STATE_" + wanted].number:
            return
        assert time.monotonic() < end, f"{run} is in state {now}, wanted {wanted}"
        time.sleep(0.05)


def refusal_of(stream, code, reason):
    refusal = stream.end_of_error()
    check_refusal(refusal, code, reason)
    return refusal


def run_is_cut_resumed_superseded_and_sealed(api):
    head, blocks = header(), [block(number) for number in range(1, 7)]
    blocks[4]["segment"] = blocks[5]["segment"] = 1
    blocks[4]["gap_before"] = {"lost_sample_count": 12, "cause": "line unplugged"}
    stream, accepted = attach(api, head)
    run = accepted.run
    assert run.startswith("runs/") and accepted.durable_through == 0, accepted
    assert accepted.max_unacknowledged_blocks == 64, accepted
    send(stream, blocks[:3])
    wait_durable(stream, 3)
    wait_state(api, run, "RECORDING", within=0)

    stream.cut()
    wait_state(api, run, "INTERRUPTED")
    stream, again = attach(api, head)
    assert (again.run, again.durable_through) == (run, 3), again
    assert again.attachment > accepted.attachment, (accepted, again)

    # A block that came before, the same: nothing happens, and the next one goes on.
    send(stream, [blocks[1], blocks[3]])
    wait_durable(stream, 4)

    send(stream, [dict(block(3), columns=block(3, rate=94.0)["columns"])])
    refusal = refusal_of(stream, "FAILED_PRECONDITION", "BLOCK_DIFFERS")
    assert refusal.metadata.get("block") == "3", refusal

    stream, _ = attach(api, head)
    send(stream, [blocks[5]])
    refusal = refusal_of(stream, "OUT_OF_RANGE", "BLOCK_OUT_OF_ORDER")
    assert refusal.metadata.get("wanted") == "5", refusal

    older, _ = attach(api, head)
    newer, accepted = attach(api, head)
    refusal_of(older, "ABORTED", "SUPERSEDED")
    assert accepted.durable_through == 4, accepted

    other = attach_refused(api, dict(head, tester="another"))
    check_refusal(other, "FAILED_PRECONDITION", "REQUEST_ID_REUSED")

    send(newer, blocks[4:])
    wait_durable(newer, 6)
    newer.send({"finish": finish(blocks, crc32c=checksum(blocks) ^ 1)})
    refusal = refusal_of(newer, "FAILED_PRECONDITION", "FINISH_DIFFERS")
    assert refusal.metadata.get("field") == "crc32c", refusal

    stream, _ = attach(api, head)
    stream.send({"finish": finish(blocks)})
    sealed = stream.wait_for(lambda said: said.WhichOneof("step") == "finished").finished
    check_sealed(api, sealed, run, blocks)

    # The header of a finished run is answered with the run.
    stream = api.open("RunService/RecordRun")
    stream.send({"header": head})
    said = stream.receive()
    assert said.WhichOneof("step") == "finished" and said.finished == sealed, said
    stream.cut()


def attach_refused(api, head):
    stream = api.open("RunService/RecordRun")
    stream.send({"header": head})
    return stream.end_of_error()


def check_sealed(api, sealed, run, blocks):
    names, now = state(api, run)
    assert now == sealed.state == names["RUN_STATE_FINISHED"].number, sealed
    assert (sealed.name, sealed.block_count, sealed.sample_count) == (run, 6, 300), sealed
    assert sealed.content_digest == struct.pack(">I", checksum(blocks)), sealed.content_digest
    assert sealed.HasField("finish_time") and not sealed.header.request_id, sealed
    assert [(gap.block, gap.lost_sample_count, gap.cause) for gap in sealed.gaps] == [(5, 12, "line unplugged")], sealed
    check_samples(api, run, blocks)


def check_samples(api, run, blocks, start=1):
    said = api.read("RunService/ReadRunSamples", {"name": run, "from_block": start})
    assert [column.quantity for column in said[0].columns] == [2, 3], said[0].columns
    assert not any(message.columns for message in said[1:])
    got = [message.block for message in said if message.HasField("block")]
    assert [one.number for one in got] == [one["number"] for one in blocks[start - 1 :]], [one.number for one in got]
    for one, sent in zip(got, blocks[start - 1 :]):
        assert list(one.elapsed_ns) == sent["elapsed_ns"] and one.segment == sent["segment"], one.number
        for column, values in zip(one.columns, sent["columns"], strict=True):
            # Bytes, because 0.0 equals -0.0.
            assert struct.pack(f"<{len(column.values)}d", *column.values) == struct.pack(
                f"<{len(values['values'])}d", *values["values"]
            ), f"block {one.number}"


def samples_come_back_to_the_bit(api):
    strange = [0.1 + 0.2, -0.0, 5e-324, 1.7976931348623157e308, 2.0**53 + 1, -1e-300, 1 / 3]
    values = strange + [float(number) for number in range(len(strange), 50)]
    noise = numpy.random.default_rng(1)
    blocks = [
        dict(block(1), columns=[{"values": values}, {"values": list(reversed(values))}]),
        # Times may jitter and repeat; loads are noise in every digit.
        dict(block(2), columns=[block(2)["columns"][0], {"values": noise.normal(0, 1e3, 50).tolist()}]),
        dict(block(3, samples=4096), elapsed_ns=[]),
    ]
    run = record(api, blocks)
    check_samples(api, run.name, blocks)
    check_samples(api, run.name, blocks, start=3)


def run_in_inch_units_comes_back_as_sent(api):
    columns = [
        {"quantity": "QUANTITY_LOAD", "force": "UNIT_POUND_FORCE"},
        {"quantity": "QUANTITY_DEFLECTION", "length": "UNIT_INCH"},
        {"quantity": "QUANTITY_TEMPERATURE", "temperature": "UNIT_DEGREE_FAHRENHEIT"},
    ]
    inches = numpy.linspace(0, 2, 201)
    content = {
        "number": 1,
        "elapsed_ns": [],
        "columns": [{"values": one.tolist()} for one in (inches * 54.0, inches, inches * 0 + 68.0)],
    }
    run = record(api, [content], columns=columns)
    assert [one.quantity for one in run.header.columns] == [3, 2, 6], run.header
    # Loads in pounds against inches: 54 lbf/in, said in the units asked for.
    request = {"run": run.name, "tare": {"none": True}, "window": {"all_samples": True}, "reply_units": 2}
    reply = api.call("SpringService/ReduceRun", request)
    assert abs(reply.rate.value.value - 54) < 1e-9 * 54 and reply.rate.value.unit == 3, reply.rate
    metric = api.call("SpringService/ReduceRun", dict(request, reply_units=1)).rate.value
    assert abs(metric.value * 25.4 / 4.4482216152605 - 54) < 1e-9 * 54 and metric.unit == 1, metric


def recorded_run_is_reduced_like_its_samples(api):
    spring = put(api, "on-the-tester", marked_rate={"value": RATE, "unit": "UNIT_NEWTON_PER_MILLIMETER"})
    blocks = [block(number) for number in range(1, 41)]
    run = record(api, blocks, spring=spring.name)
    wanted = {"tare": {"none": True}, "window": {"deflections": {"from": length(10), "to": length(30)}}}
    recorded = api.call("SpringService/ReduceRun", dict(wanted, run=run.name))
    assert abs(recorded.rate.value.value - RATE) < 1e-9 * RATE, recorded.rate
    sent = api.call("SpringService/ReduceRun", dict(wanted, samples=samples_of(blocks)))
    assert sent.rate.value == recorded.rate.value and sent.fit == recorded.fit, (sent.rate, recorded.rate)
    used = [one.name for one in recorded.used]
    assert any(name.startswith(run.name + "@") for name in used), used
    assert any(name.startswith(spring.name + "@") for name in used), used
    # Its measured rate becomes the spring's.
    change = {"spring": {"name": spring.name, "tested_run": run.name}}
    api.change("RackService/UpdateSpring", change)


def samples_of(blocks):
    joined = [sum((one["columns"][column]["values"] for one in blocks), []) for column in (0, 1)]
    return {
        "deflection_unit": "UNIT_MILLIMETER",
        "deflections": joined[0],
        "load_unit": "UNIT_NEWTON",
        "loads": joined[1],
        "elapsed_ns": sum((one["elapsed_ns"] for one in blocks), []),
    }


def bench_is_watched_as_it_happens(api):
    head = header()
    stream, accepted = attach(api, head)
    watch = api.open("RunService/WatchBench", {"run": accepted.run}, limit=60)
    snapshot = watch.receive()
    assert snapshot.reset and snapshot.run == accepted.run and len(snapshot.points.loads) <= 512, snapshot
    blocks = [block(number) for number in range(1, 4)]
    for one in blocks:
        send(stream, [one])
        wait_durable(stream, one["number"])
        changed = watch.wait_for(lambda said, n=one["number"]: said.durable_through >= n)
        assert changed.run == accepted.run, changed
    quiet = watch.wait_for(lambda said: said.heartbeat, within=7)
    assert not quiet.points.loads, quiet
    reopened = api.open("RunService/WatchBench", {"run": accepted.run})
    snapshot = reopened.receive()
    assert snapshot.reset and snapshot.durable_through == 3, snapshot
    points = list(zip(snapshot.points.deflections, snapshot.points.loads, strict=True))
    assert 2 <= len(points) <= 512, len(points)
    assert (snapshot.points.deflection_unit, snapshot.points.load_unit) == (1, 1), snapshot
    assert all(abs(load - RATE * deflection) <= 1e-9 * RATE * 3 for deflection, load in points), points[:5]
    assert snapshot.reading.sample_count == 150 and abs(snapshot.reading.load.value - RATE * 149 / 50) < 1e-6, snapshot
    stream.send({"finish": finish(blocks)})
    finished = api.catalogue.enum("RunState")["RUN_STATE_FINISHED"].number
    watch.wait_for(lambda said: said.state == finished)
    for one in (watch, reopened, stream):
        one.cut()


def snapshot_of_a_long_run_is_thinned(api):
    stream, accepted = attach(api, header())
    send(stream, [block(number, samples=1000) for number in range(1, 6)])
    wait_durable(stream, 5)
    watch = api.open("RunService/WatchBench", {})
    snapshot = watch.receive()
    assert snapshot.reset and snapshot.run == accepted.run, snapshot
    assert 100 <= len(snapshot.points.loads) <= 512, len(snapshot.points.loads)
    watch.cut()
    stream.cut()
    wait_state(api, accepted.run, "INTERRUPTED")


def run_on_the_bench_is_neither_reduced_nor_deleted(api):
    stream, accepted = attach(api, header())
    send(stream, [block(1)])
    wait_durable(stream, 1)
    name = {"name": accepted.run}
    must_refuse("FAILED_PRECONDITION", "RUN_OPEN", api.call, "SpringService/ReduceRun", {"run": accepted.run})
    must_refuse("FAILED_PRECONDITION", "RUN_OPEN", api.change, "RunService/DeleteRun", name)
    stream.cut()
    wait_state(api, accepted.run, "INTERRUPTED")


def interrupted_run_is_sealed_as_it_is(api):
    stream, accepted = attach(api, header())
    send(stream, [block(1), block(2)])
    stream.send({"block": block(3)})
    wait_durable(stream, 3)
    stream.end()
    wait_state(api, accepted.run, "INTERRUPTED")
    once, name = fresh(), {"name": accepted.run}
    sealed = api.change("RunService/FinishRun", name, once)
    blocks = [block(number) for number in (1, 2, 3)]
    assert (sealed.block_count, sealed.sample_count) == (3, 150), sealed
    assert sealed.content_digest == struct.pack(">I", checksum(blocks)), sealed
    assert api.change("RunService/FinishRun", name, once) == sealed
    must_refuse("FAILED_PRECONDITION", "RUN_CLOSED", api.change, "RunService/DiscardRun", name)
    check_samples(api, accepted.run, blocks)


def discarded_run_ends_its_stream(api):
    head = header()
    stream, accepted = attach(api, head)
    send(stream, [block(1)])
    wait_durable(stream, 1)
    discarded = api.change("RunService/DiscardRun", {"name": accepted.run})
    assert discarded.state == api.catalogue.enum("RunState")["RUN_STATE_DISCARDED"].number, discarded
    refusal = stream.end_of_error()
    assert refusal.reason == "RUN_CLOSED", refusal
    check_refusal(attach_refused(api, head), "FAILED_PRECONDITION", "RUN_CLOSED")
    must_refuse("FAILED_PRECONDITION", "RUN_CLOSED", api.change, "RunService/FinishRun", {"name": accepted.run})


def run_is_assigned_deleted_and_brought_back(api):
    run = record(api, [block(1), block(2)])
    spring = put(api, "assigned-later")
    change = {"run": {"name": run.name, "spring": spring.name, "notes": "left leg"}, "update_mask": "spring,notes"}
    once = fresh()
    after = api.change("RunService/UpdateRun", change, once)
    assert (after.spring, after.notes, after.revision > run.revision) == (spring.name, "left leg", True), after
    assert api.change("RunService/UpdateRun", change, once) == after
    stale = {"run": {"name": run.name, "etag": run.etag, "notes": "x"}}
    refusal = must_refuse("ABORTED", "STALE_ETAG", api.change, "RunService/UpdateRun", stale)
    assert refusal.metadata.get("etag") == after.etag, refusal
    refusal = refused(api.change, "RunService/UpdateRun", {"run": {"name": run.name}, "update_mask": "header"})
    assert refusal.code.name == "INVALID_ARGUMENT", refusal
    of_spring = pages(api, "RunService/ListRuns", "runs", {"spring": spring.name})
    assert [one.name for one in of_spring] == [run.name], of_spring
    gone = api.change("RunService/DeleteRun", {"name": run.name})
    assert gone.HasField("delete_time"), gone
    assert not pages(api, "RunService/ListRuns", "runs", {"spring": spring.name})
    must_refuse("FAILED_PRECONDITION", "DELETED", api.call, "SpringService/ReduceRun", {"run": run.name})
    back = api.change("RunService/UndeleteRun", {"name": run.name})
    assert not back.HasField("delete_time") and back.spring == spring.name, back
    check_samples(api, run.name, [block(1), block(2)])


def runs_are_listed_newest_first(api):
    made = [record(api, [block(1)], tester=f"listed {number}").name for number in range(5)]
    finished = {"state": "RUN_STATE_FINISHED", "page_size": 2}
    names = [run.name for run in pages(api, "RunService/ListRuns", "runs", finished)]
    assert names[:5] == made[::-1] and len(set(names)) == len(names), names
    refusal = refused(api.call, "RunService/ListRuns", {"page_token": "made-up"})
    assert refusal.code.name == "INVALID_ARGUMENT" and refusal.faults()[0][0] == "page_token", refusal


def steps_out_of_place_are_refused(api):
    stream = api.open("RunService/RecordRun")
    stream.send({"block": block(1)})
    refusal_of(stream, "FAILED_PRECONDITION", "STEP_OUT_OF_PLACE")
    stream, _ = attach(api, header())
    stream.send({"header": header()})
    refusal_of(stream, "FAILED_PRECONDITION", "STEP_OUT_OF_PLACE")


def broken_blocks_are_refused_by_field(api):
    for fault, field, reason in BROKEN_BLOCKS:
        stream, accepted = attach(api, header())
        send(stream, [dict(block(1), **fault)])
        refusal = refusal_of(stream, "INVALID_ARGUMENT", "INVALID_FIELDS")
        assert (field, reason) in refusal.faults(), f"{field}: {refusal}"
        # Nothing of it is kept.
        wait_state(api, accepted.run, "INTERRUPTED")
        assert api.call("RunService/GetRun", {"name": accepted.run}).sample_count == 0


FIRST, SECOND = (one for one in block(1)["columns"])
BROKEN_BLOCKS = [
    ({"number": -1}, "block.number", "OUT_OF_RANGE"),
    ({"segment": -1}, "block.segment", "OUT_OF_RANGE"),
    ({"columns": [FIRST]}, "block.columns", "WRONG_LENGTH"),
    ({"columns": [FIRST, {"values": SECOND["values"][:-1]}]}, "block.columns[1].values", "WRONG_LENGTH"),
    ({"columns": [FIRST, {"values": SECOND["values"][:-1] + ["NaN"]}]}, "block.columns[1].values[49]", "NOT_FINITE"),
    ({"columns": [{"values": ["-Infinity"] + FIRST["values"][1:]}, SECOND]}, "block.columns[0].values[0]", "NOT_FINITE"),
    ({"columns": [{"values": []}, {"values": []}], "elapsed_ns": []}, "block.columns", "WRONG_LENGTH"),
    ({"elapsed_ns": [1, 2, 3]}, "block.elapsed_ns", "WRONG_LENGTH"),
    (dict(block(1, samples=4097), number=1), "block.columns", "WRONG_LENGTH"),
]


def broken_headers_are_refused_by_field(api):
    load, deflection = COLUMNS[1], COLUMNS[0]
    for fault, field, reason in (
        ({"request_id": ""}, "header.request_id", "VALUE_MISSING"),
        ({"request_id": "seven"}, "header.request_id", "OUT_OF_RANGE"),
        ({"columns": []}, "header.columns", "WRONG_LENGTH"),
        ({"columns": [deflection]}, "header.columns", "VALUE_MISSING"),
        ({"columns": [load] * 17}, "header.columns", "WRONG_LENGTH"),
        ({"columns": [load, load]}, "header.columns", "CONFLICT"),
        ({"columns": [load, {"quantity": "QUANTITY_DEFLECTION"}]}, "header.columns[1].unit", "UNIT_MISSING"),
        ({"columns": [load, dict(deflection, length=0)]}, "header.columns[1].length", "UNIT_MISSING"),
        ({"columns": [load, dict(deflection, length=99)]}, "header.columns[1].length", "OUT_OF_RANGE"),
        ({"columns": [load, {"quantity": 99, "length": 1}]}, "header.columns[1].quantity", "OUT_OF_RANGE"),
        ({"columns": [load, {"quantity": "QUANTITY_DEFLECTION", "force": 1}]}, "header.columns[1].unit", "CONFLICT"),
        ({"spring": "runs/a7"}, "header.spring", "UNKNOWN_NAME"),
        ({"run_id": "No Id"}, "header.run_id", "OUT_OF_RANGE"),
        ({"tester": "x" * 201}, "header.tester", "WRONG_LENGTH"),
    ):
        refusal = attach_refused(api, header(**fault))
        assert (refusal.code.name, refusal.reason) == ("INVALID_ARGUMENT", "INVALID_FIELDS"), f"{field}: {refusal}"
        assert (field, reason) in refusal.faults(), f"{field} {reason}: {refusal}"


def run_id_is_taken_once(api):
    stream, accepted = attach(api, header(run_id="chosen"))
    assert accepted.run == "runs/chosen", accepted
    check_refusal(attach_refused(api, header(run_id="chosen")), "ALREADY_EXISTS", "NAME_TAKEN")
    stream.cut()


JOURNEYS = [
    run_is_cut_resumed_superseded_and_sealed,
    samples_come_back_to_the_bit,
    run_in_inch_units_comes_back_as_sent,
    recorded_run_is_reduced_like_its_samples,
    bench_is_watched_as_it_happens,
    snapshot_of_a_long_run_is_thinned,
    run_on_the_bench_is_neither_reduced_nor_deleted,
    interrupted_run_is_sealed_as_it_is,
    discarded_run_ends_its_stream,
    run_is_assigned_deleted_and_brought_back,
    runs_are_listed_newest_first,
    steps_out_of_place_are_refused,
    broken_blocks_are_refused_by_field,
    broken_headers_are_refused_by_field,
    run_id_is_taken_once,
]
