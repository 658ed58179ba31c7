//! Planning a cut list.

use std::collections::BTreeSet;

use becket_api::convert::{read_plan_policy, within};
use becket_api::cutting::{PlanCutListRequest, PlanCutListResponse};
use becket_api::stringing::{Job, JobState};
use becket_floor::{
    CoilGuard, FloorCoil, ListId, NewCutList, PieceKind, PlanPolicy, SerialId, SerialNeed, StationId, predict,
};
use becket_service_kit::CallContext;
use becket_store::{StoredCutList, WriteContext};
use becket_units::Fault;
use prost::Message;

use crate::app::App;
use crate::error::{EndedJob, Missing, Tries, UseCaseError};
use crate::gather::gather;
use crate::ids::{day, id, keep};
use crate::messages;
use crate::planning::{WantedSet, drop_claimed, mark_recuts, wires_of};
use crate::upstream::{MAX_OPEN_JOBS, UpstreamError};
use crate::write::begin;
use crate::write::decode;

/// Most serials of one list.
pub(super) const MAX_SERIALS: usize = 200;
/// Jobs whose sets are held at the same time while it is found out what is left of them.
const JOBS_AT_ONCE: usize = 50;

/// What is to be planned.
struct Order {
    station_id: StationId,
    serial_ids: Vec<SerialId>,
    due_by_date: String,
    policy: PlanPolicy,
}

/// A list that is planned and not stored.
struct Planned {
    list: NewCutList,
    guards: Vec<CoilGuard>,
}

