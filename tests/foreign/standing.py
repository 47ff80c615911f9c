"""What every gRPC client expects of a server: health, both reflections, deadlines, codes for what is unknown."""

import base64
import time

import grpc
from google.rpc import error_details_pb2, status_pb2

from client import Api, Reflection, refused
from frames import DATA, END_STREAM, Connection, frame, message

SERVING = 1


def health_is_serving(api):
    check = "grpc.health.v1.Health/Check"
    assert api.call(check).status == SERVING
    for service in api.catalogue.services:
        if service.startswith("springwright."):
            assert api.call(check, {"service": service}).status == SERVING, service
    assert refused(api.call, check, {"service": "springwright.v1.NoSuchService"}).code.name == "NOT_FOUND"
    watch = api.open("grpc.health.v1.Health/Watch", {})
    assert watch.receive().status == SERVING
    watch.cut()


def both_reflections_tell_the_same(api):
    older, newer = (Reflection(api.channel, version) for version in ("v1alpha", "v1"))
    # Each lists itself, and everything else alike.
    told = [{name for name in one.services() if not name.startswith("grpc.reflection.")} for one in (older, newer)]
    assert told[0] == told[1] and "grpc.health.v1.Health" in told[0], told
    assert Api(api.address, "v1alpha").rpcs.keys() == api.rpcs.keys()
    # What the details of an error are made of can be learned too; what is on the disk cannot.
    for symbol in ("google.rpc.ErrorInfo", "google.rpc.BadRequest", "google.rpc.RetryInfo"):
        assert older.files_with(symbol) and newer.files_with(symbol)
    assert not [name for name in newer.services() if "store" in name.lower()], newer.services()
    for reflection in (older, newer):
        try:
            reflection.file("springwright/store/v1/record.proto")
        except (LookupError, grpc.RpcError):
            continue
        raise AssertionError("the format on the disk is reflected")


def reasons_are_values_of_the_served_enums(api):
    reasons = {name.removeprefix("ERROR_REASON_") for name in api.catalogue.enum("ErrorReason")}
    refusal = refused(api.call, "RackService/GetSpring", {"name": "springs/nobody"})
    assert refusal.reason in reasons, refusal
    faults = {name.removeprefix("VIOLATION_REASON_") for name in api.catalogue.enum("ViolationReason")}
    refusal = refused(api.call, "RackService/GetSpring", {"name": "?"})
    assert {reason for _, reason in refusal.faults()} <= faults, refusal


def refusal_by_hand(answer):
    """Code and ErrorInfo out of the trailers as they came."""
    encoded = answer.get("grpc-status-details-bin", "")
    status = status_pb2.Status.FromString(base64.b64decode(encoded + "=" * (-len(encoded) % 4)))
    info = error_details_pb2.ErrorInfo()
    found = [info.reason for detail in status.details if detail.Unpack(info)]
    return answer.get("grpc-status"), found


def deadline_is_the_servers_too(api):
    # The library would end the call by itself, so these two are sent by hand.
    stream = Connection(api.address)
    started = time.monotonic()
    stream.open("/springwright.v1.RunService/WatchBench", grpc_timeout="300m")
    stream.send(end_of_request(b""))
    answer, took = stream.answer(), time.monotonic() - started
    assert refusal_by_hand(answer) == ("4", ["DEADLINE"]), answer
    assert 0.25 < took < 3, took
    unary = Connection(api.address)
    started = time.monotonic()
    # A request that never comes to its end.
    unary.open("/springwright.v1.SpringService/ReduceRun", grpc_timeout="300m")
    answer, took = unary.answer(), time.monotonic() - started
    assert refusal_by_hand(answer) == ("4", ["DEADLINE"]), answer
    assert 0.25 < took < 3, took


def end_of_request(payload, stream=1):
    return frame(DATA, END_STREAM, stream, message(payload))


def foreign_host_is_refused(api):
    for authority in ("bench.example:80", "127.0.0.1.example"):
        connection = Connection(api.address)
        connection.open("/springwright.v1.RackService/ListSprings", authority=authority)
        connection.send(end_of_request(b""))
        answer = connection.answer()
        assert refusal_by_hand(answer) == ("7", ["HOST_REFUSED"]), f"{authority}: {answer}"


def unknown_method_is_unimplemented(api):
    connection = Connection(api.address)
    connection.open("/springwright.v1.RackService/PolishSpring")
    connection.send(end_of_request(b""))
    assert connection.answer().get("grpc-status") == "12"


JOURNEYS = [
    health_is_serving,
    both_reflections_tell_the_same,
    reasons_are_values_of_the_served_enums,
    deadline_is_the_servers_too,
    foreign_host_is_refused,
    unknown_method_is_unimplemented,
]
