//! What open jobs and a build schedule need, what is covered, and what to buy.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::convert::{kilograms, metres, pieces, read_plan_policy, within};
use becket_api::cutting::{
    EstimateWireRequest, EstimateWireResponse, PackProposal, ScheduleLine, WeekNeed, WireNeed,
};
use becket_api::stringing::StringSet;
use becket_floor::{FloorCoil, PlanPolicy, SerialId};
use becket_planner::Policy;
use becket_purchase::{Build, InstrumentNeed, StockCoil, WireEstimate, WireQuestion, estimate};
use becket_service_kit::CallContext;
use becket_units::Fault;
use becket_wire::Wire;

use crate::app::App;
use crate::error::{Missing, UseCaseError};
use crate::gather::gather;
use crate::ids::keep;
use crate::instrument::{WireUse, wire_uses};
use crate::schedule::{Schedule, read_schedule};
use crate::upstream::{MAX_OPEN_JOBS, UpstreamError};

/// Share bought on top if the caller states none (common practice, no source).
const DEFAULT_SURPLUS: f64 = 0.05;
/// Jobs whose sets are held at the same time; of a job's set, only what it needs of each wire is kept.
const JOBS_AT_ONCE: usize = 50;

/// One wire of the estimate.
struct Asked {
    wire: Wire,
    question: WireQuestion,
}

impl App {
    /// Lays open jobs and a build schedule on the stock. It changes nothing.
    pub(crate) async fn estimate_wire(
        &self,
        call: &CallContext,
        request: EstimateWireRequest,
    ) -> Result<EstimateWireResponse, UseCaseError> {
        let (mut schedule, policy, surplus_share) = read(&request)?;
        let sets = self.sets_of(call, &schedule, &request).await?;
        let mut needed = Needed::default();
        for set in &sets {
            needed.add(set, &policy)?;
        }
        let mut open_jobs = 0;
        if request.include_open_jobs.unwrap_or(true) {
            let due_dates = self.add_open_jobs(call, &policy, &mut needed).await?;
            schedule.count_first(&due_dates);
            open_jobs = due_dates.len();
        }
        let Needed { uses, wires } = needed;
        let wire_ids: Vec<becket_floor::WireId> =
            wires.keys().filter_map(|id| becket_floor::WireId::new(id.as_str()).ok()).collect();
        let stock = self.store.stock(&wire_ids, None).await?;
        let asked = wires.into_iter().map(|(wire_id, wire)| {
            let instruments: Vec<InstrumentNeed> =
                uses.iter().map(|kind| kind.get(&wire_id).cloned().unwrap_or_default()).collect();
            let question = question(&wire, instruments, &schedule, &stock, &policy, surplus_share);
            Asked { wire, question }
        });
        let asked: Vec<Asked> = asked.collect();
        let answered = self.answered(asked).await?;
        let needs = answered.iter().map(|(asked, answer)| shown(asked, answer, &schedule)).collect();
        Ok(EstimateWireResponse { needs, open_job_count: i32::try_from(open_jobs).unwrap_or(i32::MAX) })
    }

    /// Adds what is still to be taken from the stock for each job that is not closed, and returns their due dates.
    async fn add_open_jobs(
        &self,
        call: &CallContext,
        policy: &PlanPolicy,
        needed: &mut Needed,
    ) -> Result<Vec<String>, UseCaseError> {
        let jobs = self.stringing.open_jobs(call, "", "").await?;
        if jobs.len() > MAX_OPEN_JOBS {
            let allowed = format!(
                "false where more than {MAX_OPEN_JOBS} jobs are not closed; close those that have ended"
            );
            return Err(Fault::new("include_open_jobs", true, allowed).into());
        }
        for jobs in jobs.chunks(JOBS_AT_ONCE) {
            let serial_ids: Vec<String> = jobs.iter().map(|job| job.serial_id.clone()).collect();
            let answers = gather(serial_ids, |serial_id| {
                let (client, call) = (self.stringing.clone(), call.clone());
                async move { client.string_set(&call, &serial_id).await }
            });
            let mut sets = answers.await?.into_iter().collect::<Result<Vec<StringSet>, UpstreamError>>()?;
            self.leave_out_claimed(&mut sets).await?;
            for set in &sets {
                needed.add(set, policy)?;
            }
        }
        Ok(jobs.into_iter().map(|job| job.due_date).collect())
    }

