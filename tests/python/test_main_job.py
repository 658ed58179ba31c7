"""The main job, from a scale to an ordered cut list and its records, by a client in another language."""

import tomllib

import grpc
import pytest
from grpc_health.v1 import health_pb2, health_pb2_grpc
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import ProtoReflectionDescriptorDatabase
from grpc_status import rpc_status
from google.rpc import error_details_pb2

from becket.cutting.v1 import coil_pb2, cut_list_pb2, purchasing_pb2, record_pb2
from becket.stringing.v1 import job_pb2, scale_pb2, string_set_pb2
from shop import DEMO, Shop, message, request_id

PROTO = DEMO.parents[2] / "proto"
SERIALS = ["C27-0107", "C27-0108", "S16-0412", "S16-0413"]


def details(error, kind):
    status = rpc_status.from_call(error)
    for packed in status.details:
        if packed.Is(kind.DESCRIPTOR):
            found = kind()
            packed.Unpack(found)
            return found
    raise AssertionError(f"no {kind.DESCRIPTOR.full_name} in {status}")


def all_coils(shop):
    coils, token = [], ""
    while True:
        page = shop.coils.ListCoils(coil_pb2.ListCoilsRequest(page_size=7, page_token=token))
        coils += page.coils
        token = page.next_page_token
        if not token:
            return coils


def check_balances(shop):
    for coil in all_coils(shop):
        assert coil.remaining_um == coil.received_um - coil.cut_um - coil.scrapped_um + coil.adjusted_um
        assert 0 <= coil.reserved_um <= coil.remaining_um


def run_list(shop, list_id):
    """Confirms step by step, as a station does, and checks what is said about the next step."""
    shop.lists.StartCutList(cut_list_pb2.StartCutListRequest(request_id=request_id(), list_id=list_id))
    cut_list = shop.lists.GetCutList(cut_list_pb2.GetCutListRequest(list_id=list_id)).cut_list
    pending = [step.step_number for step in cut_list.steps]
    while pending:
        count = min(50, len(pending))
        done = shop.lists.ConfirmStep(
            cut_list_pb2.ConfirmStepRequest(
                request_id=request_id(), list_id=list_id, step_number=pending[0], count=count
            )
        )
        assert [step.step_number for step in done.confirmed] == pending[:count]
        pending = pending[count:]
        assert done.HasField("next") == bool(pending)
    shop.lists.FinishCutList(cut_list_pb2.FinishCutListRequest(request_id=request_id(), list_id=list_id))


def test_the_main_job(server):
    shop = Shop(server.channel())
    shop.load()

    # Engineering: the string set of one serial.
    string_set = shop.sets.GetStringSet(string_set_pb2.GetStringSetRequest(serial_id="C27-0107")).string_set
    assert not string_set.frozen
    assert len(string_set.strings) == string_set.totals.strings
    in_pieces = [string for piece in string_set.pieces for string in piece.string_ids]
    assert sorted(in_pieces) == sorted(string.string_id for string in string_set.strings)
    assert string_set.totals.tension_n == pytest.approx(sum(s.tension_n for s in string_set.strings), rel=1e-12)

    # The stringer: the day's list.
    planned = shop.lists.PlanCutList(
        cut_list_pb2.PlanCutListRequest(request_id=request_id(), station_id="bench-1")
    ).cut_list
    assert [serial.serial_id for serial in planned.serials] == ["C27-0107", "S16-0412", "C27-0108", "S16-0413"]
    assert not planned.shortages
    sets = {
        serial: shop.sets.GetStringSet(string_set_pb2.GetStringSetRequest(serial_id=serial)).string_set
        for serial in SERIALS
    }
    wanted = {(serial, piece.piece_id): piece.length_um for serial, s in sets.items() for piece in s.pieces}
    cuts = [step for step in planned.steps if step.kind == cut_list_pb2.STEP_KIND_CUT]
    assert {(step.serial_id, step.piece_id): step.length_um for step in cuts} == wanted
    assert len(cuts) == len(wanted)
    check_balances(shop)

    # Nothing is promised twice: the same pieces cannot be planned again.
    with pytest.raises(grpc.RpcError) as refused:
        shop.lists.PlanCutList(cut_list_pb2.PlanCutListRequest(request_id=request_id(), station_id="bench-1"))
    assert refused.value.code() == grpc.StatusCode.FAILED_PRECONDITION

    run_list(shop, planned.list_id)
    check_balances(shop)

    # The ERP: what is in the serial, and the way back from the lot.
    assert shop.sets.GetStringSet(string_set_pb2.GetStringSetRequest(serial_id="C27-0107")).string_set.frozen
    record = shop.records.GetSerialRecord(record_pb2.GetSerialRecordRequest(serial_id="C27-0107"))
    assert record.pieces_cut.value == record.pieces.value == len(string_set.pieces)
    assert {record.pieces.unit_code, *(line.length.unit_code for line in record.lines)} == {"C62", "MTR"}
    by_lot = {}
    for line in record.lines:
        if line.layer == 0:
            by_lot.setdefault((line.cut.lot_id, line.wire_id), set()).add(line.piece_id)
    for (lot, wire), pieces in by_lot.items():
        found = shop.records.ListLotSerials(record_pb2.ListLotSerialsRequest(lot_id=lot))
        mine = [s for s in found.serials if s.serial_id == "C27-0107" and s.wire_id == wire]
        assert len(mine) == 1 and set(mine[0].piece_ids) == pieces

    # Purchasing: the schedule on what is left.
    estimate = shop.purchasing.EstimateWire(purchasing_pb2.EstimateWireRequest(lines=shop.schedule()))
    assert estimate.needs
    for need in estimate.needs:
        assert need.covered.value + need.short.value == pytest.approx(need.need_length.value, abs=1e-6)
        assert sum(week.need.value for week in need.weeks) == pytest.approx(need.need_length.value, abs=1e-6)
        assert bool(need.first_short_week_date) == (need.short.value > 0) == bool(need.packs)
        assert need.need_mass.unit_code == "KGM"


