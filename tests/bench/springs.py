"""Curves of springs together and of air over oil, with SciPy: springs.py ROUNDS

The same cases as in the bench's row. Prints what came out and the least time of a curve, as JSON."""

import json
import sys
import time

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

PLACES = 401
# Springs one on another: rate in N/m, travel to its stop in m. Beside them one that joins after a gap.
SERIES = [(40e3, 0.012), (25e3, 0.020), (95e3, np.inf)]
BESIDE, GAP = 8e3, 0.010
REACH = 0.040


def shortening(load):
    return sum(min(load / rate, stop) for rate, stop in SERIES)


def together(at):
    load = brentq(lambda load: shortening(load) - at, 0.0, 1e5, xtol=1e-9, rtol=1e-14) if at > 0.0 else 0.0
    return load + BESIDE * max(at - GAP, 0.0)


def assembly():
    """Load and energy at every place."""
    places = np.linspace(0.0, REACH, PLACES)
    loads = [together(at) for at in places]
    energies = [0.0]
    for left, right in zip(places, places[1:]):
        energies.append(energies[-1] + quad(together, left, right)[0])
    return loads[-1], energies[-1]


def gas():
    """Force and rate of a leg's air at every stroke, and the forces of a slow and a fast movement."""
    seal, bore = np.pi * 0.048**2 / 4, np.pi * 0.044**2 / 4
    travel, ambient = 0.120, 101_325.0
    start = bore * 0.130 + seal * travel
    strokes = np.linspace(0.0, travel, PLACES)
    volumes = start - seal * strokes
    force = {n: (ambient * (start / volumes) ** n - ambient) * seal for n in (1.0, 1.2, 1.4)}
    rate = 1.2 * ambient * (start / volumes) ** 1.2 * seal**2 / volumes
    return float(force[1.2][-1]), float(rate[-1])


def least(work, rounds):
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        found = work()
        times.append(1e3 * (time.perf_counter() - started))
    return found, min(times)


def main():
    rounds = int(sys.argv[1])
    (load, energy), assembly_ms = least(assembly, rounds)
    (force, rate), gas_ms = least(gas, rounds)
    json.dump({"found": {"load": load, "energy": energy, "force": force, "rate": rate},
               "ms": {"assembly": assembly_ms, "gas": gas_ms}}, sys.stdout)


main()
