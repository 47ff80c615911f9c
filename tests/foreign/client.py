"""A client that learns the API from the server itself: grpcio and reflection, no generated code of the project."""

import queue
import threading
import time
import uuid

import grpc
from google.protobuf import descriptor_pb2, descriptor_pool, json_format, message_factory
from google.rpc import error_details_pb2
from grpc_reflection.v1alpha import reflection_pb2
from grpc_status import rpc_status

PACKAGE = "springwright.v1."
LIMIT = 30  # seconds that a call may take when its caller states nothing


class Reflection:
    """One of the two reflection services; the messages of both are the same on the wire."""

    def __init__(self, channel, version):
        self._exchange = channel.stream_stream(
            f"/grpc.reflection.{version}.ServerReflection/ServerReflectionInfo",
            request_serializer=reflection_pb2.ServerReflectionRequest.SerializeToString,
            response_deserializer=reflection_pb2.ServerReflectionResponse.FromString,
        )

    def _ask(self, **question):
        request = reflection_pb2.ServerReflectionRequest(**question)
        answer = next(self._exchange(iter([request]), timeout=LIMIT))
        if answer.HasField("error_response"):
            raise LookupError(f"{question}: {answer.error_response.error_message}")
        return answer

    def services(self):
        return [service.name for service in self._ask(list_services="").list_services_response.service]

    def files_with(self, symbol):
        return self._files(file_containing_symbol=symbol)

    def file(self, name):
        return self._files(file_by_filename=name)

    def _files(self, **question):
        encoded = self._ask(**question).file_descriptor_response.file_descriptor_proto
        return [descriptor_pb2.FileDescriptorProto.FromString(one) for one in encoded]


class Catalogue:
    """Everything that reflection tells, ready for making messages."""

    def __init__(self, reflection):
        self._reflection = reflection
        self.pool = descriptor_pool.DescriptorPool()
        self._known = set()
        self.services = {}
        for name in reflection.services():
            self._learn(reflection.files_with(name))
            self.services[name] = self.pool.FindServiceByName(name)

    def _learn(self, files):
        waiting = {file.name: file for file in files}
        for name in list(waiting):
            self._add(name, waiting)

    def _add(self, name, waiting):
        if name in self._known:
            return
        self._known.add(name)
        found = waiting.get(name) or next(one for one in self._reflection.file(name) if one.name == name)
        for needed in found.dependency:
            self._add(needed, waiting)
        self.pool.Add(found)

    def learn_symbol(self, symbol):
        self._learn(self._reflection.files_with(symbol))

    def message(self, descriptor):
        return message_factory.GetMessageClass(descriptor)

    def enum(self, name):
        return self.pool.FindEnumTypeByName(PACKAGE + name).values_by_name

    def rpcs(self):
        """`Service/Method` of everything the project serves, with its descriptor."""
        found = {}
        for name, service in self.services.items():
            if name.startswith(PACKAGE):
                for method in service.methods:
                    found[f"{service.name}/{method.name}"] = method
        return found


class Api:
    """Calls by `Service/Method`; requests are dictionaries in the shape of proto JSON, or messages."""

    def __init__(self, address, version="v1"):
        self.address = address
        self.channel = channel(address)
        self.reflection = Reflection(self.channel, version)
        self.catalogue = Catalogue(self.reflection)
        self.rpcs = self.catalogue.rpcs()
        self.called = set()

    def method(self, name):
        if "." in name:
            service, method = name.split("/")
            return self.catalogue.services[service].methods_by_name[method]
        return self.rpcs[name]

    def request(self, name, content=None):
        kind = self.catalogue.message(self.method(name).input_type)
        return json_format.ParseDict(content or {}, kind())

    def stub(self, name, through=None):
        method = self.method(name)
        if name in self.rpcs:
            self.called.add(name)
        make = {
            (False, False): "unary_unary",
            (False, True): "unary_stream",
            (True, False): "stream_unary",
            (True, True): "stream_stream",
        }[method.client_streaming, method.server_streaming]
        return getattr(through or self.channel, make)(
            f"/{method.containing_service.full_name}/{method.name}",
            request_serializer=lambda message: message.SerializeToString(),
            response_deserializer=self.catalogue.message(method.output_type).FromString,
        )

    def call(self, name, content=None, limit=LIMIT, through=None):
        """A call with one answer."""
        request = content if hasattr(content, "SerializeToString") else self.request(name, content)
        return self.stub(name, through)(request, timeout=limit)

    def change(self, name, content, request_id=None):
        """A mutation: the same call with a request id, fresh if none is given."""
        return self.call(name, dict(content, request_id=request_id or fresh()))

    def read(self, name, content=None, limit=LIMIT):
        """Every message of a server stream that ends."""
        return self.read_message(name, self.request(name, content), limit)

    def read_message(self, name, request, limit=LIMIT):
        """The same for a request that is a message already."""
        return list(self.stub(name)(request, timeout=limit))

    def open(self, name, content=None, limit=LIMIT):
        """A stream that the caller holds, on a connection of its own: unread messages must not hold up other calls."""
        return Stream(self, name, content, limit)


