"""How fast is becket's closed-form set beside the same figures in numpy, as a user would write them? Not a test: no figure
here can fail, only the check that both say the same.

    cargo build --release -p becket
    cargo build --release -p becket-api --example set_speed
    BECKET_BINARY=target/release/becket python tests/python/compare_set_speed.py

Both compute all strings of a demo scale: density with bare ends by the first mode, tension, stress, share of breaking load
(numpy: by the strengths that becket tells), inharmonicity, stretch, cut length, winding wire. becket in addition lays out
pieces, sums and warnings. "set" is its time for the set alone, in its own process, which the ratio is about: both are one core's work
on data in memory. "call" is the whole of a call over gRPC by this one client, digest, message of 236 strings and its reading
in Python included.
"""

import argparse
import json
import math
import os
import pathlib
import statistics
import subprocess
import tempfile
import time

import numpy as np

from conftest import Server
from becket.stringing.v1 import string_set_pb2, wire_pb2
from shop import DEMO, Shop, request_id

TURNS, PIN_MM, WORKING_MM, EYE_MM, HITCH_MM, FINISH = 3.0, 7.16, 10.0, 50.0, 4.5, 3.0


def columns(scale, wires):
    """The scale as arrays: what a user has in a spreadsheet. One row for each note."""
    notes = scale.notes
    core = [wires[note.wire_id] for note in notes]
    layer = [[(wires[w.wire_id], w) for w in note.windings] for note in notes]

    def number(get):
        return np.array([get(*row) for row in zip(notes, core, layer)], float)

    def of_layer(at, get, without):
        return number(lambda note, wire, layers: get(*layers[at]) if len(layers) > at else without)

    return {
        "note": number(lambda note, wire, layers: note.note),
        "count": number(lambda note, wire, layers: note.string_count),
        "cents": number(lambda note, wire, layers: note.pitch_offset_cents),
        "speaking": number(lambda note, wire, layers: note.speaking_mm),
        "front": number(lambda note, wire, layers: note.front_mm),
        "back": number(lambda note, wire, layers: note.back_mm),
        "d": number(lambda note, wire, layers: wire.diameter_mm),
        "hex": number(lambda note, wire, layers: wire.material == wire_pb2.MATERIAL_STEEL_HEXAGONAL).astype(bool),
        "rho": number(lambda note, wire, layers: wire.density_kg_m3),
        "e": number(lambda note, wire, layers: wire.youngs_modulus_gpa),
        "looped": number(lambda note, wire, layers: not layers).astype(bool),
        "layers": [
            {
                "w": of_layer(at, lambda wire, winding: wire.diameter_mm, 0.0),
                "rho": of_layer(at, lambda wire, winding: wire.density_kg_m3, 0.0),
                "front": of_layer(at, lambda wire, winding: winding.bare_front_mm, 0.0),
                "back": of_layer(at, lambda wire, winding: winding.bare_back_mm, 0.0),
            }
            for at in range(2)
        ],
    }


def numpy_set(c, a4):
    """The closed-form figures of every note."""
    f = a4 * 2 ** ((c["note"] - 49) / 12 + c["cents"] / 1200)
    d, length = c["d"], c["speaking"]
    area = np.where(c["hex"], math.sqrt(3) / 2 * d**2, math.pi / 4 * d**2)
    moment = np.where(c["hex"], 5 * math.sqrt(3) / 144 * d**4, math.pi / 64 * d**4)
    under = np.where(c["hex"], 2 * math.sqrt(3) / math.pi * d, d)
    mu = c["rho"] * area * 1e-3
    wire_mm = []
    for layer in c["layers"]:
        w = layer["w"]
        start, end = layer["front"] / length, np.minimum(1, 1 - layer["back"] / length)
        share = (end - start) - (np.sin(2 * math.pi * end) - np.sin(2 * math.pi * start)) / (2 * math.pi)
        mu = mu + layer["rho"] * math.pi**2 / 4 * w * (under + w) * 1e-3 * share
        covered = length - layer["front"] - layer["back"]
        turns = np.where(w > 0, covered / np.where(w > 0, w, 1) + FINISH, 0)
        wire_mm.append(turns * np.hypot(math.pi * (under + w), w))
        under = under + 2 * w
    tension = mu * 1e-3 * (2 * length * 1e-3 * f) ** 2
    straight = c["front"] + length + c["back"]
    relaxed = straight / (1 + tension / (c["e"] * 1e3 * area))
    pin = TURNS * np.hypot(math.pi * (PIN_MM + d), d) + PIN_MM
    hitch = np.where(c["looped"], math.pi * (HITCH_MM + d) / 4, EYE_MM)
    return {
        "tension_n": tension,
        "stress_mpa": tension / area,
        "inharmonicity": math.pi**2 * c["e"] * 1e3 * moment / (tension * length**2),
        "stretch_mm": straight - relaxed,
        "looped_or_tied_mm": pin + relaxed + hitch + WORKING_MM,
        "wire_mm": wire_mm,
        "total_n": float(np.dot(tension, c["count"])),
    }