    /// Leaves out pieces that are cut, so that their wire is off the coils, or on a list, so that it is reserved.
    async fn leave_out_claimed(&self, sets: &mut [StringSet]) -> Result<(), UseCaseError> {
        let serial_ids: Vec<SerialId> =
            sets.iter().filter_map(|set| SerialId::new(set.serial_id.as_str()).ok()).collect();
        let claims = self.store.claimed_pieces(&serial_ids).await?;
        let claimed: BTreeSet<(&str, &str)> =
            claims.iter().map(|claim| (claim.serial_id.as_str(), claim.piece_id.as_str())).collect();
        for StringSet { serial_id, pieces, .. } in sets {
            pieces.retain(|piece| !claimed.contains(&(serial_id.as_str(), piece.piece_id.as_str())));
        }
        Ok(())
    }

    /// Reckons wire by wire, away from the threads that serve calls.
    async fn answered(&self, asked: Vec<Asked>) -> Result<Vec<(Asked, WireEstimate)>, UseCaseError> {
        self.pool
            .run(move |flag| {
                let mut answered = Vec::with_capacity(asked.len());
                for asked in asked {
                    if flag.is_cancelled() {
                        return Err(UseCaseError::Stopping);
                    }
                    let answer = estimate(&asked.question)?;
                    answered.push((asked, answer));
                }
                Ok(answered)
            })
            .await?
    }

    /// One string set for each kind of instrument, in the order of the schedule's kinds.
    async fn sets_of(
        &self,
        call: &CallContext,
        schedule: &Schedule,
        request: &EstimateWireRequest,
    ) -> Result<Vec<StringSet>, UseCaseError> {
        let answers = gather(schedule.kinds.clone(), |kind| {
            let (client, call, options) = (self.stringing.clone(), call.clone(), request.options);
            async move { client.compute(&call, &kind.model_id, &kind.revision_id, options).await }
        });
        let mut sets = Vec::with_capacity(schedule.kinds.len());
        let mut missing = Vec::new();
        for (kind, answer) in schedule.kinds.iter().zip(answers.await?) {
            match answer {
                Ok(set) => sets.push(set),
                Err(UpstreamError::NotFound) => missing.push(Missing {
                    field: format!("lines[{}].revision_id", kind.first_line),
                    kind: "scales",
                    id: format!("{}/{}", kind.model_id, kind.revision_id),
                }),
                Err(error) => return Err(error.into()),
            }
        }
        if missing.is_empty() { Ok(sets) } else { Err(UseCaseError::ReferenceMissing(missing)) }
    }
}

/// What instruments need, and the wires of it as the sets that name them first do.
#[derive(Debug, Default)]
struct Needed {
    uses: Vec<WireUse>,
    wires: BTreeMap<String, Wire>,
}

impl Needed {
    fn add(&mut self, set: &StringSet, policy: &PlanPolicy) -> Result<(), UseCaseError> {
        let used = wire_uses(set, policy)?;
        for wire_id in used.keys().filter(|id| !self.wires.contains_key(*id)).cloned().collect::<Vec<_>>() {
            let mut wires = set.basis.iter().flat_map(|basis| &basis.wires);
            let wire = wires.find(|wire| wire.wire_id == wire_id).ok_or_else(|| {
                UseCaseError::Internal(format!("a string set does not tell its wire {wire_id}"))
            })?;
            self.wires.insert(wire_id, crate::catalogue::read_wire(wire)?);
        }
        self.uses.push(used);
        Ok(())
    }
}

