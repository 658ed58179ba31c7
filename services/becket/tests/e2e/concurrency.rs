//! Many clients that plan on the same stock at the same moment.

use std::collections::BTreeSet;

use becket_api::cutting::{CutList, PlanCutListRequest};
use becket_api::stringing::{GetStringSetRequest, Job};
use becket_e2e::invariants::{check_pieces, check_stock, is_cut};
use becket_e2e::{Shop, demo, reason};
use tokio::task::JoinSet;
use tonic::{Code, Status};

use crate::Fresh;

const CLIENTS: usize = 8;
/// Most times that a client plans again because others took the wire in between.
const ATTEMPTS: usize = 40;

pub(crate) async fn plan(shop: &mut Shop, serial: &str) -> Result<CutList, Status> {
    let request = PlanCutListRequest {
        request_id: shop.request_id(),
        station_id: "bench-1".into(),
        serial_ids: vec![serial.into()],
        ..Default::default()
    };
    Ok(shop.lists.plan_cut_list(request).await?.into_inner().cut_list.unwrap())
}

/// Plans, and again while the answer is that the stock changed, as its documentation tells a caller to.
pub(crate) async fn plan_at_last(mut shop: Shop, serial: String) -> CutList {
    for _ in 0..ATTEMPTS {
        match plan(&mut shop, &serial).await {
            Ok(list) => return list,
            Err(status) => {
                let changed =
                    status.code() == Code::Aborted && reason(&status).as_deref() == Some("STOCK_CHANGED");
                assert!(changed, "{serial}: {status:?}");
            }
        }
    }
    panic!("{serial} was not planned in {ATTEMPTS} attempts");
}

pub(crate) fn job(number: usize) -> Job {
    let mut jobs = demo::jobs().unwrap();
    let mut job = jobs.swap_remove(number % jobs.len());
    job.serial_id = format!("E-{number:03}");
    job
}

#[tokio::test(flavor = "multi_thread")]
async fn no_coil_is_promised_twice() {
    let (fresh, mut shop) = Fresh::with_demo().await;
    let mut planning = JoinSet::new();
    for number in 0..CLIENTS {
        let job = job(number);
        let serial = job.serial_id.clone();
        shop.open_job(job).await.unwrap();
        // A connection each, so that nothing but the server puts them in order.
        let client = Shop::connect(fresh.server.url()).await.unwrap();
        planning.spawn(plan_at_last(client, serial));
    }
    let planned = planning.join_all().await;
    let lists = shop.all_lists().await.unwrap();
    assert_eq!(lists.len(), CLIENTS);
    assert_eq!(planned.iter().map(|list| &list.list_id).collect::<BTreeSet<_>>().len(), CLIENTS);

    let coils = shop.all_coils().await.unwrap();
    check_stock(&coils, &lists).unwrap();
    let on_lists = check_pieces(&lists).unwrap();
    assert!(coils.values().map(|coil| coil.reserved_um).sum::<i64>() > 0);

    // Each piece of each serial is on a list or told as short, and never both.
    for number in 0..CLIENTS {
        let serial = format!("E-{number:03}");
        let request = GetStringSetRequest { serial_id: serial.clone() };
        let set = shop.sets.get_string_set(request).await.unwrap().into_inner().string_set.unwrap();
        let list = lists.iter().find(|list| list.serials.iter().any(|s| s.serial_id == serial)).unwrap();
        let short = list.shortages.iter().filter(|s| s.serial_id == serial).flat_map(|s| &s.piece_ids);
        let mut pieces: Vec<_> = short.collect();
        pieces.extend(on_lists.iter().filter(|(s, _)| *s == serial).map(|(_, piece)| piece));
        pieces.sort();
        let mut wanted: Vec<_> = set.pieces.iter().map(|piece| &piece.piece_id).collect();
        wanted.sort();
        assert_eq!(pieces, wanted, "{serial}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_serial_is_planned_once() {
    let (fresh, mut shop) = Fresh::with_demo().await;
    let mut planning = JoinSet::new();
    for _ in 0..CLIENTS {
        let mut client = Shop::connect(fresh.server.url()).await.unwrap();
        planning.spawn(async move { plan(&mut client, "C27-0107").await });
    }
    let answers = planning.join_all().await;
    let (done, refused): (Vec<_>, Vec<_>) = answers.into_iter().partition(Result::is_ok);
    assert_eq!(done.len(), 1, "{refused:?}");
    for status in refused.into_iter().map(Result::unwrap_err) {
        assert!(matches!(status.code(), Code::FailedPrecondition | Code::Aborted), "{status:?}");
        assert!(reason(&status).is_some(), "{status:?}");
    }
    let lists = shop.all_lists().await.unwrap();
    assert_eq!(lists.len(), 1);
    assert!(lists[0].steps.iter().filter(|step| is_cut(step)).count() > 100);
    check_stock(&shop.all_coils().await.unwrap(), &lists).unwrap();
    check_pieces(&lists).unwrap();
}
