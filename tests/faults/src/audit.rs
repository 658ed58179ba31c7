//! Comparing what the stations know with what the services tell.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::cutting::{CutList, CutStep, ListCutListsRequest, StepState};
use becket_api::journal::ListEntriesRequest;
use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_e2e::Shop;
use becket_e2e::invariants::{check_pieces, check_stock, is, is_behind};
use becket_e2e::random::Random;
use tonic::Status;
use tonic::transport::Channel;

use crate::ledger::Known;

/// Entries of a page of the journal.
const PAGE: i32 = 500;
/// Largest page that is accepted, in bytes.
const LARGEST_PAGE: usize = 64 << 20;
/// Request ids of this harness begin so.
const OURS: &str = "e2e-";

/// What was found so far, so that every round reads only what is new.
#[derive(Default)]
pub(crate) struct Audit {
    ended: BTreeMap<String, CutList>,
    /// Moments at which each of our requests was booked.
    booked: BTreeMap<String, BTreeSet<(i64, i32)>>,
    /// Requests that loaded the shop.
    setup: BTreeSet<String>,
    journals: Vec<Journal>,
}

/// A journal, as far as it was read.
struct Journal {
    client: JournalServiceClient<Channel>,
    /// Token of the last page, which may have grown, and the entries of those before it.
    page_token: String,
    entries_before_page: i64,
}

impl Journal {
    fn at(channel: &Channel) -> Self {
        let client = JournalServiceClient::new(channel.clone()).max_decoding_message_size(LARGEST_PAGE);
        Self { client, page_token: String::new(), entries_before_page: 0 }
    }
}

/// What does not hold, in the columns of the table.
#[derive(Debug, Default, Clone)]
pub(crate) struct Findings {
    pub(crate) lost: Vec<String>,
    pub(crate) twice: Vec<String>,
    pub(crate) balances: Vec<String>,
    pub(crate) other: Vec<String>,
}

impl Audit {
    /// Begins with a shop that was just loaded. Services with data of their own have a journal each.
    pub(crate) async fn begin(shop: &Shop, split: bool) -> Self {
        let mut journals = vec![Journal::at(&shop.cutting)];
        if split {
            journals.push(Journal::at(&shop.stringing));
        }
        let mut audit = Self { journals, ..Self::default() };
        let mut findings = Findings::default();
        audit.read_journals(&mut findings).await.expect("the journal can be read");
        assert!(findings.other.is_empty(), "{findings:?}");
        audit.setup = audit.booked.keys().cloned().collect();
        audit
    }

    /// Looks for everything that was ever acknowledged. Nobody may write meanwhile.
    ///
    /// # Errors
    /// What the server answers.
    pub(crate) async fn check(&mut self, shop: &mut Shop, known: &Known) -> Result<Findings, Status> {
        let mut findings = Findings::default();
        self.read_journals(&mut findings).await?;
        self.check_requests(known, &mut findings);
        let lists = self.lists(shop).await?;
        check_steps(&lists, known, &mut findings);
        findings.twice.extend(check_pieces(&lists).err());
        let coils = shop.all_coils().await?;
        if let Err(faults) = check_stock(&coils, &lists) {
            findings.balances.extend(faults.lines().map(str::to_owned));
        }
        Ok(findings)
    }

    async fn read_journals(&mut self, findings: &mut Findings) -> Result<(), Status> {
        for journal in &mut self.journals {
            loop {
                let request = ListEntriesRequest {
                    page_size: PAGE,
                    page_token: journal.page_token.clone(),
                    ..ListEntriesRequest::default()
                };
                let page = journal.client.list_entries(request).await?.into_inner();
                for (at, entry) in (journal.entries_before_page + 1..).zip(&page.entries) {
                    if entry.sequence != at {
                        let gap = format!("the journal has {} where {at} should be", entry.sequence);
                        findings.other.push(gap);
                    }
                    if entry.request_id.starts_with(OURS) {
                        let time =
                            entry.entry_time.as_ref().map_or((0, 0), |time| (time.seconds, time.nanos));
                        self.booked.entry(entry.request_id.clone()).or_default().insert(time);
                    }
                }
                if page.next_page_token.is_empty() {
                    break;
                }
                journal.page_token = page.next_page_token;
                journal.entries_before_page += i64::try_from(page.entries.len()).unwrap_or(0);
            }
        }
        Ok(())
    }