class Stream:
    """A stream whose messages are taken from a queue, each within a time."""

    _END = object()

    def __init__(self, api, name, content, limit):
        self._api, self._name = api, name
        self._channel = channel(api.address)
        self._outgoing, self._incoming = queue.Queue(), queue.Queue()
        stub = api.stub(name, self._channel)
        if api.method(name).client_streaming:
            self._call = stub(iter(self._outgoing.get, self._END), timeout=limit)
        else:
            self._call = stub(api.request(name, content), timeout=limit)
        self.error = None
        threading.Thread(target=self._receive, daemon=True).start()

    def _receive(self):
        try:
            for message in self._call:
                self._incoming.put(message)
        except grpc.RpcError as error:
            self.error = error
        self._incoming.put(self._END)

    def send(self, content):
        message = content if hasattr(content, "SerializeToString") else self._api.request(self._name, content)
        self._outgoing.put(message)

    def receive(self, within=10):
        """The next message; None at the end of the stream."""
        message = self._incoming.get(timeout=within)
        if message is self._END:
            self._incoming.put(message)
            return None
        return message

    def wait_for(self, wanted, within=10):
        """The first message of which `wanted` holds; the stream's error if it ends before."""
        end = time.monotonic() + within
        while True:
            message = self.receive(max(0.01, end - time.monotonic()))
            if message is None:
                raise self.error or EOFError(f"{self._name} ended")
            if wanted(message):
                return message

    def end_of_error(self, within=10):
        """Reads to the end, which must be an error; returns it."""
        while self.receive(within) is not None:
            pass
        if self.error is None:
            raise AssertionError(f"{self._name} ended without an error")
        return Refusal(self.error)

    def end(self):
        """No more from here; what the server still says can be received."""
        self._outgoing.put(self._END)

    def cut(self):
        """As when the line breaks."""
        self._call.cancel()
        self._outgoing.put(self._END)
        self._channel.close()


class Refusal:
    """What a status says beyond its code."""

    def __init__(self, error):
        self.code = error.code()
        self.message = error.details()
        self.reason = self.domain = None
        self.metadata, self.violations = {}, []
        self.retry_after = None
        status = rpc_status.from_call(error)
        self.details = list(status.details) if status else []
        self.detail_bytes = len(status.SerializeToString()) if status else 0
        for detail in self.details:
            self._read(detail)

    def _read(self, detail):
        info, bad, retry = error_details_pb2.ErrorInfo(), error_details_pb2.BadRequest(), error_details_pb2.RetryInfo()
        if detail.Unpack(info):
            self.reason, self.domain, self.metadata = info.reason, info.domain, dict(info.metadata)
        elif detail.Unpack(bad):
            self.violations = [(one.field, one.reason, one.description) for one in bad.field_violations]
        elif detail.Unpack(retry):
            self.retry_after = retry.retry_delay.ToTimedelta()

    def faults(self):
        """Field path and reason of each violation."""
        return [(field, reason) for field, reason, _ in self.violations]

    def __str__(self):
        return f"{self.code.name} {self.reason} {self.message!r} {self.metadata} {self.faults()}"


def channel(address):
    options = [("grpc.max_send_message_length", 64 << 20), ("grpc.max_receive_message_length", 64 << 20)]
    # Channels of one process share connections unless each has its own pool.
    options.append(("grpc.use_local_subchannel_pool", 1))
    return grpc.insecure_channel(address, options=options)


def fresh():
    """A request id."""
    return str(uuid.uuid4())


def refused(call, *arguments, **named):
    """The refusal that a call must end with."""
    try:
        answer = call(*arguments, **named)
    except grpc.RpcError as error:
        return Refusal(error)
    raise AssertionError(f"accepted: {str(answer)[:300]}")


def must_refuse(code, reason, call, *arguments, **named):
    """The same, with the code and reason it must have."""
    refusal = refused(call, *arguments, **named)
    check_refusal(refusal, code, reason)
    return refusal


def check_refusal(refusal, code, reason):
    assert refusal.code.name == code, f"wanted {code} {reason}: {refusal}"
    assert refusal.reason == reason, f"wanted {code} {reason}: {refusal}"
    assert refusal.domain == "springwright", f"the domain is {refusal.domain!r}: {refusal}"


def length(value, unit="UNIT_MILLIMETER"):
    return {"value": value, "unit": unit}


def force(value, unit="UNIT_NEWTON"):
    return {"value": value, "unit": unit}


def stiffness(value, unit="UNIT_NEWTON_PER_MILLIMETER"):
    return {"value": value, "unit": unit}
