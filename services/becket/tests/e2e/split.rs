//! Each service in a process of its own, with data of its own; and one of them away for a while.

use std::time::Duration;

use becket_api::cutting::{
    ConfirmStepRequest, EstimateWireRequest, GetSerialRecordRequest, PlanCutListRequest, StartCutListRequest,
};
use becket_api::stringing::GetStringSetRequest;
use becket_e2e::invariants::{check_pieces, check_stock};
use becket_e2e::{Server, Shop, demo, reason};
use tonic::{Code, Request, Status};
use tonic_types::StatusExt as _;

use crate::binary;

fn plan(shop: &Shop, serial: &str) -> Request<PlanCutListRequest> {
    let mut request = Request::new(PlanCutListRequest {
        request_id: shop.request_id(),
        station_id: "bench-1".into(),
        serial_ids: vec![serial.into()],
        ..Default::default()
    });
    request.set_timeout(Duration::from_secs(30));
    request
}

fn check_unavailable(status: &Status) {
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    assert_eq!(reason(status).as_deref(), Some("UPSTREAM_UNAVAILABLE"), "{status:?}");
    let retry = status.get_details_retry_info().expect("it says when to try again");
    assert!(retry.retry_delay.is_some_and(|delay| delay > Duration::ZERO), "{retry:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_processes_do_the_main_job_and_outlive_each_other() {
    let folder = tempfile::tempdir().unwrap();
    let strings = folder.path().join("strings");
    let stringing = Server::with(binary(), &strings, &["--only", "stringing", "--listen", "127.0.0.1:0"]);
    let address = stringing.address().to_owned();
    let cuts = folder.path().join("cuts");
    let of_cutting =
        ["--only", "cutting", "--listen", "127.0.0.1:0", "--stringing-endpoint", stringing.url()];
    let cutting = Server::with(binary(), &cuts, &of_cutting);
    let mut shop = Shop::connect_split(stringing.url(), cutting.url()).await.unwrap();
    shop.load().await.unwrap();

    // Planned, started, begun.
    let list =
        shop.lists.plan_cut_list(plan(&shop, "C27-0107")).await.unwrap().into_inner().cut_list.unwrap();
    let start = StartCutListRequest {
        request_id: shop.request_id(),
        list_id: list.list_id.clone(),
        etag: String::new(),
    };
    shop.lists.start_cut_list(start).await.unwrap();
    let confirm = |shop: &Shop, step_number, count| ConfirmStepRequest {
        request_id: shop.request_id(),
        list_id: list.list_id.clone(),
        step_number,
        count,
    };
    let request = confirm(&shop, 1, 10);
    shop.lists.confirm_step(request).await.unwrap();
    let set = GetStringSetRequest { serial_id: "C27-0107".into() };
    assert!(shop.sets.get_string_set(set.clone()).await.unwrap().into_inner().string_set.unwrap().frozen);
    let record = GetSerialRecordRequest { serial_id: "C27-0107".into() };
    let seen = shop.records.get_serial_record(record.clone()).await.unwrap().into_inner();
    assert!(seen.pieces_cut.is_some_and(|cut| cut.value > 0.0));

    // The stringing service goes. What needs it says so; what does not, goes on.
    assert!(stringing.stop().success());
    check_unavailable(&shop.lists.plan_cut_list(plan(&shop, "S16-0412")).await.unwrap_err());
    check_unavailable(&shop.records.get_serial_record(record.clone()).await.unwrap_err());
    let estimate = EstimateWireRequest { lines: demo::schedule().unwrap(), ..Default::default() };
    check_unavailable(&shop.purchasing.estimate_wire(estimate.clone()).await.unwrap_err());
    let request = confirm(&shop, 11, 10);
    shop.lists.confirm_step(request).await.unwrap();
    let lists = shop.all_lists().await.unwrap();
    assert_eq!(lists.len(), 1);
    check_stock(&shop.all_coils().await.unwrap(), &lists).unwrap();

    // It comes back at the same address, and the cutting service finds it by itself.
    let back = Server::with(binary(), &strings, &["--only", "stringing", "--listen", &address]);
    shop.lists.plan_cut_list(plan(&shop, "S16-0412")).await.unwrap();
    shop.purchasing.estimate_wire(estimate).await.unwrap();
    let seen = shop.records.get_serial_record(record).await.unwrap().into_inner();
    assert_eq!(
        seen.pieces_cut.map(|cut| cut.value),
        Some(f64::from(shop.list(&list.list_id).await.unwrap().pieces_done))
    );
    let lists = shop.all_lists().await.unwrap();
    check_stock(&shop.all_coils().await.unwrap(), &lists).unwrap();
    check_pieces(&lists).unwrap();
    assert!(cutting.stop().success());
    assert!(back.stop().success());
}