    fn check_requests(&self, known: &Known, findings: &mut Findings) {
        for id in known.requests.iter().filter(|id| !self.booked.contains_key(*id)) {
            findings.lost.push(format!("{id} was answered and is not in the journal"));
        }
        for (id, moments) in &self.booked {
            if moments.len() > 1 {
                findings.twice.push(format!("{id} was booked {} times", moments.len()));
            }
            if !known.requests.contains(id) && !self.setup.contains(id) {
                findings.other.push(format!("{id} is in the journal and was never answered"));
            }
        }
    }

    /// All lists; those that have ended are read once.
    async fn lists(&mut self, shop: &mut Shop) -> Result<Vec<CutList>, Status> {
        let mut lists = Vec::new();
        let mut page_token = String::new();
        loop {
            let request =
                ListCutListsRequest { page_size: 100, page_token, ..ListCutListsRequest::default() };
            let page = shop.lists.list_cut_lists(request).await?.into_inner();
            for head in page.cut_lists {
                let list = match self.ended.get(&head.list_id) {
                    Some(list) if list.etag == head.etag => list.clone(),
                    _ => shop.list(&head.list_id).await?,
                };
                if list.end_time.is_some() {
                    self.ended.insert(list.list_id.clone(), list.clone());
                }
                lists.push(list);
            }
            if page.next_page_token.is_empty() {
                return Ok(lists);
            }
            page_token = page.next_page_token;
        }
    }
}

/// What was acknowledged of the steps is there, and nothing else is.
fn check_steps(lists: &[CutList], known: &Known, findings: &mut Findings) {
    let behind: BTreeMap<(String, i32), &CutStep> = lists
        .iter()
        .flat_map(|list| list.steps.iter().map(|step| ((list.list_id.clone(), step.step_number), step)))
        .filter(|(_, step)| is_behind(step))
        .collect();
    let what = |step: &CutStep| {
        let piece = (step.serial_id.clone(), step.piece_id.clone(), step.length_um);
        (step.kind, step.coil_id.clone(), piece, step.done_time, step.done_by.clone())
    };
    for (place, step) in &known.steps {
        match behind.get(place) {
            Some(there) if what(there) == what(step) => {}
            Some(_) => findings.lost.push(format!("step {place:?} is not what was acknowledged")),
            None => findings.lost.push(format!("step {place:?} was acknowledged and is not done")),
        }
    }
    for place in behind.keys().filter(|place| !known.steps.contains_key(*place)) {
        findings.other.push(format!("step {place:?} is done, and nobody confirmed it"));
    }
    let spoiled =
        behind.iter().filter(|(_, step)| is(step, StepState::Spoiled)).map(|(place, _)| place.clone());
    let spoiled: BTreeSet<_> = spoiled.collect();
    for place in known.spoiled.difference(&spoiled) {
        findings.lost.push(format!("step {place:?} was reported as spoiled and is not"));
    }
    for place in spoiled.difference(&known.spoiled) {
        findings.other.push(format!("step {place:?} is spoiled, and nobody reported it"));
    }
}

/// A request that is sent again, long after its answer, gets that answer.
///
/// # Errors
/// What the server answers.
pub(crate) async fn check_repeat(
    shop: &mut Shop,
    known: &(becket_api::cutting::ConfirmStepRequest, becket_api::cutting::ConfirmStepResponse),
) -> Result<Option<String>, Status> {
    let (request, first) = known;
    let again = shop.lists.confirm_step(request.clone()).await?.into_inner();
    Ok((again != *first).then(|| format!("a repeat of {} was answered differently", request.request_id)))
}

/// One of the kept answers.
pub(crate) fn drawn(
    known: &Known,
    random: &mut Random,
) -> Option<(becket_api::cutting::ConfirmStepRequest, becket_api::cutting::ConfirmStepResponse)> {
    (!known.answers.is_empty()).then(|| random.choose(&known.answers).clone())
}