def test_every_service_is_healthy_and_can_be_reflected(server):
    channel = server.channel()
    names = ProtoReflectionDescriptorDatabase(channel).get_services()
    ours = [name for name in names if name.startswith("becket.")]
    declared = [line for path in PROTO.rglob("*.proto") for line in path.read_text().splitlines()]
    declared = [line.split()[1] for line in declared if line.startswith("service ")]
    assert sorted(name.rsplit(".", 1)[1] for name in ours) == sorted(declared)
    health = health_pb2_grpc.HealthStub(channel)
    for name in ["", *ours]:
        answer = health.Check(health_pb2.HealthCheckRequest(service=name))
        assert answer.status == health_pb2.HealthCheckResponse.SERVING, name


def test_all_faults_of_a_scale_are_told_at_once(new_server):
    shop = Shop(new_server().channel())
    shop.load_wires()
    scale = message(scale_pb2.Scale, tomllib.loads((DEMO / "scales" / "concert-270.toml").read_text()))
    scale.notes[0].speaking_mm = float("nan")
    scale.notes[40].wire_id = "no-such-wire"
    scale.notes[87].string_count = 9
    with pytest.raises(grpc.RpcError) as refused:
        shop.scales.CreateScale(scale_pb2.CreateScaleRequest(request_id=request_id(), scale=scale))
    assert refused.value.code() == grpc.StatusCode.INVALID_ARGUMENT
    assert details(refused.value, error_details_pb2.ErrorInfo).reason == "FIELD_INVALID"
    fields = [v.field for v in details(refused.value, error_details_pb2.BadRequest).field_violations]
    assert {"scale.notes[0].speaking_mm", "scale.notes[40].wire_id", "scale.notes[87].string_count"} <= set(fields)
    with pytest.raises(grpc.RpcError) as missing:
        shop.scales.GetScale(scale_pb2.GetScaleRequest(model_id="concert-270", revision_id="a"))
    assert missing.value.code() == grpc.StatusCode.NOT_FOUND


def test_a_repeated_write_gets_the_first_answer(new_server):
    shop = Shop(new_server().channel())
    shop.load_wires()
    coil = coil_pb2.NewCoil(
        coil_id="R1", wire_id="mw-in-16", lot_id="H1", received_date="2026-11-02", received_mass_g=453.6
    )
    request = coil_pb2.ReceiveCoilsRequest(request_id="retry-me", coils=[coil])
    first = shop.coils.ReceiveCoils(request)
    assert shop.coils.ReceiveCoils(request) == first
    assert len(all_coils(shop)) == 1
    request.coils[0].lot_id = "H2"
    with pytest.raises(grpc.RpcError) as reused:
        shop.coils.ReceiveCoils(request)
    assert reused.value.code() == grpc.StatusCode.ALREADY_EXISTS
    assert details(reused.value, error_details_pb2.ErrorInfo).reason == "REQUEST_ID_REUSED"