fn question(
    wire: &Wire,
    instruments: Vec<InstrumentNeed>,
    schedule: &Schedule,
    stock: &[FloorCoil],
    policy: &PlanPolicy,
    surplus_share: f64,
) -> WireQuestion {
    let of_wire = |coil: &&FloorCoil| coil.coil.wire_id.as_str() == wire.wire_id().as_str();
    let coils: Vec<&FloorCoil> = stock.iter().filter(of_wire).filter(|c| c.coil.state.is_usable()).collect();
    let lots: BTreeSet<&str> = coils.iter().map(|coil| coil.coil.lot_id.as_str()).collect();
    let lots: BTreeMap<&str, u32> = lots.into_iter().zip(0..).collect();
    let stock_coil = |(received_rank, coil): (u32, &&FloorCoil)| StockCoil {
        free: coil.free_of_others(),
        opened: coil.coil.state != becket_floor::CoilState::Sealed,
        received_rank,
        lot: lots.get(coil.coil.lot_id.as_str()).copied().unwrap_or_default(),
        margin: policy.own_margin(&coil.coil.estimate),
    };
    let builds = schedule.weeks.iter().map(|week| {
        week.builds.iter().map(|(kind, count)| Build { instrument: *kind, count: *count }).collect()
    });
    WireQuestion {
        instruments,
        weeks: builds.collect(),
        coils: (0..).zip(&coils).map(stock_coil).collect(),
        smallest_remnant: coils.iter().map(|coil| coil.smallest_remnant).max().unwrap_or_default(),
        policy: Policy {
            // Purchasing asks for wire and not for an order of work.
            due_window: None,
            ..policy.rules(1)
        },
        linear_density_g_m: wire.linear_density_g_m(),
        pack_masses_g: wire.packs().iter().map(|pack| pack.mass_g).collect(),
        surplus_share,
    }
}

fn shown(asked: &Asked, answer: &WireEstimate, schedule: &Schedule) -> WireNeed {
    let week = |(week, figures): (&crate::schedule::Week, &becket_purchase::WeekFigures)| WeekNeed {
        week_date: week.date.clone(),
        need: Some(metres(figures.need)),
        short: Some(metres(figures.short)),
    };
    let counts = answer.purchase.iter().flat_map(|purchase| &purchase.counts);
    let packs = asked.wire.packs().iter().zip(counts).filter(|(_, count)| **count > 0);
    let first_short = answer.first_short_week.and_then(|index| schedule.weeks.get(index));
    WireNeed {
        wire_id: asked.wire.wire_id().to_string(),
        need_length: Some(metres(answer.need)),
        need_mass: Some(kilograms(answer.need_mass_g)),
        pieces: Some(pieces(u32::try_from(answer.pieces).unwrap_or(u32::MAX))),
        free_stock: Some(metres(answer.free_stock)),
        covered: Some(metres(answer.covered)),
        short: Some(metres(answer.short)),
        first_short_week_date: first_short.map(|week| week.date.clone()).unwrap_or_default(),
        packs: packs
            .map(|(pack, count)| PackProposal {
                pack_label: pack.label.clone(),
                pack_mass: Some(kilograms(pack.mass_g)),
                count: i32::try_from(*count).unwrap_or(i32::MAX),
            })
            .collect(),
        weeks: schedule.weeks.iter().zip(&answer.weeks).map(week).collect(),
    }
}

fn read(request: &EstimateWireRequest) -> Result<(Schedule, PlanPolicy, f64), UseCaseError> {
    let mut faults: Vec<Fault> = Vec::new();
    let lines: &[ScheduleLine] = &request.lines;
    let schedule = read_schedule(lines).map_err(|found| faults.extend(found)).ok();
    let policy = read_plan_policy(request.policy.as_ref())
        .map_err(|found| faults.extend(within(found, "policy")))
        .ok();
    let share = request.surplus_share.unwrap_or(DEFAULT_SURPLUS);
    let checked = Fault::outside("surplus_share", share, 0.0, 1.0, "").map_or(Ok(share), Err);
    match (schedule, policy, keep(checked, &mut faults)) {
        (Some(schedule), Some(policy), Some(share)) => Ok((schedule, policy, share)),
        _ => Err(faults.into()),
    }
}
