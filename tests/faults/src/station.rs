//! One wire station: opens a job, receives wire, plans, starts, confirms step by step, reports a broken string now and then.

use std::sync::Arc;
use std::time::{Duration, Instant};

use becket_api::cutting::{
    ConfirmStepRequest, FinishCutListRequest, PlanCutListRequest, ReceiveCoilsRequest,
    ReportSpoiledPieceRequest, SpoilCause, StartCutListRequest,
};
use becket_api::document::{Format, parse_coils};
use becket_api::stringing::OpenJobRequest;
use becket_e2e::invariants::is_cut;
use becket_e2e::random::Random;
use becket_e2e::{Shop, demo, reason};
use tonic::{Code, Request, Status};

use crate::ledger::Ledger;

/// Time that a station gives one call.
pub(crate) const DEADLINE: Duration = Duration::from_secs(10);
/// A write that is not answered in this time, over all attempts, is a fault.
const SETTLED_WITHIN: Duration = Duration::from_secs(120);
/// Pause before the next attempt.
const PAUSE: Duration = Duration::from_millis(20);
/// One piece of this many breaks.
const BREAKS: usize = 12;

/// What comes next.
#[derive(Debug, Clone)]
enum Next {
    Open,
    Receive,
    Plan,
    Start(String, i32),
    Confirm(String, i32),
    Spoil(String, i32),
    Finish(String),
}

/// Why a write is given up.
enum Refused {
    /// Two lists share a coil, and it hangs at the other station. The list is given up, and another one planned.
    CoilAtAnotherStation,
    /// What should not have been.
    Fault(String),
}

impl From<Refused> for String {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::CoilAtAnotherStation => {
                "a coil is at another station, and no list was running".to_owned()
            }
            Refused::Fault(fault) => fault,
        }
    }
}

/// A station. It goes to another door, that is another replica, when one does not answer.
pub(crate) struct Station {
    number: usize,
    id: String,
    doors: Vec<Shop>,
    door: usize,
    ledger: Arc<Ledger>,
    random: Random,
    serials: usize,
    next: Next,
}

/// Sends one write until it is answered, always under the same request id, and enters the answer into the ledger.
macro_rules! settle {
    ($self:ident, $client:ident.$method:ident($request:expr)) => {{
        let body = $request;
        let begun = Instant::now();
        loop {
            let mut shop = $self.doors[$self.door].clone();
            let mut request = Request::new(body.clone());
            request.set_timeout(DEADLINE);
            let sent = Instant::now();
            match shop.$client.$method(request).await {
                Ok(answer) => {
                    $self.ledger.known().acknowledge($self.number, body.request_id.clone(), sent.elapsed());
                    break Ok(answer.into_inner());
                }
                Err(status) => {
                    if let Err(fault) = $self.weigh(stringify!($method), &status, begun).await {
                        break Err(fault);
                    }
                }
            }
        }
    }};
}

impl Station {
    pub(crate) fn new(number: usize, doors: Vec<Shop>, ledger: Arc<Ledger>, seed: u64) -> Self {
        let door = number % doors.len();
        let id = format!("bench-{}", number + 1);
        let random = Random::new(seed ^ (number as u64 + 1));
        Self { number, id, doors, door, ledger, random, serials: 0, next: Next::Open }
    }

    /// Does the next write.
    ///
    /// # Errors
    /// A refusal that should not have been, or a write that was never answered.
    pub(crate) async fn step(&mut self) -> Result<(), String> {
        self.next = match self.next.clone() {
            Next::Open => self.open().await?,
            Next::Receive => self.receive().await?,
            Next::Plan => self.plan().await?,
            Next::Start(list_id, first) => self.start(list_id, first).await?,
            Next::Confirm(list_id, step) => self.confirm(list_id, step).await?,
            Next::Spoil(list_id, step) => self.spoil(list_id, step).await?,
            Next::Finish(list_id) => self.finish(list_id).await?,
        };
        Ok(())
    }

    fn request_id(&self) -> String {
        self.doors[0].request_id()
    }

    fn serial(&self) -> String {
        format!("F{}-{:04}", self.number + 1, self.serials)
    }

    async fn open(&mut self) -> Result<Next, String> {
        self.serials += 1;
        let jobs = demo::jobs().expect("the demo can be read");
        let mut job = jobs[self.serials % 2].clone();
        job.serial_id = self.serial();
        job.station_id.clone_from(&self.id);
        let request = OpenJobRequest { request_id: self.request_id(), job: Some(job), validate_only: false };
        settle!(self, jobs.open_job(request))?;
        Ok(Next::Receive)
    }

