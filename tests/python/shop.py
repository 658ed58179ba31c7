"""A client of becket in Python: reads the demo shop's files and loads them through the API."""

import itertools
import pathlib
import tomllib

from google.protobuf import json_format
from google.protobuf.descriptor import FieldDescriptor

from becket.cutting.v1 import coil_pb2, coil_pb2_grpc, cut_list_pb2_grpc, purchasing_pb2, purchasing_pb2_grpc
from becket.cutting.v1 import record_pb2_grpc, station_pb2, station_pb2_grpc
from becket.stringing.v1 import job_pb2, job_pb2_grpc, scale_pb2, scale_pb2_grpc, string_set_pb2_grpc
from becket.stringing.v1 import wire_pb2, wire_pb2_grpc

DEMO = pathlib.Path(__file__).resolve().parents[2] / "services" / "becket" / "demo"
_numbers = itertools.count(1)


def request_id(prefix="py"):
    return f"{prefix}-{next(_numbers)}"


def _with_enum_names(value, descriptor):
    """Turns the files' short enum names ("looped_back") into those of the API."""
    out = {}
    for name, item in value.items():
        field = descriptor.fields_by_name[name]
        many = isinstance(item, list)
        items = item if many else [item]
        if field.type == FieldDescriptor.TYPE_ENUM:
            prefix = field.enum_type.values[0].name.removesuffix("UNSPECIFIED")
            items = [prefix + entry.upper() for entry in items]
        elif field.type == FieldDescriptor.TYPE_MESSAGE:
            items = [_with_enum_names(entry, field.message_type) for entry in items]
        out[name] = items if many else items[0]
    return out


def message(kind, value):
    return json_format.ParseDict(_with_enum_names(value, kind.DESCRIPTOR), kind())


def read(name):
    return tomllib.loads((DEMO / name).read_text())


class Shop:
    """Stubs of all services on one channel."""

    def __init__(self, channel):
        self.wires = wire_pb2_grpc.WireServiceStub(channel)
        self.scales = scale_pb2_grpc.ScaleServiceStub(channel)
        self.jobs = job_pb2_grpc.JobServiceStub(channel)
        self.sets = string_set_pb2_grpc.StringSetServiceStub(channel)
        self.coils = coil_pb2_grpc.CoilServiceStub(channel)
        self.stations = station_pb2_grpc.StationServiceStub(channel)
        self.lists = cut_list_pb2_grpc.CutListServiceStub(channel)
        self.purchasing = purchasing_pb2_grpc.PurchasingServiceStub(channel)
        self.records = record_pb2_grpc.RecordServiceStub(channel)

    def load_wires(self):
        wires = [message(wire_pb2.Wire, wire) for wire in read("wires.toml")["wires"]]
        self.wires.ImportWires(
            wire_pb2.ImportWiresRequest(
                request_id=request_id(), wires=wires, standard_series=[wire_pb2.SIZE_SERIES_INCH]
            )
        )

    def load_scales(self):
        for path in sorted((DEMO / "scales").glob("*.toml")):
            scale = message(scale_pb2.Scale, tomllib.loads(path.read_text()))
            stored = self.scales.CreateScale(scale_pb2.CreateScaleRequest(request_id=request_id(), scale=scale)).scale
            self.scales.ReleaseScale(
                scale_pb2.ReleaseScaleRequest(
                    request_id=request_id(),
                    model_id=stored.model_id,
                    revision_id=stored.revision_id,
                    etag=stored.etag,
                )
            )

    def load_stock(self):
        coils = read("coils.toml")
        for rule in coils["stock_rules"]:
            self.coils.SetStockRule(
                coil_pb2.SetStockRuleRequest(request_id=request_id(), rule=message(coil_pb2.StockRule, rule))
            )
        self.coils.ReceiveCoils(
            coil_pb2.ReceiveCoilsRequest(
                request_id=request_id(), coils=[message(coil_pb2.NewCoil, coil) for coil in coils["coils"]]
            )
        )
        self.stations.SaveStation(
            station_pb2.SaveStationRequest(
                request_id=request_id(), station=message(station_pb2.Station, read("station.toml"))
            )
        )

    def load_jobs(self):
        for job in read("jobs.toml")["jobs"]:
            self.jobs.OpenJob(job_pb2.OpenJobRequest(request_id=request_id(), job=message(job_pb2.Job, job)))

    def load(self):
        self.load_wires()
        self.load_scales()
        self.load_stock()
        self.load_jobs()

    def schedule(self):
        return [message(purchasing_pb2.ScheduleLine, line) for line in read("schedule.toml")["lines"]]
