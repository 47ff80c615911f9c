"""The bench tells an instrument what to do, and sees how it took it."""

import grpc

from client import Refusal, check_refusal, force, fresh, must_refuse, refused
from rack import put
from recording import (
    RATE,
    attach,
    attach_refused,
    block,
    finish,
    header,
    record,
    refusal_of,
    samples_of,
    send,
    wait_durable,
    wait_state,
)

OBEYS = ["ACTION_START", "ACTION_TARE_MARK", "ACTION_FINISH", "ACTION_STOP"]
WAITING, SAMPLING, STOPPED = 1, 2, 3
START, TARE_MARK, FINISH, STOP = 1, 2, 3, 4


def instruct(api, run, action, once=None):
    return api.change("RunService/InstructRun", {"name": run, "action": action, "text": "by hand"}, once)


def told(stream):
    said = stream.wait_for(lambda said: said.WhichOneof("step") == "instruction").instruction
    assert said.text == "by hand", said
    return said.action


def instrument_waits_is_told_and_answers(api):
    stream, accepted = attach(api, header(obeys=OBEYS, tester="the one that obeys"))
    run = accepted.run
    watch = api.open("RunService/WatchBench", {"tester": "the one that obeys"}, limit=60)
    seen = watch.receive()
    assert (seen.run, seen.instrument, list(seen.obeys)) == (run, WAITING, [START, TARE_MARK, FINISH, STOP]), seen
    assert seen.tester == "the one that obeys" and not seen.spring and not seen.HasField("tare_mark"), seen

    once = fresh()
    handed = instruct(api, run, "ACTION_TARE_MARK", once)
    assert (handed.run, handed.attachment) == (run, accepted.attachment), handed
    assert told(stream) == TARE_MARK
    # The same request again is not handed over again: the next instruction is the next one.
    assert instruct(api, run, "ACTION_TARE_MARK", once) == handed
    must_refuse("FAILED_PRECONDITION", "REQUEST_ID_REUSED", instruct, api, run, "ACTION_START", once)
    tare = {"load": force(0), "zeroed_load": force(1.8)}
    stream.send({"notice": {"answers": "ACTION_TARE_MARK", "text": "1.8 N taken as no load", "tare_mark": tare}})
    seen = watch.wait_for(lambda said: said.HasField("tare_mark"))
    assert seen.tare_mark.load.value == 0 and abs(seen.tare_mark.zeroed_load.value - 1.8) < 1e-12, seen
    assert (seen.instrument, seen.notice.answers) == (WAITING, TARE_MARK), seen

    spring = put(api, "named-on-the-tester")
    api.change("RunService/UpdateRun", {"run": {"name": run, "spring": spring.name}})
    watch.wait_for(lambda said: said.spring == spring.name)

    instruct(api, run, "ACTION_START")
    assert told(stream) == START
    blocks = [dict(block(1), tare_mark=tare)] + [block(number) for number in range(2, 41)]
    send(stream, blocks)
    seen = watch.wait_for(lambda said: said.instrument == SAMPLING and said.HasField("marks"))
    assert abs(seen.marks.rate.value - RATE) < 1e-3 * RATE, seen.marks

    instruct(api, run, "ACTION_STOP")
    assert told(stream) == STOP
    stream.send({"notice": {"state": "INSTRUMENT_STATE_STOPPED", "answers": "ACTION_STOP"}})
    watch.wait_for(lambda said: said.instrument == STOPPED)
    instruct(api, run, "ACTION_FINISH")
    assert told(stream) == FINISH
    stream.send({"finish": finish(blocks)})
    sealed = stream.wait_for(lambda said: said.WhichOneof("step") == "finished").finished
    assert list(sealed.header.obeys) == [START, TARE_MARK, FINISH, STOP], sealed.header
    watch.wait_for(lambda said: said.state == sealed.state and said.instrument == 0)
    kept = api.read("RunService/ReadRunSamples", {"name": run})
    marked = [said.block for said in kept if said.block.HasField("tare_mark")]
    assert [(one.number, one.tare_mark.zeroed_load.value) for one in marked] == [(1, 1.8)], marked
    must_refuse("FAILED_PRECONDITION", "RUN_CLOSED", instruct, api, run, "ACTION_START")
    for one in (watch, stream):
        one.cut()


