//! Who looks after the stock, and who looks at it.

use std::sync::Arc;
use std::time::Duration;

use becket_api::cutting::{
    Coil, GetCoilRequest, ReceiveCoilsRequest, ReturnCoilRequest, ScrapCoilRequest, SetAsideCoilRequest,
    WeighCoilRequest,
};
use becket_e2e::history::CoilEvent;

use super::client::{Client, Told, ask};
use super::floor::{Change, Floor, names};
use super::instrument::{self, WIRES};

const TARE_G: f64 = 50.0;
/// Pause of whoever only looks: most of the machine is for those who write.
pub(super) const LOOKS_EVERY: Duration = Duration::from_millis(25);

async fn look(floor: &Floor, client: &mut Client) -> Option<Coil> {
    let coil_id = client.random.choose(&floor.coil_ids()).clone();
    let called = floor.now();
    let answer = match ask!(floor, client, coils.get_coil(GetCoilRequest { coil_id: coil_id.clone() })) {
        Told::Answer(answer) => answer,
        Told::Refused(status) => panic!("{status:?}"),
        Told::Unknown => return None,
    };
    let coil = answer.coil.unwrap();
    let seen = CoilEvent::Seen { remaining_um: coil.remaining_um, reserved_um: coil.reserved_um };
    floor.change(called, Change { coils: vec![(coil_id, seen)], ..Change::default() });
    floor.looked();
    Some(coil)
}

pub(super) async fn reader(floor: Arc<Floor>, mut client: Client) {
    while floor.working() {
        look(&floor, &mut client).await;
        tokio::time::sleep(LOOKS_EVERY).await;
    }
}

pub(super) async fn keeper(floor: Arc<Floor>, mut client: Client) {
    while floor.working() {
        let Some(coil) = look(&floor, &mut client).await else { continue };
        match client.random.below(12) {
            0..=3 => receive(&floor, &mut client).await,
            4..=5 => weigh(&floor, &mut client, &coil, coil.remaining_um, true).await,
            6 => weigh(&floor, &mut client, &coil, 0, false).await,
            7 => scrap(&floor, &mut client, &coil).await,
            // With the lists planned anew in the same step, and without.
            choice => aside(&floor, &mut client, &coil, choice == 8).await,
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

async fn receive(floor: &Floor, client: &mut Client) {
    let number = floor.number();
    let coils = vec![instrument::coil(format!("N{number:05}"), WIRES[number % WIRES.len()])];
    let request_id = client.request_id();
    let request = ReceiveCoilsRequest { request_id: request_id.clone(), coils, validate_only: false };
    let called = floor.now();
    if let Told::Answer(answer) = ask!(floor, client, coils.receive_coils(request)) {
        floor.done("receive", &request_id, called);
        floor.add_coils(answer.coils);
    }
}

/// Weighs a coil that holds a little more than this, or nothing. If nothing, its lists are planned anew.
async fn weigh(floor: &Floor, client: &mut Client, coil: &Coil, remaining_um: i64, keep_lists: bool) {
    #[expect(clippy::cast_precision_loss, reason = "a reading of scales")]
    let wire_g = remaining_um as f64 * 1e-6 * coil.linear_density_g_m;
    let request_id = client.request_id();
    let request = WeighCoilRequest {
        request_id: request_id.clone(),
        coil_id: coil.coil_id.clone(),
        gross_g: TARE_G + wire_g * 1.001,
        tare_g: TARE_G,
        accept: remaining_um == 0,
        keep_lists,
        ..WeighCoilRequest::default()
    };
    let called = floor.now();
    match ask!(floor, client, coils.weigh_coil(request)) {
        Told::Answer(answer) => {
            let coil = answer.coil.unwrap();
            let (remaining_um, reserved_um) = (coil.remaining_um, coil.reserved_um);
            let weighed = CoilEvent::Weighed { remaining_um, reserved_um };
            let coils = vec![(coil.coil_id, weighed)];
            let by_itself = names(&answer.replanned);
            let change = Change { coils, by_itself, request_id: request_id.clone(), ..Change::default() };
            floor.change(called, change);
            floor.done(if remaining_um == 0 { "empty" } else { "weigh" }, &request_id, called);
        }
        Told::Refused(status) => drop(floor.refused(&status)),
        Told::Unknown => {}
    }
}

async fn scrap(floor: &Floor, client: &mut Client, coil: &Coil) {
    let (request_id, coil_id) = (client.request_id(), coil.coil_id.clone());
    let request = ScrapCoilRequest { request_id: request_id.clone(), coil_id, ..ScrapCoilRequest::default() };
    let called = floor.now();
    match ask!(floor, client, coils.scrap_coil(request)) {
        Told::Answer(answer) => {
            let coils = vec![(coil.coil_id.clone(), CoilEvent::Scrapped)];
            let by_itself = names(&answer.replanned);
            floor.forget_coil(&coil.coil_id);
            let change = Change { coils, by_itself, request_id: request_id.clone(), ..Change::default() };
            floor.change(called, change);
            floor.done("scrap", &request_id, called);
        }
        Told::Refused(status) => drop(floor.refused(&status)),
        Told::Unknown => {}
    }
}

/// Sets a coil aside and returns it.
async fn aside(floor: &Floor, client: &mut Client, coil: &Coil, keep_lists: bool) {
    let (request_id, coil_id) = (client.request_id(), coil.coil_id.clone());
    let request = SetAsideCoilRequest {
        request_id: request_id.clone(),
        coil_id: coil_id.clone(),
        note: String::new(),
        keep_lists,
    };
    let called = floor.now();
    match ask!(floor, client, coils.set_aside_coil(request)) {
        Told::Answer(answer) => {
            let coils = vec![(coil_id.clone(), CoilEvent::SetAside(true))];
            let by_itself = names(&answer.replanned);
            let change = Change { coils, by_itself, request_id: request_id.clone(), ..Change::default() };
            floor.change(called, change);
            floor.done("set aside", &request_id, called);
        }
        Told::Refused(status) => return drop(floor.refused(&status)),
        Told::Unknown => return,
    }
    loop {
        let request_id = client.request_id();
        let request = ReturnCoilRequest { request_id: request_id.clone(), coil_id: coil_id.clone() };
        let called = floor.now();
        match ask!(floor, client, coils.return_coil(request)) {
            Told::Answer(_) => {
                let coils = vec![(coil_id, CoilEvent::SetAside(false))];
                floor.change(called, Change { coils, ..Change::default() });
                return floor.done("return", &request_id, called);
            }
            Told::Refused(status) => drop(floor.refused(&status)),
            Told::Unknown => return,
        }
    }
}
