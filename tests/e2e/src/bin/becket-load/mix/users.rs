//! The three users.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use becket_api::cutting::{
    ConfirmStepRequest, EstimateWireRequest, FinishCutListRequest, GetSerialRecordRequest,
    PlanCutListRequest, ReceiveCoilsRequest, ScheduleLine, StartCutListRequest,
};
use becket_api::document::{Format, parse_coils};
use becket_api::journal::ListEntriesRequest;
use becket_api::stringing::{GetJobRequest, GetStringSetRequest};
use becket_e2e::{Shop, demo};

use super::Sample;
use crate::Failure;

/// Most confirmations in a second that a station is prepared for.
const FASTEST_PER_S: u64 = 250;
/// Steps of a list, about.
const LIST_STEPS: u64 = 240;

/// A station: lists that are planned and wait, and the one that runs.
pub(super) struct Bench {
    shop: Shop,
    number: usize,
    serials: usize,
    waiting: VecDeque<(String, i32)>,
    running: Option<(String, i32)>,
}

impl Bench {
    pub(super) fn new(shop: Shop, number: usize) -> Self {
        Self { shop, number, serials: 0, waiting: VecDeque::new(), running: None }
    }

    /// Plans as many lists as may be cut in this time.
    pub(super) async fn prepare(&mut self, slice: Duration) -> Result<(), Failure> {
        let wanted = usize::try_from(slice.as_secs() * FASTEST_PER_S / LIST_STEPS + 1)?;
        while self.waiting.len() < wanted {
            self.plan().await?;
        }
        Ok(())
    }

    async fn plan(&mut self) -> Result<(), Failure> {
        self.serials += 1;
        let serial_id = format!("M{}-{:04}", self.number + 1, self.serials);
        let station_id = format!("bench-{}", self.number + 1);
        let jobs = demo::jobs()?;
        let mut job = jobs.first().cloned().ok_or("the demo has no job")?;
        job.serial_id.clone_from(&serial_id);
        job.station_id.clone_from(&station_id);
        self.shop.open_job(job).await?;
        let mut coils = parse_coils(demo::COILS, Format::Toml)?.coils;
        for coil in &mut coils {
            coil.coil_id = format!("{}-{serial_id}", coil.coil_id);
            coil.remaining_length_mm = None;
        }
        let request = ReceiveCoilsRequest { request_id: self.shop.request_id(), coils, validate_only: false };
        self.shop.coils.receive_coils(request).await?;
        let request = PlanCutListRequest {
            request_id: self.shop.request_id(),
            station_id,
            serial_ids: vec![serial_id],
            ..PlanCutListRequest::default()
        };
        let list = self.shop.lists.plan_cut_list(request).await?.into_inner().cut_list.ok_or("no list")?;
        let first = list.steps.first().ok_or("a list without steps")?.step_number;
        self.waiting.push_back((list.list_id, first));
        Ok(())
    }

    /// Confirms step by step; going from one list to the next is not counted.
    pub(super) async fn confirm_until(&mut self, end: Instant) -> Result<Sample, Failure> {
        let mut sample = Sample::new()?;
        while Instant::now() < end {
            let (list_id, step_number) = match self.running.take() {
                Some(running) => running,
                None => self.begin().await?,
            };
            let request = ConfirmStepRequest {
                request_id: self.shop.request_id(),
                list_id: list_id.clone(),
                step_number,
                count: 1,
            };
            let sent = Instant::now();
            let answer = match self.shop.lists.confirm_step(request).await {
                Ok(answer) => answer.into_inner(),
                // Two lists share a coil that hangs elsewhere: the list is given up.
                Err(status) if status.code() == tonic::Code::FailedPrecondition => {
                    self.end(list_id).await?;
                    continue;
                }
                Err(status) => return Err(status.into()),
            };
            sample.record(sent);
            match answer.next {
                Some(next) => self.running = Some((list_id, next.step_number)),
                None => self.end(list_id).await?,
            }
        }
        Ok(sample)
    }

    async fn begin(&mut self) -> Result<(String, i32), Failure> {
        let (list_id, first) = self.waiting.pop_front().ok_or("too few lists were planned")?;
        let request = StartCutListRequest {
            request_id: self.shop.request_id(),
            list_id: list_id.clone(),
            etag: String::new(),
        };
        self.shop.lists.start_cut_list(request).await?;
        Ok((list_id, first))
    }

    async fn end(&mut self, list_id: String) -> Result<(), Failure> {
        let request =
            FinishCutListRequest { request_id: self.shop.request_id(), list_id, give_up_pending: true };
        self.shop.lists.finish_cut_list(request).await?;
        Ok(())
    }
}

/// The ERP: records and sets of serials, jobs, and what the journal tells.
pub(super) struct Erp {
    shop: Shop,
}

impl Erp {
    pub(super) fn new(shop: Shop) -> Self {
        Self { shop }
    }

    pub(super) async fn read_until(&mut self, end: Instant) -> Result<Sample, Failure> {
        let serial_id = || "M1-0001".to_owned();
        let mut sample = Sample::new()?;
        while Instant::now() < end {
            let sent = Instant::now();
            match sample.calls % 4 {
                0 => drop(
                    self.shop
                        .records
                        .get_serial_record(GetSerialRecordRequest { serial_id: serial_id() })
                        .await?,
                ),
                1 => {
                    drop(self.shop.sets.get_string_set(GetStringSetRequest { serial_id: serial_id() }).await?)
                }
                2 => drop(self.shop.jobs.get_job(GetJobRequest { serial_id: serial_id() }).await?),
                _ => drop(self.shop.journal.list_entries(ListEntriesRequest::default()).await?),
            }
            sample.record(sent);
        }
        Ok(sample)
    }
}

/// Purchasing: the wire of the demo's build schedule.
pub(super) struct Purchasing {
    shop: Shop,
    lines: Vec<ScheduleLine>,
}

impl Purchasing {
    pub(super) fn new(shop: Shop) -> Result<Self, Failure> {
        Ok(Self { shop, lines: demo::schedule()? })
    }

    pub(super) async fn estimate_until(&mut self, end: Instant) -> Result<Sample, Failure> {
        let mut sample = Sample::new()?;
        while Instant::now() < end {
            let sent = Instant::now();
            // The schedule alone: jobs of the stations grow from round to round.
            let request = EstimateWireRequest {
                lines: self.lines.clone(),
                include_open_jobs: Some(false),
                ..EstimateWireRequest::default()
            };
            self.shop.purchasing.estimate_wire(request).await?;
            sample.record(sent);
        }
        Ok(sample)
    }
}