def tare_marked_within_a_run_is_its_tare(api):
    level = 12.5
    blocks = [block(number) for number in range(1, 41)]
    for number, one in enumerate(blocks, 1):
        # Before the mark the zero was another one; the last block was marked again, which is then the tare.
        loads = one["columns"][1]
        loads["values"] = [load + (level if number > 3 else 40.0) for load in loads["values"]]
    blocks[3]["tare_mark"] = {"load": force(level)}
    run = record(api, blocks, rate_test={"tare_load": force(99)})
    wanted = {"window": {"all_samples": True}}
    reply = api.call("SpringService/ReduceRun", dict(wanted, run=run.name))
    cut = samples_of(blocks[3:])
    same = api.call("SpringService/ReduceRun", dict(wanted, samples=cut, tare={"load": force(level)}))
    assert reply.rate == same.rate and reply.contact == same.contact, (reply.rate, same.rate)
    assert abs(reply.contact.tare.value - level) < 1e-12, reply.contact
    said = [one.text for one in reply.assumptions if one.subject == "tare" and "block 4" in one.text]
    assert len(said) == 1 and "150 samples" in said[0], [one.text for one in reply.assumptions]


def nobody_is_instructed_who_is_not_there_or_cannot_obey(api):
    must_refuse("NOT_FOUND", "NOT_FOUND", instruct, api, "runs/nobody", "ACTION_START")
    stream, accepted = attach(api, header(obeys=["ACTION_FINISH"]))
    refusal = must_refuse("FAILED_PRECONDITION", "NOT_OBEYED", instruct, api, accepted.run, "ACTION_START")
    assert refusal.metadata.get("obeys") == "FINISH", refusal
    refusal = refused(instruct, api, accepted.run, 99)
    assert ("action", "OUT_OF_RANGE") in refusal.faults(), refusal
    stream.cut()
    wait_state(api, accepted.run, "INTERRUPTED")
    must_refuse("FAILED_PRECONDITION", "NOT_ATTACHED", instruct, api, accepted.run, "ACTION_FINISH")
    api.change("RunService/DiscardRun", {"name": accepted.run})


def instrument_that_does_not_listen_is_not_waited_for(api):
    """The queue is short, and blocks go on while nobody takes an instruction."""
    stream, accepted = attach(api, header(obeys=OBEYS))
    reasons = set()
    for _ in range(200):
        try:
            instruct(api, accepted.run, "ACTION_TARE_MARK")
        except grpc.RpcError as error:
            reasons.add(Refusal(error).reason)
    assert reasons <= {"OVERLOADED"}, reasons
    send(stream, [block(1), block(2)])
    wait_durable(stream, 2)
    stream.cut()
    wait_state(api, accepted.run, "INTERRUPTED")


def broken_notices_and_headers_are_refused_by_field(api):
    stream, accepted = attach(api, header(obeys=OBEYS))
    stream.send({"notice": {"state": 9}})
    refusal = refusal_of(stream, "INVALID_ARGUMENT", "INVALID_FIELDS")
    assert ("notice.state", "OUT_OF_RANGE") in refusal.faults(), refusal
    wait_state(api, accepted.run, "INTERRUPTED")
    stream, _ = attach(api, header())
    send(stream, [dict(block(1), tare_mark={})])
    refusal = refusal_of(stream, "INVALID_ARGUMENT", "INVALID_FIELDS")
    assert ("block.tare_mark.load", "VALUE_MISSING") in refusal.faults(), refusal
    for obeys, reason in (([0], "OUT_OF_RANGE"), ([1, 1], "CONFLICT")):
        refusal = attach_refused(api, header(obeys=obeys))
        check_refusal(refusal, "INVALID_ARGUMENT", "INVALID_FIELDS")
        assert reason in [reason for _, reason in refusal.faults()], refusal


JOURNEYS = [
    instrument_waits_is_told_and_answers,
    tare_marked_within_a_run_is_its_tare,
    nobody_is_instructed_who_is_not_there_or_cannot_obey,
    instrument_that_does_not_listen_is_not_waited_for,
    broken_notices_and_headers_are_refused_by_field,
]
