"""becket in a process of its own, asked over gRPC."""

import importlib.resources
import pathlib
import re
import subprocess
import sys
import tempfile
import time

import grpc

ROOT = pathlib.Path(__file__).resolve().parents[2]
READY = re.compile(r"becket is ready on http://(?P<address>[0-9.]+:[0-9]+)")
LARGEST = 256 * 1024 * 1024


def _stubs():
    from grpc_tools import protoc

    folder = pathlib.Path(tempfile.mkdtemp(prefix="becket-stubs-"))
    protos = sorted(str(path) for path in (ROOT / "proto").rglob("*.proto"))
    well_known = str(importlib.resources.files("grpc_tools") / "_proto")
    options = [f"-I{ROOT / 'proto'}", f"-I{well_known}", f"--python_out={folder}", f"--grpc_python_out={folder}"]
    assert protoc.main(["protoc", *options, *protos]) == 0
    sys.path.insert(0, str(folder))


_stubs()
from becket.cutting.v1 import cut_list_pb2, plan_pb2, plan_pb2_grpc  # noqa: E402

UNISON = {
    "off": cut_list_pb2.UNISON_RULE_OFF,
    "hard": cut_list_pb2.UNISON_RULE_HARD,
    "preferred": cut_list_pb2.UNISON_RULE_PREFERRED,
}


class Becket:
    def __init__(self, binary):
        self.folder = tempfile.TemporaryDirectory()
        arguments = [binary, "serve", "--data", f"{self.folder.name}/data", "--listen", "127.0.0.1:0"]
        self.process = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        address = next(match["address"] for line in self.process.stdout if (match := READY.search(line)))
        options = [("grpc.max_send_message_length", LARGEST), ("grpc.max_receive_message_length", LARGEST)]
        self.plans = plan_pb2_grpc.PlanServiceStub(grpc.insecure_channel(address, options=options))

    def peak_mib(self):
        """Most memory that the server has held, in MiB."""
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) / 1024

    def stop(self):
        self.process.terminate()
        self.process.wait(timeout=30)

    def plan(self, instance, seconds=None, steps=True):
        """Answer, and time that the call took."""
        question = request(instance, seconds, steps)
        begin = time.monotonic()
        answer = self.plans.PlanCuts(question, timeout=55 if seconds is None else seconds + 30)
        return answer, time.monotonic() - begin


def request(instance, seconds=None, steps=True):
    um = 1000
    serials = [plan_pb2.PlanSerial(serial_id=f"s{s}") for s in range(instance.serials)]
    batch, alike = None, None
    for i, piece in enumerate(instance.pieces):
        if alike == piece:
            batch.count += 1
            continue
        # A batch is named by its first piece.
        batch = serials[piece.serial].pieces.add(
            piece_id=f"p{i}", wire_id=f"w{piece.wire}", length_um=piece.length * um, count=1,
            group_id="" if instance.unison == "off" else f"g{piece.group}", rank=min(piece.group, 2_000_000),
        )  # fmt: skip
        alike = piece
    policy = cut_list_pb2.PlanPolicy(
        unison_rule=UNISON[instance.unison], end_trim_mm=instance.trim, coil_margin_mm=0,
        piece_order=cut_list_pb2.PIECE_ORDER_BY_LENGTH,
    )  # fmt: skip
    if seconds is not None:
        policy.time_budget_ms = int(seconds * 1000)
    return plan_pb2.PlanCutsRequest(
        serials=[serial for serial in serials if serial.pieces],
        wires=[plan_pb2.PlanWire(wire_id=f"w{w}", smallest_remnant_um=instance.keep * um) for w in range(instance.wires)],
        coils=[
            plan_pb2.PlanCoil(coil_id=f"c{c}", wire_id=f"w{coil.wire}", length_um=coil.length * um, opened=coil.opened,
                              lot_id=f"l{coil.lot}")
            for c, coil in enumerate(instance.coils)
        ],
        reel_positions=instance.reels, trays=instance.trays, policy=policy,
        without_steps=not steps, without_pictures=True,
    )  # fmt: skip


def steps(answer):
    """The steps of an answer as `model.check_steps` takes them."""
    out = []
    for step in answer.steps:
        coil = int(step.coil_id[1:])
        if step.kind == cut_list_pb2.STEP_KIND_MOUNT:
            out.append(("mount", coil, step.reel_position - 1))
        elif step.kind == cut_list_pb2.STEP_KIND_UNMOUNT:
            out.append(("unmount", coil, None))
        else:
            out += [("cut", coil, ("batch", int(step.piece_id[1:])))] * step.count
    # The pieces of a batch follow each other, so they are taken in their order.
    taken = {}
    named = []
    for kind, coil, what in out:
        if kind == "cut":
            first = what[1]
            what = first + taken.get(first, 0)
            taken[first] = taken.get(first, 0) + 1
        named.append((kind, coil, what))
    return named
