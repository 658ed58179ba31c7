//! Planning a cut list.

use std::collections::BTreeSet;

use becket_api::convert::{read_plan_policy, within};
use becket_api::cutting::{PlanCutListRequest, PlanCutListResponse};
use becket_api::stringing::{Job, JobState};
use becket_floor::{CoilGuard, FloorCoil, ListId, NewCutList, PlanPolicy, SerialId, SerialNeed, StationId};
use becket_service_kit::CallContext;
use becket_store::{StoredCutList, WriteContext};
use becket_units::Fault;
use prost::Message;

use crate::app::App;
use crate::error::{Missing, Tries, UseCaseError};
use crate::gather::gather;
use crate::ids::{day, id, keep};
use crate::messages;
use crate::planning::{WantedSet, drop_claimed, mark_recuts, wires_of};
use crate::upstream::UpstreamError;
use crate::write::{begin, decode};

/// Most serials of one list.
const MAX_SERIALS: usize = 200;

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
        let wanted = self.wanted_sets(call, &order).await?;
        let needs = self.needs_of_sets(call, wanted).await?;
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

    /// The serials with their due dates: those named, or all open ones of the station.
    async fn wanted_sets(&self, call: &CallContext, order: &Order) -> Result<Vec<WantedSet>, UseCaseError> {
        let jobs = if order.serial_ids.is_empty() {
            let (station_id, due_by_date) = (order.station_id.as_str(), order.due_by_date.as_str());
            let jobs = self.stringing.open_jobs(call, station_id, due_by_date, MAX_SERIALS).await?;
            if jobs.is_empty() {
                return Err(UseCaseError::NoOpenJob { station_id: order.station_id.clone() });
            }
            if jobs.len() > MAX_SERIALS {
                let allowed =
                    format!("a day by which at most {MAX_SERIALS} open jobs of the station are due");
                return Err(Fault::new("due_by_date", due_by_date, allowed).into());
            }
            jobs
        } else {
            self.named_jobs(call, &order.serial_ids).await?
        };
        let wanted = |(index, job): (usize, Job)| WantedSet {
            field: format!("serial_ids[{index}]"),
            serial_id: job.serial_id,
            due_date: job.due_date,
        };
        Ok(jobs.into_iter().enumerate().map(wanted).collect())
    }

    async fn named_jobs(
        &self,
        call: &CallContext,
        serial_ids: &[SerialId],
    ) -> Result<Vec<Job>, UseCaseError> {
        let answers = gather(serial_ids.to_vec(), |serial_id| {
            let (client, call) = (self.stringing.clone(), call.clone());
            async move { client.job(&call, serial_id.as_str()).await }
        });
        let mut jobs = Vec::with_capacity(serial_ids.len());
        let mut missing = Vec::new();
        for (index, (serial_id, answer)) in serial_ids.iter().zip(answers.await?).enumerate() {
            match answer {
                Ok(job) if matches!(job.state(), JobState::Open | JobState::Frozen) => jobs.push(job),
                Ok(job) => {
                    return Err(UseCaseError::JobEnded { serial_id: serial_id.clone(), state: job.state() });
                }
                Err(UpstreamError::NotFound) => {
                    let (field, id) = (format!("serial_ids[{index}]"), serial_id.to_string());
                    missing.push(Missing { field, kind: "jobs", id });
                }
                Err(error) => return Err(error.into()),
            }
        }
        if missing.is_empty() { Ok(jobs) } else { Err(UseCaseError::ReferenceMissing(missing)) }
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
        for need in &mut needs {
            mark_recuts(need, &self.store.cuts_of_serial(&need.serial.serial_id).await?);
        }
        let bench = self.bench(&order.station_id, &wires_of(&needs), None).await?;
        let coils = bench.coils.clone();
        let planned = self.plan(call, needs, bench.coils, &bench.station, &order.policy).await?;
        let list = NewCutList {
            station_id: order.station_id.clone(),
            serials: planned.serials,
            policy: order.policy,
            steps: planned.steps,
            shortages: planned.shortages,
        };
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
    let serial_ids = read_serials(&request.serial_ids, &mut faults);
    let due_by_date = request.due_by_date.clone();
    if !due_by_date.is_empty() {
        if request.serial_ids.is_empty() {
            keep(day("due_by_date", &due_by_date), &mut faults);
        } else {
            faults.push(Fault::new("due_by_date", "a day", "empty where serial_ids are given"));
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

fn read_serials(texts: &[String], faults: &mut Vec<Fault>) -> Vec<SerialId> {
    if texts.len() > MAX_SERIALS {
        let given = format!("{} serials", texts.len());
        faults.push(Fault::new("serial_ids", given, format!("up to {MAX_SERIALS} serials")));
        return Vec::new();
    }
    let mut serials = Vec::with_capacity(texts.len());
    for (index, text) in texts.iter().enumerate() {
        let field = format!("serial_ids[{index}]");
        if texts.iter().take(index).any(|earlier| earlier == text) {
            faults.push(Fault::new(field, text.chars().take(63).collect::<String>(), "each serial once"));
        } else {
            serials.extend(keep(id(&field, text, SerialId::new), faults));
        }
    }
    serials
}
