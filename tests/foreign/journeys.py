"""Runs the journeys of the foreign client: journeys.py ADDRESS [GROUP | JOURNEY]

With "all", the default, every RPC that reflection tells of must have been called by the end."""

import sys
import time
import traceback

import ahead
import book
import drawer
import faults
import instructing
import judging
import published
import rack
import recording
import setup
import sheets
import springs
import standing
import testers
import valving
import visits
from client import Api

GROUPS = {
    "standing": standing.JOURNEYS,
    "rack": rack.JOURNEYS,
    "book": book.JOURNEYS,
    "recording": recording.JOURNEYS,
    "instructing": instructing.JOURNEYS,
    "published": published.JOURNEYS,
    "springs": springs.JOURNEYS,
    "testers": testers.JOURNEYS,
    "valving": valving.JOURNEYS,
    "drawer": drawer.JOURNEYS,
    "setup": setup.JOURNEYS,
    "ahead": ahead.JOURNEYS,
    "judging": judging.JOURNEYS,
    "sheets": sheets.JOURNEYS,
    "visits": visits.JOURNEYS,
    "faults": faults.JOURNEYS,
}


def chosen(name):
    for group, journeys in GROUPS.items():
        if name in ("all", group):
            yield from journeys
        else:
            yield from (journey for journey in journeys if journey.__name__ == name)


def passes(journey, api):
    started = time.monotonic()
    try:
        journey(api)
    except Exception:  # whatever it is, the other journeys are still worth running
        print(f"FAILED {journey.__name__}", flush=True)
        traceback.print_exc(file=sys.stdout)
        return False
    print(f"ok {journey.__name__} ({time.monotonic() - started:.1f} s)", flush=True)
    return True


def main(address, name="all"):
    api = Api(address)
    results = [passes(journey, api) for journey in chosen(name)]
    print(f"{len(api.rpcs)} RPCs of springwright.v1:")
    for rpc in sorted(api.rpcs):
        print(f"  {'called' if rpc in api.called else 'NOT CALLED':10} {rpc}")
    print(f"{results.count(True)} journeys passed, {results.count(False)} failed")
    missed = name == "all" and set(api.rpcs) - api.called
    return 1 if not results or not all(results) or missed else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
