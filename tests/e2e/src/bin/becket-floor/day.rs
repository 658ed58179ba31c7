//! A day's list, planned anew while it is cut.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use becket_api::cutting::{
    ConfirmStepRequest, CutList, NewCoil, PlanCutListRequest, ReceiveCoilsRequest, ReplanCutListRequest,
    ReturnCoilRequest, SetAsideCoilRequest, StartCutListRequest, StepKind, StepState,
};
use becket_api::document::{CoilsDocument, Format, parse_coils};
use becket_api::stringing::Job;
use becket_e2e::{Shop, demo};

use crate::service::Running;
use crate::{Failure, Times};

/// Grands of the day.
const GRANDS: u32 = 10;
/// Times that the demo's stock is there.
const STOCKS: u32 = 4;
/// Steps that are confirmed between two plans.
const CUT_BETWEEN: i32 = 3;

/// What was measured.
pub(crate) struct Day {
    pub(crate) what: String,
    pub(crate) times: Vec<Times>,
}

pub(crate) async fn measure(calls: u32) -> Result<Day, Failure> {
    let mut running = Running::start(|_| {}).await?;
    let shop = &mut running.shop;
    load(shop).await?;
    let began = Instant::now();
    let list = plan(shop).await?;
    let planned_in = began.elapsed();
    let mut replan = Times::of("ReplanCutList, a coil of the list is gone")?;
    let mut idle = Times::of("ReplanCutList, nothing has changed")?;
    let mut lose = Times::of("SetAsideCoil, which plans the list anew")?;
    let (mut moved, mut forced, mut kept) = (0_i64, 0_i64, 0_i64);
    for call in 0..calls {
        let now = advance(shop, &list.list_id).await?;
        let coil_id = a_coil_of(&now, call).ok_or("the list has come to its end; ask for fewer calls")?;
        if call % 2 == 0 {
            set_aside(shop, &coil_id, true).await?;
            let (took, answer) = timed_replan(shop, &list.list_id).await?;
            replan.add(took)?;
            moved += i64::from(answer.0);
            forced += i64::from(answer.1);
            kept += i64::from(answer.2);
        } else {
            lose.add(set_aside(shop, &coil_id, false).await?)?;
        }
        let request = ReturnCoilRequest { request_id: shop.request_id(), coil_id };
        shop.coils.return_coil(request).await?;
        idle.add(timed_replan(shop, &list.list_id).await?.0)?;
    }
    running.stop().await?;
    let wires: BTreeSet<&str> = list.steps.iter().map(|step| step.wire_id.as_str()).collect();
    let what = format!(
        "{GRANDS} grands, {} pieces, {} wires, {} steps, planned in {:.0} ms. Where a coil was gone, {forced} pieces had to move in \
         {} plans, {} others moved with them, and {kept} steps were kept.",
        list.pieces_pending,
        wires.len(),
        list.steps.len(),
        planned_in.as_secs_f64() * 1000.0,
        calls.div_ceil(2),
        moved - forced
    );
    Ok(Day { what, times: vec![replan, lose, idle] })
}

async fn load(shop: &mut Shop) -> Result<(), Failure> {
    shop.load_wires().await?;
    shop.load_scale(demo::CONCERT).await?;
    shop.load_scale(demo::SMALL).await?;
    shop.load_stock().await?;
    let CoilsDocument { coils, .. } = parse_coils(demo::COILS, Format::Toml)?;
    for stock in 1..STOCKS {
        let again = |coil: &NewCoil| NewCoil { coil_id: format!("{}-{stock}", coil.coil_id), ..coil.clone() };
        let request = ReceiveCoilsRequest {
            request_id: shop.request_id(),
            coils: coils.iter().map(again).collect(),
            validate_only: false,
        };
        shop.coils.receive_coils(request).await?;
    }
    for grand in 1..=GRANDS {
        let model_id = if grand % 2 == 0 { "small-160" } else { "concert-270" };
        shop.open_job(Job {
            serial_id: format!("D-{grand:02}"),
            model_id: model_id.to_owned(),
            revision_id: "a".to_owned(),
            due_date: format!("2026-12-{grand:02}"),
            station_id: "bench-1".to_owned(),
            ..Job::default()
        })
        .await?;
    }
    Ok(())
}

async fn plan(shop: &mut Shop) -> Result<CutList, Failure> {
    let request = PlanCutListRequest {
        request_id: shop.request_id(),
        station_id: "bench-1".to_owned(),
        ..PlanCutListRequest::default()
    };
    let list = shop.lists.plan_cut_list(request).await?.into_inner().cut_list.ok_or("no list")?;
    if !list.shortages.is_empty() {
        return Err(format!("the stock is too small: {:?}", list.shortages).into());
    }
    let request = StartCutListRequest {
        request_id: shop.request_id(),
        list_id: list.list_id.clone(),
        etag: String::new(),
    };
    Ok(shop.lists.start_cut_list(request).await?.into_inner().cut_list.ok_or("no list")?)
}

/// Confirms some steps, and returns the list as it is then.
async fn advance(shop: &mut Shop, list_id: &str) -> Result<CutList, Failure> {
    let request = becket_api::cutting::GetCutListRequest { list_id: list_id.to_owned() };
    let list = shop.lists.get_cut_list(request.clone()).await?.into_inner().cut_list.ok_or("no list")?;
    let next = list.steps.iter().find(|step| step.state() == StepState::Pending).ok_or("the list is done")?;
    let request_id = shop.request_id();
    let (list_id, step_number) = (list_id.to_owned(), next.step_number);
    let confirm = ConfirmStepRequest { request_id, list_id, step_number, count: CUT_BETWEEN };
    shop.lists.confirm_step(confirm).await?;
    Ok(shop.lists.get_cut_list(request).await?.into_inner().cut_list.ok_or("no list")?)
}

/// A coil from which the list still wants to cut, another one each time.
fn a_coil_of(list: &CutList, call: u32) -> Option<String> {
    let pending = list.steps.iter().filter(|step| step.state() == StepState::Pending);
    let coils: BTreeSet<&str> =
        pending.filter(|step| step.kind() == StepKind::Cut).map(|step| step.coil_id.as_str()).collect();
    let place = usize::try_from(call).ok()?.checked_mul(7)?.checked_rem(coils.len())?;
    coils.into_iter().nth(place).map(str::to_owned)
}

async fn set_aside(shop: &mut Shop, coil_id: &str, keep_lists: bool) -> Result<Duration, Failure> {
    let request = SetAsideCoilRequest {
        request_id: shop.request_id(),
        coil_id: coil_id.to_owned(),
        note: String::new(),
        keep_lists,
    };
    let began = Instant::now();
    shop.coils.set_aside_coil(request).await?;
    Ok(began.elapsed())
}

/// How long it took, and how many steps were moved, had to move, and were kept.
async fn timed_replan(shop: &mut Shop, list_id: &str) -> Result<(Duration, (i32, i32, i32)), Failure> {
    let request = ReplanCutListRequest {
        request_id: shop.request_id(),
        list_id: list_id.to_owned(),
        ..ReplanCutListRequest::default()
    };
    let began = Instant::now();
    let answer = shop.lists.replan_cut_list(request).await?.into_inner();
    let took = began.elapsed();
    if answer.pieces_uncut > 0 {
        return Err(format!("{} pieces found no wire", answer.pieces_uncut).into());
    }
    Ok((took, (answer.steps_moved, answer.steps_forced, answer.steps_kept)))
}
