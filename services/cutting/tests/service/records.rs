//! What a serial is strung with, and where the wire of a lot went.

use becket_api::cutting::{
    GetSerialRecordRequest, GetSerialRecordResponse, ListLotSerialsRequest, RecordLine,
    ReportSpoiledPieceRequest, SpoilCause, StepKind,
};
use becket_api::stringing::JobState;
use tonic::{Code, Request};

use crate::world::{PIECES, START_US, World, assert_faults, assert_refused, meta};

async fn record(world: &World, serial_id: &str) -> GetSerialRecordResponse {
    let request = GetSerialRecordRequest { serial_id: serial_id.to_owned() };
    world.records().get_serial_record(request).await.unwrap().into_inner()
}

fn line<'a>(record: &'a GetSerialRecordResponse, piece_id: &str) -> &'a RecordLine {
    record.lines.iter().find(|line| line.piece_id == piece_id && line.layer == 0).unwrap()
}

#[tokio::test]
async fn a_record_has_all_order_lines_before_anything_is_cut() {
    let world = World::with_jobs(&["S-1"]).await;
    let (record, set) = (record(&world, "S-1").await, world.set("S-1").await);
    assert_eq!((record.model_id.as_str(), record.revision_id.as_str()), ("grand", "a"));
    assert_eq!((record.job_state(), &record.set_digest), (JobState::Open, &set.digest));
    let pieces = record.lines.iter().filter(|line| line.layer == 0);
    let ids: Vec<&str> = pieces.map(|line| line.piece_id.as_str()).collect();
    assert_eq!(ids, set.pieces.iter().map(|piece| piece.piece_id.as_str()).collect::<Vec<_>>());
    assert_eq!(record.lines.iter().filter(|line| line.layer == 1).count(), 32);
    assert!(record.lines.iter().all(|line| line.cut.is_none() && line.spoiled.is_empty()));
    let first = (&record.lines[0], &set.pieces[0]);
    let (length, mass) = (first.0.length.clone().unwrap(), first.0.mass.clone().unwrap());
    #[expect(clippy::cast_precision_loss, reason = "some metres in µm")]
    let length_m = first.1.length_um as f64 / 1e6;
    assert_eq!((length.value, length.unit_code.as_str()), (length_m, "MTR"));
    assert_eq!((mass.value, mass.unit_code.as_str()), (first.1.mass_g / 1000.0, "KGM"));
    let (pieces, cut) = (record.pieces.unwrap(), record.pieces_cut.unwrap());
    assert_eq!((pieces.value, pieces.unit_code.as_str(), cut.value), (f64::from(PIECES), "C62", 0.0));
    let wires: Vec<&str> = record.totals.iter().map(|total| total.wire_id.as_str()).collect();
    assert_eq!(wires, ["cu-1.00", "mw-in-13", "mw-in-16", "mw-in-19"]);
}

#[tokio::test]
async fn lots_are_traced_both_ways() {
    let world = World::with_jobs(&["S-1", "S-2"]).await;
    let list = world.plan(&[]).await.unwrap();
    world.begin("L-0001").await.unwrap();
    world.clock.advance_us(5_000_000);
    world.confirm_all("L-0001").await;
    // A string of the first serial breaks and is cut again.
    let lost = list.steps.iter().find(|s| s.kind() == StepKind::Cut && s.serial_id == "S-1").unwrap();
    let mut request = Request::new(ReportSpoiledPieceRequest {
        request_id: world.id(),
        list_id: "L-0001".to_owned(),
        step_number: lost.step_number,
        cause: SpoilCause::Broken.into(),
        lost_length_mm: None,
    });
    request.metadata_mut().insert("becket-actor", "stringer 2".parse().unwrap());
    let recut = world.lists().report_spoiled_piece(request).await.unwrap().into_inner().recut_step_number;
    assert!(recut > 0);
    let recalled = record(&world, "S-1").await;
    assert!(line(&recalled, &lost.piece_id).cut.is_none(), "the piece is not in the instrument yet");
    assert_eq!(recalled.pieces_cut.unwrap().value, f64::from(PIECES - 1));
    world.confirm_all("L-0001").await;

    let record = record(&world, "S-1").await;
    assert_eq!(
        (record.job_state(), record.pieces_cut.clone().unwrap().value),
        (JobState::Frozen, f64::from(PIECES))
    );
    assert!(record.lines.iter().all(|line| line.cut.is_some() == (line.layer == 0)));
    let again = line(&record, &lost.piece_id);
    let cut = again.cut.clone().unwrap();
    assert_eq!((cut.list_id.as_str(), cut.step_number, cut.spoil_cause), ("L-0001", recut, None));
    assert_eq!(cut.cut_time.unwrap().seconds, START_US / 1_000_000 + 5);
    let [spoiled] = &again.spoiled[..] else { panic!("{again:?}") };
    assert_eq!((spoiled.step_number, spoiled.spoil_cause()), (lost.step_number, SpoilCause::Broken));
    let lots = |wire_id: &str| &record.totals.iter().find(|total| total.wire_id == wire_id).unwrap().lot_ids;
    assert_eq!(lots("mw-in-13"), &["lot-13"]);
    assert!(lots("cu-1.00").is_empty());

    let request = ListLotSerialsRequest { page_size: 1, lot_id: "lot-13".to_owned(), ..Default::default() };
    let first = world.records().list_lot_serials(request.clone()).await.unwrap().into_inner();
    let request = ListLotSerialsRequest { page_token: first.next_page_token.clone(), ..request };
    let second = world.records().list_lot_serials(request).await.unwrap().into_inner();
    assert_eq!(second.next_page_token, "");
    let serials = [&first.serials[0], &second.serials[0]];
    assert_eq!(serials.map(|serial| serial.serial_id.as_str()), ["S-1", "S-2"]);
    for serial in serials {
        assert_eq!((serial.wire_id.as_str(), &serial.coil_ids[..]), ("mw-in-13", &["A13".to_owned()][..]));
        assert_eq!(serial.piece_ids.len(), 36);
    }
    // Every piece of the record is found by its lot.
    let of_lot =
        |lot: &str| record.lines.iter().filter(|l| l.cut.as_ref().is_some_and(|c| c.lot_id == lot)).count();
    assert_eq!(of_lot("lot-13"), 36);
    let none = ListLotSerialsRequest { lot_id: "lot-none".to_owned(), ..Default::default() };
    assert_eq!(world.records().list_lot_serials(none).await.unwrap().into_inner().serials, []);
}

#[tokio::test]
async fn a_serial_that_is_not_there() {
    let world = World::empty().await;
    let request = GetSerialRecordRequest { serial_id: "S-404".to_owned() };
    let status =
        assert_refused(world.records().get_serial_record(request).await, Code::NotFound, "NOT_FOUND");
    assert_eq!((meta(&status, "kind"), meta(&status, "id")), ("jobs".to_owned(), "S-404".to_owned()));
    let request = GetSerialRecordRequest { serial_id: "S 404".to_owned() };
    assert_faults(world.records().get_serial_record(request).await, &["serial_id"]);
}