impl App {
    /// Plans the pieces of jobs on the stock and reserves the wire.
    pub(crate) async fn plan_cut_list(
        &self,
        call: &CallContext,
        mut request: PlanCutListRequest,
    ) -> Result<PlanCutListResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let order = read(&request)?;
        // Before the other service is asked: a station that is not there is told first.
        self.store.station(&order.station_id).await?;
        let needs = self.needs_of_jobs(call, &order).await?;
        let mut tries = Tries::more(3);
        loop {
            let planned = self.planned_list(call, &order, needs.clone()).await?;
            if request.validate_only {
                return Ok(unsaved(planned.list));
            }
            match self.store_list(&context, planned).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    /// What the serials need: those named, or all open ones of the station with something left to plan.
    async fn needs_of_jobs(
        &self,
        call: &CallContext,
        order: &Order,
    ) -> Result<Vec<SerialNeed>, UseCaseError> {
        if order.serial_ids.is_empty() {
            return self.needs_of_open_jobs(call, order).await;
        }
        let jobs = self.named_jobs(call, "serial_ids", &order.serial_ids).await?;
        self.needs_of_sets(call, wanted_sets(&jobs)).await
    }

    /// Jobs of which all is cut or on lists wait to be closed, and do not count against what fits on one list.
    async fn needs_of_open_jobs(
        &self,
        call: &CallContext,
        order: &Order,
    ) -> Result<Vec<SerialNeed>, UseCaseError> {
        let (station_id, due_by_date) = (order.station_id.as_str(), order.due_by_date.as_str());
        let too_many = |most: usize, what: &str| {
            let allowed = format!("a day by which at most {most} jobs of the station are due {what}");
            Err(Fault::new("due_by_date", due_by_date, allowed).into())
        };
        let jobs = self.stringing.open_jobs(call, station_id, due_by_date).await?;
        if jobs.is_empty() {
            return Err(UseCaseError::NoOpenJob { station_id: order.station_id.clone() });
        }
        if jobs.len() > MAX_OPEN_JOBS {
            return too_many(MAX_OPEN_JOBS, "and not closed");
        }
        let mut needs = Vec::new();
        for jobs in jobs.chunks(JOBS_AT_ONCE) {
            let found = self.needs_of_sets(call, wanted_sets(jobs)).await?;
            let mut left = found.clone();
            let serial_ids: Vec<SerialId> = left.iter().map(|need| need.serial.serial_id.clone()).collect();
            drop_claimed(&mut left, &self.store.claimed_pieces(&serial_ids).await?);
            let is_left = left.iter().map(|need| {
                need.pieces.iter().any(|p| order.policy.wound_cores || p.kind != PieceKind::WoundCore)
            });
            needs
                .extend(found.into_iter().zip(is_left).filter(|(_, is_left)| *is_left).map(|(need, _)| need));
            if needs.len() > MAX_SERIALS {
                return too_many(MAX_SERIALS, "with pieces left to plan");
            }
        }
        if needs.is_empty() { Err(UseCaseError::NothingToCut) } else { Ok(needs) }
    }

    /// Jobs that a field names; all of them are open or frozen.
    pub(super) async fn named_jobs(
        &self,
        call: &CallContext,
        field: &str,
        serial_ids: &[SerialId],
    ) -> Result<Vec<Job>, UseCaseError> {
        let answers = gather(serial_ids.to_vec(), |serial_id| {
            let (client, call) = (self.stringing.clone(), call.clone());
            async move { client.job(&call, serial_id.as_str()).await }
        });
        let mut jobs = Vec::with_capacity(serial_ids.len());
        let (mut missing, mut ended) = (Vec::new(), Vec::new());
        for (index, (serial_id, answer)) in serial_ids.iter().zip(answers.await?).enumerate() {
            let field = format!("{field}[{index}]");
            match answer {
                Ok(job) if matches!(job.state(), JobState::Open | JobState::Frozen) => jobs.push(job),
                Ok(job) => {
                    ended.push(EndedJob { field, serial_id: serial_id.clone(), state: job.state() });
                }
                Err(UpstreamError::NotFound) => {
                    missing.push(Missing { field, kind: "jobs", id: serial_id.to_string() });
                }
                Err(error) => return Err(error.into()),
            }
        }
        refuse_jobs(missing, ended)?;
        Ok(jobs)
    }

    /// Plans what is not cut and on no list, on the stock as it is now.
    async fn planned_list(
        &self,
        call: &CallContext,
        order: &Order,
        mut needs: Vec<SerialNeed>,
    ) -> Result<Planned, UseCaseError> {
        let serial_ids: Vec<SerialId> = needs.iter().map(|need| need.serial.serial_id.clone()).collect();
        drop_claimed(&mut needs, &self.store.claimed_pieces(&serial_ids).await?);
        needs.retain(|need| !need.pieces.is_empty());
        if needs.is_empty() {
            return Err(UseCaseError::NothingToCut);
        }
        let cuts = self.store.cuts_of_serials(&serial_ids).await?;
        needs.iter_mut().for_each(|need| mark_recuts(need, &cuts));
        let bench = self.bench(&order.station_id, &wires_of(&needs), None).await?;
        let coils = bench.coils.clone();
        let planned = self.plan(call, needs, bench.coils, &bench.station, &order.policy).await?;
        let mut list = NewCutList {
            station_id: order.station_id.clone(),
            serials: planned.serials,
            policy: order.policy,
            steps: planned.steps,
            shortages: planned.shortages,
            quality: planned.quality,
        };
        // Every list that is there already comes before this one.
        let ahead = coils.iter().map(|coil| (coil.coil.coil_id.clone(), coil.reserved_by_others)).collect();
        list.steps = predict(&list.clone().named(ListId::numbered(0)), &coils, &ahead).steps;
        let guards = guards(&list, &coils);
        Ok(Planned { list, guards })
    }

    async fn store_list(
        &self,
        context: &WriteContext,
        Planned { list, guards }: Planned,
    ) -> Result<PlanCutListResponse, UseCaseError> {
        let answer = Box::new(|stored: &StoredCutList| {
            PlanCutListResponse { cut_list: Some(messages::cut_list(stored)) }.encode_to_vec()
        });
        decode(&self.store.create_cut_list(context, list, guards, answer).await?.answer)
    }
}

/// Refuses what cannot be planned: all of it at once, and where jobs fail in different ways, as faults of their fields.
fn refuse_jobs(missing: Vec<Missing>, mut ended: Vec<EndedJob>) -> Result<(), UseCaseError> {
    match (missing.is_empty(), ended.len()) {
        (true, 0) => Ok(()),
        (false, 0) => Err(UseCaseError::ReferenceMissing(missing)),
        (true, 1) => match ended.pop() {
            Some(EndedJob { serial_id, state, .. }) => Err(UseCaseError::JobEnded { serial_id, state }),
            None => Ok(()),
        },
        (true, _) => Err(UseCaseError::JobsEnded(ended)),
        (false, _) => {
            let fault = |field: String, id: String| Fault::new(field, id, "a job that is open or frozen");
            let missing = missing.into_iter().map(|job| fault(job.field, job.id));
            let ended = ended.into_iter().map(|job| fault(job.field, job.serial_id.to_string()));
            Err(missing.chain(ended).collect::<Vec<Fault>>().into())
        }
    }
}

fn wanted_sets(jobs: &[Job]) -> Vec<WantedSet> {
    let wanted = |(index, job): (usize, &Job)| WantedSet {
        field: format!("serial_ids[{index}]"),
        serial_id: job.serial_id.clone(),
        due_date: job.due_date.clone(),
    };
    jobs.iter().enumerate().map(wanted).collect()
}

/// A plan that finds a coil mounted is void once the coil is taken off; all else the store checks by itself.
fn guards(list: &NewCutList, coils: &[FloorCoil]) -> Vec<CoilGuard> {
    let used: BTreeSet<&str> = list.steps.iter().map(|step| step.coil_id.as_str()).collect();
    let mounted =
        coils.iter().filter(|coil| coil.mounted.is_some() && used.contains(coil.coil.coil_id.as_str()));
    mounted
        .map(|coil| CoilGuard {
            coil_id: coil.coil.coil_id.clone(),
            version: coil.version,
            reserved_by_others: None,
        })
        .collect()
}

/// A list that nobody stored has no id, no etag and no times.
fn unsaved(list: NewCutList) -> PlanCutListResponse {
    let list = list.named(ListId::numbered(0));
    let stored = StoredCutList { list, created_us: 0, updated_us: 0 };
    let mut message = messages::cut_list(&stored);
    message.list_id.clear();
    message.etag.clear();
    (message.create_time, message.update_time) = (None, None);
    PlanCutListResponse { cut_list: Some(message) }
}

fn read(request: &PlanCutListRequest) -> Result<Order, UseCaseError> {
    let mut faults = Vec::new();
    let station_id = keep(id("station_id", &request.station_id, StationId::new), &mut faults);
    let serial_ids = read_serials("serial_ids", &request.serial_ids, &mut faults);
    let due_by_date = request.due_by_date.clone();
    if !due_by_date.is_empty() {
        if request.serial_ids.is_empty() {
            keep(day("due_by_date", &due_by_date), &mut faults);
        } else {
            let sent: String = due_by_date.chars().take(63).collect();
            faults.push(Fault::new("due_by_date", sent, "empty where serial_ids are given"));
        }
    }
    let policy =
        read_plan_policy(request.policy.as_ref()).map_err(|found| faults.extend(within(found, "policy")));
    match (station_id, policy) {
        (Some(station_id), Ok(policy)) if faults.is_empty() => {
            Ok(Order { station_id, serial_ids, due_by_date, policy })
        }
        _ => Err(faults.into()),
    }
}

/// Reads the serials that a field names, each once.
pub(super) fn read_serials(field: &str, texts: &[String], faults: &mut Vec<Fault>) -> Vec<SerialId> {
    if texts.len() > MAX_SERIALS {
        let given = format!("{} serials", texts.len());
        faults.push(Fault::new(field, given, format!("up to {MAX_SERIALS} serials")));
        return Vec::new();
    }
    let mut serials = Vec::with_capacity(texts.len());
    for (index, text) in texts.iter().enumerate() {
        let field = format!("{field}[{index}]");
        if texts.iter().take(index).any(|earlier| earlier == text) {
            faults.push(Fault::new(field, text.chars().take(63).collect::<String>(), "each serial once"));
        } else {
            serials.extend(keep(id(&field, text, SerialId::new), faults));
        }
    }
    serials
}
