"""Starts becket on a free port, makes the client's stubs from the proto files, and gives tests a channel."""

import os
import pathlib
import re
import subprocess
import sys
import time

import grpc
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
STUBS = pathlib.Path(__file__).resolve().parent / "stubs"
READY = re.compile(r"becket is ready on http://(?P<address>[0-9.]+:[0-9]+)")


def _make_stubs():
    from grpc_tools import protoc
    import importlib.resources

    STUBS.mkdir(exist_ok=True)
    protos = sorted(str(path) for path in (ROOT / "proto").rglob("*.proto"))
    well_known = str(importlib.resources.files("grpc_tools") / "_proto")
    failed = protoc.main(
        ["protoc", f"-I{ROOT / 'proto'}", f"-I{well_known}", f"--python_out={STUBS}", f"--grpc_python_out={STUBS}", *protos]
    )
    assert failed == 0, "protoc could not make the stubs"


_make_stubs()
sys.path.insert(0, str(STUBS))


class Server:
    """A becket process of its own with a data folder of its own."""

    def __init__(self, data):
        self.data = data
        self.process = None
        self.address = None

    def start(self):
        binary = pathlib.Path(os.environ.get("BECKET_BINARY", ROOT / "target" / "debug" / "becket"))
        assert binary.exists(), f"{binary} is not built: cargo build -p becket"
        self.process = subprocess.Popen(
            [str(binary), "serve", "--data", str(self.data), "--listen", "127.0.0.1:0"],
            stdout=subprocess.PIPE,
            stderr=open(self.data.parent / "server.log", "ab"),
            text=True,
        )
        for line in self.process.stdout:
            if match := READY.search(line):
                self.address = match["address"]
                return self
        raise AssertionError("the server ended before it was ready: " + (self.data.parent / "server.log").read_text())

    def kill(self):
        self.process.kill()
        self.process.wait()

    def stop(self):
        self.process.terminate()
        assert self.process.wait(timeout=30) == 0

    def channel(self):
        channel = grpc.insecure_channel(self.address)
        grpc.channel_ready_future(channel).result(timeout=30)
        return channel


@pytest.fixture
def new_server(tmp_path):
    servers = []

    def make(name="data"):
        server = Server(tmp_path / name)
        servers.append(server)
        return server.start()

    yield make
    for server in servers:
        if server.process and server.process.poll() is None:
            server.kill()


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    server = Server(tmp_path_factory.mktemp("becket") / "data").start()
    yield server
    server.stop()