def test_killing_the_server_loses_no_confirmed_cut(new_server):
    server = new_server()
    shop = Shop(server.channel())
    shop.load()
    planned = shop.lists.PlanCutList(
        cut_list_pb2.PlanCutListRequest(request_id=request_id(), station_id="bench-1", serial_ids=["S16-0413"])
    ).cut_list
    shop.lists.StartCutList(cut_list_pb2.StartCutListRequest(request_id=request_id(), list_id=planned.list_id))
    for step in planned.steps[:30]:
        request = cut_list_pb2.ConfirmStepRequest(
            request_id=f"confirm-{step.step_number}", list_id=planned.list_id, step_number=step.step_number
        )
        last = shop.lists.ConfirmStep(request)
        if step.step_number % 10 == 0:
            server.kill()
            server.start()
            shop = Shop(server.channel())
            # The station did not see the answer and asks again: the first answer, and nothing is booked twice.
            assert shop.lists.ConfirmStep(request) == last
    now = shop.lists.GetCutList(cut_list_pb2.GetCutListRequest(list_id=planned.list_id)).cut_list
    done = [step for step in now.steps if step.state == cut_list_pb2.STEP_STATE_DONE]
    assert [step.step_number for step in done] == list(range(1, 31))
    assert now.pieces_done == sum(step.kind == cut_list_pb2.STEP_KIND_CUT for step in done)
    check_balances(shop)


def test_a_spoiled_piece_is_cut_again(new_server):
    shop = Shop(new_server().channel())
    shop.load()
    planned = shop.lists.PlanCutList(
        cut_list_pb2.PlanCutListRequest(request_id=request_id(), station_id="bench-1", serial_ids=["S16-0413"])
    ).cut_list
    shop.lists.StartCutList(cut_list_pb2.StartCutListRequest(request_id=request_id(), list_id=planned.list_id))
    confirmed = shop.lists.ConfirmStep(
        cut_list_pb2.ConfirmStepRequest(request_id=request_id(), list_id=planned.list_id, step_number=1, count=6)
    ).confirmed
    broken = [step for step in confirmed if step.kind == cut_list_pb2.STEP_KIND_CUT][-1]
    answer = shop.lists.ReportSpoiledPiece(
        cut_list_pb2.ReportSpoiledPieceRequest(
            request_id=request_id(),
            list_id=planned.list_id,
            step_number=broken.step_number,
            cause=cut_list_pb2.SPOIL_CAUSE_BROKEN,
        )
    )
    recut = answer.cut_list.steps[answer.recut_step_number - 1]
    assert recut.recut and (recut.serial_id, recut.piece_id) == (broken.serial_id, broken.piece_id)
    assert recut.lot_id == broken.lot_id
    coil = shop.coils.GetCoil(coil_pb2.GetCoilRequest(coil_id=broken.coil_id)).coil
    assert coil.scrapped_um >= broken.length_um
    check_balances(shop)
    record = shop.records.GetSerialRecord(record_pb2.GetSerialRecordRequest(serial_id="S16-0413"))
    line = next(line for line in record.lines if line.piece_id == broken.piece_id)
    assert not line.HasField("cut")
    assert [spoiled.spoil_cause for spoiled in line.spoiled] == [cut_list_pb2.SPOIL_CAUSE_BROKEN]


def test_the_stream_shows_the_next_step(new_server):
    shop = Shop(new_server().channel())
    shop.load()
    planned = shop.lists.PlanCutList(
        cut_list_pb2.PlanCutListRequest(request_id=request_id(), station_id="bench-1", serial_ids=["S16-0413"])
    ).cut_list
    stream = shop.lists.WatchCutList(cut_list_pb2.WatchCutListRequest(list_id=planned.list_id), timeout=60)
    first = next(stream)
    assert first.state == cut_list_pb2.CUT_LIST_STATE_PLANNED and first.next.step_number == 1
    shop.lists.StartCutList(cut_list_pb2.StartCutListRequest(request_id=request_id(), list_id=planned.list_id))
    shop.lists.ConfirmStep(
        cut_list_pb2.ConfirmStepRequest(request_id=request_id(), list_id=planned.list_id, step_number=1)
    )
    for seen in stream:
        if not seen.heartbeat and seen.next.step_number == 2:
            assert seen.state == cut_list_pb2.CUT_LIST_STATE_RUNNING
            break
    shop.lists.FinishCutList(
        cut_list_pb2.FinishCutListRequest(request_id=request_id(), list_id=planned.list_id, give_up_pending=True)
    )
    last = [seen for seen in stream if not seen.heartbeat][-1]
    assert last.state == cut_list_pb2.CUT_LIST_STATE_FINISHED
    check_balances(shop)
