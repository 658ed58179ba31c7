//! How soon a search ends after its caller has gone.
//!
//! The service makes one computation at a time, so a small plan that is asked for right after a large one was dropped has to wait
//! until the work of the large one has ended. What it takes longer than by itself is the time to stop.

use std::time::{Duration, Instant};

use becket_api::cutting::plan_service_client::PlanServiceClient;
use becket_api::cutting::{PieceBatch, PlanCoil, PlanCutsRequest, PlanPolicy, PlanSerial, PlanWire};
use tonic::transport::Channel;

use crate::service::Running;
use crate::{Failure, Times};

/// Instances: name, pieces, coils, and after how long at most the call is dropped.
const CASES: [(&str, i64, i64, u32); 3] = [
    ("PlanCuts of 400 pieces on remnants, dropped", 400, 260, 600),
    ("PlanCuts of 5 000 pieces on remnants, dropped", 5_000, 3_200, 1_500),
    ("PlanCuts of 50 000 pieces on long coils, dropped", 50_000, 1_000, 1_500),
];

/// An answer that takes longer has met its deadline; any earlier refusal is a fault.
const FAR_TOO_LONG: Duration = Duration::from_secs(5);

/// Measures case by case and hands each over when it is done: on a busy machine all of them take minutes.
pub(crate) async fn measure(drops: u32, done: impl Fn(&Times)) -> Result<(), Failure> {
    let running = Running::start(|limits| limits.max_computations = 1).await?;
    let plans = PlanServiceClient::new(running.shop.cutting.clone());
    let mut alone = Times::of("PlanCuts of one piece, by itself")?;
    for _ in 0..drops {
        alone.add(small(plans.clone()).await?)?;
    }
    done(&alone);
    for (what, pieces, coils, longest_ms) in CASES {
        let request = large(pieces, coils);
        let mut times = Times::of(what)?;
        for drop in 0..drops {
            // Other moments each time, spread evenly.
            let wait = u64::from(longest_ms * (drop + 1) / drops);
            let mut client = plans.clone();
            let request = request.clone();
            let call = tokio::spawn(async move { client.plan_cuts(request).await });
            tokio::time::sleep(Duration::from_millis(wait)).await;
            if call.is_finished() {
                return Err(
                    format!("{what}: the search was over after {wait} ms; nothing could be stopped").into()
                );
            }
            call.abort();
            times.add(small_after(plans.clone()).await?.saturating_sub(alone.median()))?;
        }
        done(&times);
    }
    running.stop().await
}

/// As [`small`]; where its deadline passes first, the time till then, so that the figure is too small and not left out.
async fn small_after(plans: PlanServiceClient<Channel>) -> Result<Duration, Failure> {
    let began = Instant::now();
    match small(plans).await {
        Err(_) if began.elapsed() > FAR_TOO_LONG => Ok(began.elapsed()),
        answered => answered,
    }
}

async fn small(mut plans: PlanServiceClient<Channel>) -> Result<Duration, Failure> {
    let began = Instant::now();
    plans.plan_cuts(large(1, 1)).await?;
    Ok(began.elapsed())
}

/// Pieces and coils of which no two are alike, and far more search than anybody waits for.
fn large(pieces: i64, coils: i64) -> PlanCutsRequest {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = |low: i64, high: i64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + i64::try_from(state >> 33).unwrap_or_default() % (high - low)
    };
    let piece = |n: i64, length_um: i64| PieceBatch {
        piece_id: format!("p{n}"),
        wire_id: "w".to_owned(),
        length_um,
        ..PieceBatch::default()
    };
    let pieces: Vec<PieceBatch> = (0..pieces).map(|n| piece(n, random(250_000, 3_200_000))).collect();
    let (low, high) = if coils == 1_000 { (60_000_000, 170_000_000) } else { (3_300_000, 6_000_000) };
    let coils = (0..coils).map(|n| PlanCoil {
        coil_id: format!("C{n}"),
        wire_id: "w".to_owned(),
        length_um: random(low, high),
        ..PlanCoil::default()
    });
    PlanCutsRequest {
        coils: coils.collect(),
        serials: vec![PlanSerial { serial_id: "S".to_owned(), pieces }],
        wires: vec![PlanWire { wire_id: "w".to_owned(), smallest_remnant_um: 250_000 }],
        policy: Some(PlanPolicy { search_rounds: Some(1_000_000), ..PlanPolicy::default() }),
        reel_positions: 1,
        trays: 1,
        ..PlanCutsRequest::default()
    }
}
