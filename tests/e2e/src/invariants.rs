//! What must hold at every moment, whatever happened before.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::cutting::{
    Coil, CutList, CutStep, GetCutListRequest, ListCoilsRequest, ListCutListsRequest, StepKind, StepState,
};
use becket_api::journal::{Entry, ListEntriesRequest};
use tonic::Status;

use crate::client::Shop;

/// Page size that makes lists of the demo shop take several pages.
const PAGE: i32 = 50;

impl Shop {
    /// All coils, by id.
    ///
    /// # Errors
    /// What the server answers.
    pub async fn all_coils(&mut self) -> Result<BTreeMap<String, Coil>, Status> {
        let mut coils = BTreeMap::new();
        let mut page_token = String::new();
        loop {
            let request = ListCoilsRequest { page_size: PAGE, page_token, ..ListCoilsRequest::default() };
            let page = self.coils.list_coils(request).await?.into_inner();
            coils.extend(page.coils.into_iter().map(|coil| (coil.coil_id.clone(), coil)));
            if page.next_page_token.is_empty() {
                return Ok(coils);
            }
            page_token = page.next_page_token;
        }
    }

    /// All cut lists with their steps, newest first.
    ///
    /// # Errors
    /// What the server answers.
    pub async fn all_lists(&mut self) -> Result<Vec<CutList>, Status> {
        let mut lists = Vec::new();
        let mut page_token = String::new();
        loop {
            let request =
                ListCutListsRequest { page_size: PAGE, page_token, ..ListCutListsRequest::default() };
            let page = self.lists.list_cut_lists(request).await?.into_inner();
            for head in page.cut_lists {
                lists.push(self.list(&head.list_id).await?);
            }
            if page.next_page_token.is_empty() {
                return Ok(lists);
            }
            page_token = page.next_page_token;
        }
    }

    /// One cut list with its steps.
    ///
    /// # Errors
    /// What the server answers.
    pub async fn list(&mut self, list_id: &str) -> Result<CutList, Status> {
        let request = GetCutListRequest { list_id: list_id.to_owned() };
        let answer = self.lists.get_cut_list(request).await?.into_inner();
        answer.cut_list.ok_or_else(|| Status::internal("the answer lacks the list"))
    }

    /// The whole journal.
    ///
    /// # Errors
    /// What the server answers.
    pub async fn all_entries(&mut self) -> Result<Vec<Entry>, Status> {
        let mut entries = Vec::new();
        let mut page_token = String::new();
        loop {
            let request = ListEntriesRequest { page_size: 500, page_token, ..ListEntriesRequest::default() };
            let page = self.journal.list_entries(request).await?.into_inner();
            entries.extend(page.entries);
            if page.next_page_token.is_empty() {
                return Ok(entries);
            }
            page_token = page.next_page_token;
        }
    }
}

/// Whether a step cuts a piece.
#[must_use]
pub fn is_cut(step: &CutStep) -> bool {
    step.kind == i32::from(StepKind::Cut)
}

/// Whether a step is in this state.
#[must_use]
pub fn is(step: &CutStep, state: StepState) -> bool {
    step.state == i32::from(state)
}

/// Whether a step lies behind: done, or done and spoiled later.
#[must_use]
pub fn is_behind(step: &CutStep) -> bool {
    is(step, StepState::Done) || is(step, StepState::Spoiled)
}

/// Checks the stock against all lists: each balance holds to the micrometre, what is booked as cut and as scrapped is
/// what the steps say, and what is reserved is what they still want and is there.
///
/// Holds for a stock from which only these lists took wire, and none was scrapped apart from them.
///
/// # Errors
/// All that does not hold.
pub fn check_stock(coils: &BTreeMap<String, Coil>, lists: &[CutList]) -> Result<(), String> {
    let mut wrong = Vec::new();
    let mut cut: BTreeMap<&str, i64> = BTreeMap::new();
    let mut scrapped: BTreeMap<&str, i64> = BTreeMap::new();
    let mut wanted: BTreeMap<&str, i64> = BTreeMap::new();
    for step in lists.iter().filter(|list| list.end_time.is_none()).flat_map(|list| &list.steps) {
        if is(step, StepState::Pending) && step.kind != i32::from(StepKind::Unmount) {
            *wanted.entry(&step.coil_id).or_default() += step.length_um;
        }
    }
    for step in lists.iter().flat_map(|list| &list.steps).filter(|step| is_behind(step)) {
        let good = is_cut(step) && is(step, StepState::Done);
        *(if good { &mut cut } else { &mut scrapped }).entry(&step.coil_id).or_default() += step.length_um;
    }
    for (id, coil) in coils {
        let balance = coil.received_um - coil.cut_um - coil.scrapped_um + coil.adjusted_um;
        let of = |sums: &BTreeMap<&str, i64>| sums.get(id.as_str()).copied().unwrap_or(0);
        let mut hold = |what: &str, is: i64, should: i64| {
            if is != should {
                wrong.push(format!("coil {id}: {what} is {is} um and should be {should} um"));
            }
        };
        hold("what remains", coil.remaining_um, balance);
        hold("what is cut", coil.cut_um, of(&cut));
        hold("what is scrapped", coil.scrapped_um, of(&scrapped));
        hold("what is reserved", coil.reserved_um, of(&wanted));
        if coil.remaining_um < 0 || coil.reserved_um > coil.remaining_um {
            wrong.push(format!("coil {id}: {} um reserved of {} um", coil.reserved_um, coil.remaining_um));
        }
    }
    if wrong.is_empty() { Ok(()) } else { Err(wrong.join("\n")) }
}

/// Checks that no piece is cut, or meant to be cut, twice, and returns all that are: (serial, piece).
///
/// # Errors
/// The pieces that are.
pub fn check_pieces(lists: &[CutList]) -> Result<BTreeSet<(String, String)>, String> {
    let mut seen = BTreeSet::new();
    let mut twice = Vec::new();
    for list in lists {
        let live = list.end_time.is_none();
        let counts = |step: &&CutStep| is(step, StepState::Done) || (live && is(step, StepState::Pending));
        for step in list.steps.iter().filter(|step| is_cut(step)).filter(counts) {
            if !seen.insert((step.serial_id.clone(), step.piece_id.clone())) {
                twice.push(format!("piece {} of {} (list {})", step.piece_id, step.serial_id, list.list_id));
            }
        }
    }
    if twice.is_empty() { Ok(seen) } else { Err(format!("cut twice: {}", twice.join(", "))) }
}

/// Checks that the sequence of the journal has no gap, and that it begins as it did when it was read before.
///
/// # Errors
/// What does not hold.
pub fn check_journal(entries: &[Entry], before: &[Entry]) -> Result<(), String> {
    for (at, entry) in (1_i64..).zip(entries) {
        if entry.sequence != at {
            return Err(format!("the journal has {} where {at} should be", entry.sequence));
        }
    }
    match entries.get(..before.len()) {
        Some(beginning) if beginning == before => Ok(()),
        _ => Err(format!("the first {} entries of the journal are not what they were", before.len())),
    }
}
