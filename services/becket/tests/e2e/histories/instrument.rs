//! An instrument with one string to a note and a stock of its few wires, so that many lists are cut in a short time and all from the
//! same coils.

use becket_api::cutting::new_coil::Amount;
use becket_api::cutting::{NewCoil, ReceiveCoilsRequest, SaveStationRequest, Station};
use becket_api::document::parse_toml;
use becket_api::stringing::{CreateScaleRequest, Job, ReleaseScaleRequest, Scale};
use becket_e2e::{Shop, demo};

const MODEL: &str = "one-string";
const REVISION: &str = "a";
/// Wires of the plain strings, each up to this note. The instrument is to be cut and not to be played.
const WIRES_UP_TO: [(i32, &str); 3] = [(44, "mw-in-17"), (66, "mw-in-15"), (88, "mw-in-13")];
pub(super) const WIRES: [&str; 3] = [WIRES_UP_TO[0].1, WIRES_UP_TO[1].1, WIRES_UP_TO[2].1];
const COILS_OF_EACH: usize = 8;
/// Enough for one to three instruments, so that coils come to their end.
const COIL_MM: f64 = 25_000.0;

/// A coil of a wire.
pub(super) fn coil(coil_id: String, wire_id: &str) -> NewCoil {
    NewCoil {
        coil_id,
        wire_id: wire_id.to_owned(),
        lot_id: "H1".to_owned(),
        received_date: "2026-03-01".to_owned(),
        amount: Some(Amount::ReceivedLengthMm(COIL_MM)),
        ..NewCoil::default()
    }
}

/// A job of this instrument.
pub(super) fn job(serial_id: String, station_id: &str, due_date: &str) -> Job {
    Job {
        serial_id,
        model_id: MODEL.to_owned(),
        revision_id: REVISION.to_owned(),
        due_date: due_date.to_owned(),
        station_id: station_id.to_owned(),
        ..Job::default()
    }
}

/// Loads wires, scale, stock and stations; returns the stations.
pub(super) async fn load(shop: &mut Shop, stations: usize) -> Vec<String> {
    shop.load_wires().await.unwrap();
    let mut scale: Scale = parse_toml(demo::SMALL).unwrap();
    scale.model_id = MODEL.to_owned();
    for note in &mut scale.notes {
        note.string_count = 1;
        if note.windings.is_empty() {
            let wire = WIRES_UP_TO.iter().find(|(last, _)| note.note <= *last).unwrap().1;
            wire.clone_into(&mut note.wire_id);
        }
    }
    let request =
        CreateScaleRequest { request_id: shop.request_id(), scale: Some(scale), validate_only: false };
    let stored = shop.scales.create_scale(request).await.unwrap().into_inner().scale.unwrap();
    let request = ReleaseScaleRequest {
        request_id: shop.request_id(),
        model_id: stored.model_id,
        revision_id: stored.revision_id,
        etag: stored.etag,
    };
    shop.scales.release_scale(request).await.unwrap();
    let coils = WIRES.iter().flat_map(|wire| {
        (0..COILS_OF_EACH).map(move |n| coil(format!("K-{}-{n}", wire.replace("mw-in-", "")), wire))
    });
    let request =
        ReceiveCoilsRequest { request_id: shop.request_id(), coils: coils.collect(), validate_only: false };
    shop.coils.receive_coils(request).await.unwrap();
    let names: Vec<String> = (1..=stations).map(|number| format!("floor-{number}")).collect();
    for station_id in &names {
        let station = Station {
            station_id: station_id.clone(),
            title: "A bench".to_owned(),
            reel_positions: 4,
            trays: 4,
            ..Station::default()
        };
        let request = SaveStationRequest { request_id: shop.request_id(), station: Some(station) };
        shop.stations.save_station(request).await.unwrap();
    }
    names
}
