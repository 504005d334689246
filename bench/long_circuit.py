"""How long a first answer and the next ones take on one circuit of many contacts, in milliseconds of the processor.

Run from the project's root with ``PYTHONPATH=src``: ``--contacts N`` on one circuit, ``--times T`` inquiries, each from nothing.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import time
from dataclasses import replace

import numpy as np

from loopwright.demo.synthetic import synthetic
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import Topology

TOPOLOGIES = (Topology.DOUBLE, Topology.SINGLE)


def long_circuit(contacts: int, topology: Topology, metres: float = 4.0) -> Job:
    """Return a made-up job whose circuit c1 goes through so many contacts in a row, so many metres and one more apart each."""
    job = read(synthetic(6, 1)).job
    path, cables, equipment = list(job.circuits["c1"].path), dict(job.cables), dict(job.equipment)
    first = path[0]
    assert first.device is not None
    before = first.device
    for number in range(2, contacts + 1):
        device, run = f"row-{number}", f"R{number}"
        equipment[device] = equipment[first.device]
        cables[run] = replace(cables[first.cable], start=before, end=device, length_m=metres + number)
        path.append(replace(first, cable=run, device=device))
        before = device
    circuit = replace(job.circuits["c1"], path=tuple(path), topology=topology)
    return replace(job, cables=cables, equipment=equipment, circuits={**job.circuits, "c1": circuit})


def answers(job: Job) -> list[float]:
    """Return the milliseconds each answer of one inquiry takes: the first, and one more reading at a time."""
    entries = ("shows: active", "reading: OL", "state: lid open reed-1, shows: tamper", "reading: 4.9 V")
    lines, inquiry, out = [f"  - {{where: c1, {entry}}}\n" for entry in entries], Inquiry(job), []
    for count in range(1, len(lines) + 1):
        observed = read_observations(job, "readings:\n" + "".join(lines[:count]))
        start = time.process_time()
        inquiry.explain(observed)
        out.append(1000 * (time.process_time() - start))
    return out


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--contacts", type=int, default=14)
    parser.add_argument("--times", type=int, default=5)
    options = parser.parse_args()
    for topology in TOPOLOGIES:
        every = np.array([answers(long_circuit(options.contacts, topology, 4.0 + turn)) for turn in range(options.times)])
        first, later = every[:, 0], every[:, 1:]
        told = f"first answer {np.median(first):.0f} ms (worst {first.max():.0f}), next {np.median(later):.0f} ms (worst {later.max():.0f})"
        print(f"{options.contacts} contacts, {topology.value}: {told}")


if __name__ == "__main__":
    main()
