"""The reference solutions of a stack and of a damper, timed: valving.py ROUNDS

The same cases as in the bench's row. Prints what came out and the least times, as JSON."""

import json
import sys
import time

import numpy as np
import reference_damper
import reference_stack
from valving_cases import PYRAMID

PRESSURES = 60
RINGS = 16
VELOCITIES = 100


def least(work, rounds):
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        found = work()
        times.append(1e3 * (time.perf_counter() - started))
    return found, min(times)


def main():
    rounds = int(sys.argv[1])
    pressures = [3.0 * (k + 1) / PRESSURES for k in range(PRESSURES)]
    stack, stack_ms = least(lambda: reference_stack.solve_fe(PYRAMID, pressures, n=RINGS), 1)
    damper = reference_damper.example_damper()
    velocities = np.linspace(-1.0, 1.0, VELOCITIES)
    forces, damper_ms = least(lambda: damper.curve(velocities), rounds)
    json.dump({"found": {"edge": stack["edge"][-1], "force": float(np.asarray(forces)[-1])},
               "ms": {"stack": stack_ms, "damper": damper_ms}}, sys.stdout)


main()