    /// Receives as much as the demo's whole stock, so that a station never runs out of wire for long.
    async fn receive(&mut self) -> Result<Next, String> {
        let mut coils = parse_coils(demo::COILS, Format::Toml).expect("the demo can be read").coils;
        for coil in &mut coils {
            coil.coil_id = format!("{}-{}", coil.coil_id, self.serial());
            coil.remaining_length_mm = None;
        }
        let request = ReceiveCoilsRequest { request_id: self.request_id(), coils, validate_only: false };
        settle!(self, coils.receive_coils(request))?;
        Ok(Next::Plan)
    }

    async fn plan(&mut self) -> Result<Next, String> {
        let request = PlanCutListRequest {
            request_id: self.request_id(),
            station_id: self.id.clone(),
            serial_ids: vec![self.serial()],
            ..PlanCutListRequest::default()
        };
        let list =
            settle!(self, lists.plan_cut_list(request))?.cut_list.ok_or("the answer lacks the list")?;
        let first = list.steps.first().ok_or("the list has no steps")?.step_number;
        Ok(Next::Start(list.list_id, first))
    }

    async fn start(&mut self, list_id: String, first: i32) -> Result<Next, String> {
        let request = StartCutListRequest {
            request_id: self.request_id(),
            list_id: list_id.clone(),
            etag: String::new(),
        };
        settle!(self, lists.start_cut_list(request))?;
        Ok(Next::Confirm(list_id, first))
    }

    async fn confirm(&mut self, list_id: String, step_number: i32) -> Result<Next, String> {
        let request = ConfirmStepRequest {
            request_id: self.request_id(),
            list_id: list_id.clone(),
            step_number,
            count: 1,
        };
        let answer = match settle!(self, lists.confirm_step(request.clone())) {
            Ok(answer) => answer,
            Err(Refused::CoilAtAnotherStation) => return Ok(Next::Finish(list_id)),
            Err(Refused::Fault(fault)) => return Err(fault),
        };
        let next = answer.next.as_ref().map(|step| step.step_number);
        let breaks = answer.confirmed.first().is_some_and(is_cut) && self.random.once_in(BREAKS);
        self.ledger.known().confirm(request, answer);
        Ok(match next {
            _ if breaks => Next::Spoil(list_id, step_number),
            Some(next) => Next::Confirm(list_id, next),
            None => Next::Finish(list_id),
        })
    }

    async fn spoil(&mut self, list_id: String, step_number: i32) -> Result<Next, String> {
        let request = ReportSpoiledPieceRequest {
            request_id: self.request_id(),
            list_id: list_id.clone(),
            step_number,
            cause: SpoilCause::Broken.into(),
            lost_length_mm: None,
        };
        let list = settle!(self, lists.report_spoiled_piece(request))?.cut_list;
        let list = list.ok_or("the answer lacks the list")?;
        self.ledger.known().spoiled.insert((list_id.clone(), step_number));
        let pending = list.steps.iter().find(|step| step.step_number > step_number);
        Ok(match pending {
            Some(next) => Next::Confirm(list_id, next.step_number),
            None => Next::Finish(list_id),
        })
    }

    async fn finish(&mut self, list_id: String) -> Result<Next, String> {
        let request = FinishCutListRequest { request_id: self.request_id(), list_id, give_up_pending: true };
        settle!(self, lists.finish_cut_list(request))?;
        Ok(Next::Open)
    }

    /// Decides whether an attempt may be made again, and waits until it may.
    async fn weigh(&mut self, what: &str, status: &Status, begun: Instant) -> Result<(), Refused> {
        let shown = || format!("{} {what}: {status:?}", self.id);
        let ours = reason(status);
        let again = match ours.as_deref() {
            // The connection broke, or this side's own time ran out.
            None => matches!(
                status.code(),
                Code::Unavailable | Code::Unknown | Code::Cancelled | Code::DeadlineExceeded
            ),
            Some("STOCK_CHANGED" | "OVERLOADED" | "UPSTREAM_UNAVAILABLE" | "DEADLINE") => true,
            Some(_) => matches!(status.code(), Code::Unavailable | Code::ResourceExhausted),
        };
        if !again {
            if ours.as_deref() == Some("STATE_FORBIDS")
                && status.message().contains("take it off there first")
            {
                return Err(Refused::CoilAtAnotherStation);
            }
            return Err(Refused::Fault(format!("refused: {}", shown())));
        }
        if begun.elapsed() > SETTLED_WITHIN {
            return Err(Refused::Fault(format!("not answered in {SETTLED_WITHIN:?}: {}", shown())));
        }
        self.ledger.known().unanswered += 1;
        self.door = (self.door + 1) % self.doors.len();
        tokio::time::sleep(PAUSE).await;
        Ok(())
    }
}
