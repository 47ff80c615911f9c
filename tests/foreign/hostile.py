"""Everything a server on a bench may meet, and worse: hostile.py ADDRESS PROCESS_ID PROGRAM [ATTACK...]

While it goes on, well-formed calls must be answered within a second each; after it the server must be as it was."""

import pathlib
import sys
import threading
import time

import grpc
import numpy

import hostile_lines
import hostile_requests
import hostile_sources
from client import Api, Refusal
from hostile_requests import press
from rack import put

PATIENCE = 1.0  # seconds for a well-formed call
MEMORY = 200 << 10  # KiB


class Witness:
    """Somebody at the bench, who goes on working on a connection of their own."""

    def __init__(self, address, process):
        self._api, self._process = Api(address), process
        self._spring = put(self._api, f"witness-{int(time.time())}").name
        self.late, self.failed, self.took, self.memory = [], [], [], []
        self.during = "the start"
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self):
        reduce = {"samples": press(numpy.linspace(0, 20, 60)), "tare": {"none": True}}
        calls = [
            ("RackService/GetSpring", {"name": self._spring}),
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


ATTACKS = hostile_lines.ATTACKS + hostile_requests.ATTACKS + hostile_sources.ATTACKS



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


def main(address, process, program, *chosen):
    witness = Witness(address, process)
    api = Api(address)
    api.program = program
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