def per_call_us(call, seconds):
    """Median of one call in µs."""
    times, until = [], time.perf_counter() + seconds
    while time.perf_counter() < until:
        begin = time.perf_counter()
        call()
        times.append(time.perf_counter() - begin)
    return 1e6 * statistics.median(times)


def agree(becket, user):
    """Largest relative difference of the figures that both have."""
    first = [string for string in becket.strings if string.string_number == 1]
    worst = abs(becket.totals.tension_n / user["total_n"] - 1)
    for name in ("tension_n", "stress_mpa", "inharmonicity", "stretch_mm"):
        theirs = np.array([getattr(string, name) for string in first])
        worst = max(worst, np.max(np.abs(user[name] / theirs - 1)))
    return worst


def alone_us(model, seconds):
    """Median of the set alone in µs, or None where the example is not built."""
    binary = pathlib.Path(os.environ.get("BECKET_BINARY", "target/debug/becket")).resolve().parent / "examples" / "set_speed"
    if not binary.exists():
        return None
    files = [DEMO / "wires.toml", DEMO / "scales" / f"{model}.toml"]
    done = subprocess.run([binary, *files, str(seconds)], check=True, capture_output=True, text=True)
    return float(done.stdout.split()[1])


def batch_per_second(shop, count, view):
    """Sets each second of ComputeJobSets, with jobs of one model."""
    serials = [f"speed-{at % 200}" for at in range(count)]
    begin = time.perf_counter()
    for answer in shop.sets.ComputeJobSets(string_set_pb2.ComputeJobSetsRequest(serial_ids=serials, view=view)):
        assert answer.WhichOneof("result") == "string_set", answer
    return count / (time.perf_counter() - begin)


def open_jobs(shop, model):
    from becket.stringing.v1 import job_pb2

    for at in range(200):
        job = job_pb2.Job(
            serial_id=f"speed-{at}", model_id=model, revision_id="a", due_date="2030-01-01", station_id="bench-1"
        )
        shop.jobs.OpenJob(job_pb2.OpenJobRequest(request_id=request_id(), job=job))


ROUNDS = 5


def compared(shop, model, seconds):
    """Both on one scale. They take turns, round by round, so that a machine that is slow for a while is slow for both; the
    ratio is the median of the rounds' ratios."""
    request = string_set_pb2.ComputeStringSetRequest(
        stored=string_set_pb2.ScaleReference(model_id=model, revision_id="a")
    )
    whole = shop.sets.ComputeStringSet(request).string_set
    wires = {wire.wire_id: wire for wire in whole.basis.wires}
    table = columns(whole.basis.scale, wires)
    worst = agree(whole, numpy_set(table, 440.0))
    assert worst < 1e-9, f"{model}: the two differ by {worst}"
    users, alones = [], []
    for _ in range(ROUNDS):
        users.append(per_call_us(lambda: numpy_set(table, 440.0), seconds / ROUNDS))
        alones.append(alone_us(model, seconds / ROUNDS))
    built = None not in alones
    return {
        "scale": model,
        "strings": whole.totals.strings,
        "numpyUs": statistics.median(users),
        "setUs": statistics.median(alones) if built else None,
        "ratio": statistics.median(user / alone for user, alone in zip(users, alones)) if built else None,
        "callUs": per_call_us(lambda: shop.sets.ComputeStringSet(request), seconds),
        "differ": float(worst),
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seconds", type=float, default=3.0, help="time for each figure")
    parser.add_argument("--batch", type=int, default=2000, help="sets of the batch")
    parser.add_argument("--format", choices=("table", "json"), default="table", help="json leaves out the batch")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        server = Server(pathlib.Path(folder) / "data").start()
        try:
            shop = Shop(server.channel())
            shop.load_wires()
            shop.load_scales()
            rows = [compared(shop, model, args.seconds) for model in ("concert-270", "small-160")]
            if args.format == "json":
                print(json.dumps(rows))
                return
            print(f"{'scale':<14}{'strings':>8}{'numpy µs':>10}{'set µs':>9}{'ratio':>7}{'call µs':>9}{'differ by':>11}")
            for row in rows:
                alone, ratio = (f"{row[name]:.2f}" if row[name] else "-" for name in ("setUs", "ratio"))
                print(
                    f"{row['scale']:<14}{row['strings']:>8}{row['numpyUs']:>10.1f}{alone:>9}{ratio:>7}{row['callUs']:>9.0f}"
                    f"{row['differ']:>11.0e}"
                )
            open_jobs(shop, "small-160")
            for name, view in (("full", string_set_pb2.SET_VIEW_FULL), ("summary", string_set_pb2.SET_VIEW_SUMMARY)):
                print(f"ComputeJobSets, {name:<8} {batch_per_second(shop, args.batch, view):>8.0f} sets a second")
        finally:
            server.stop()


if __name__ == "__main__":
    main()
