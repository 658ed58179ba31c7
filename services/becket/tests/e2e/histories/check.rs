//! Whether what was recorded can be explained.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use becket_api::cutting::{Coil, CutList, CutStep, StepKind, StepState};
use becket_api::journal::Entry;
use becket_e2e::history::{
    CoilEvent, CoilModel, CoilState, ListEvent, ListModel, Model, Timed, linearisable,
};
use becket_e2e::invariants::{check_pieces, is, is_behind, is_cut};
use prost_types::Struct;
use prost_types::value::Kind;

use super::floor::{Change, Counted, Recorded, done};

/// Histories of single objects.
#[derive(Clone)]
pub(super) struct Histories {
    pub(super) lists: BTreeMap<String, Vec<Timed<ListEvent>>>,
    pub(super) coils: BTreeMap<String, Vec<Timed<CoilEvent>>>,
    starts: BTreeMap<String, CoilState>,
}

impl fmt::Display for Histories {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let events: usize = self.coils.values().map(Vec::len).sum();
        let steps: usize = self.lists.values().map(Vec::len).sum();
        let (lists, coils) = (self.lists.len(), self.coils.len());
        write!(f, "{lists} lists with {steps} events, {coils} coils with {events} events")
    }
}

impl Histories {
    /// Sorts what was recorded by object. The journal tells what lists count on that the service planned anew by itself; the lists, as
    /// they are at the end, what became of confirmations that nobody was told of.
    pub(super) fn of(
        recorded: &Recorded,
        before: &BTreeMap<String, Coil>,
        lists: &[CutList],
        entries: &[Entry],
    ) -> Result<Self, String> {
        let start = |coil: &Coil| {
            let remaining_um = coil.remaining_um;
            (coil.coil_id.clone(), CoilState { remaining_um, ..CoilState::default() })
        };
        let starts = before.values().chain(&recorded.new_coils).map(start).collect();
        let mut coils: BTreeMap<String, Vec<Timed<CoilEvent>>> = BTreeMap::new();
        for change in &with_plans(recorded, entries)? {
            for (coil, operation) in by_coil(&change.operation) {
                let event = Timed { called: change.called, answered: change.answered, operation };
                coils.entry(coil).or_default().push(event);
            }
        }
        for event in unacknowledged(recorded, lists)? {
            let (coil, operation) = event.operation;
            let event = Timed { called: event.called, answered: event.answered, operation };
            coils.entry(coil).or_default().push(event);
        }
        Ok(Self { lists: recorded.lists.clone(), coils, starts })
    }

    /// Whether the history of each object is linearisable.
    pub(super) fn check(&self) -> Result<(), String> {
        self.lists.keys().try_for_each(|list| self.check_list(list))?;
        self.coils.keys().try_for_each(|coil| self.check_coil(coil))
    }

    pub(super) fn check_list(&self, list: &str) -> Result<(), String> {
        explain::<ListModel>(list, &0, &self.lists[list])
    }

    pub(super) fn check_coil(&self, coil: &str) -> Result<(), String> {
        let start = self.starts.get(coil).ok_or_else(|| format!("coil {coil} was never received"))?;
        explain::<CoilModel>(coil, start, &self.coils[coil])
    }
}

fn explain<M: Model>(name: &str, start: &M::State, history: &[Timed<M::Operation>]) -> Result<(), String>
where
    M::Operation: fmt::Debug,
{
    linearisable::<M>(start, history).map_err(|(most, at)| {
        let is_near = |event: &&Timed<M::Operation>| event.called.abs_diff(history[at].called) < 50_000_000;
        let near: Vec<_> = history.iter().filter(is_near).collect();
        let (all, first) = (history.len(), &history[at]);
        format!("{name}: {most} of {all} events in order, then {first:?} among {near:#?}")
    })
}

/// All changes, with the plans that the service made by itself. A plan counts on nothing of a coil that another plan of the same list
/// names and this one does not.
fn with_plans(recorded: &Recorded, entries: &[Entry]) -> Result<Vec<Timed<Change>>, String> {
    let told: BTreeMap<(&str, &str), &Struct> = entries
        .iter()
        .filter_map(|entry| {
            let list = entry.subject.strip_prefix("cutLists/")?;
            Some(((entry.request_id.as_str(), list), entry.after.as_ref()?))
        })
        .collect();
    let mut changes = recorded.changes.clone();
    for change in changes.iter_mut().map(|change| &mut change.operation) {
        for list in &change.by_itself {
            let after = told.get(&(change.request_id.as_str(), list.as_str()));
            let after = after.ok_or_else(|| format!("{}: no entry tells of {list}", change.request_id))?;
            change.plans.push((list.clone(), counted_in(after)?));
        }
    }
    let mut named: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (list, plan) in changes.iter().flat_map(|change| &change.operation.plans) {
        named.entry(list.clone()).or_default().extend(plan.keys().cloned());
    }
    for (list, plan) in changes.iter_mut().flat_map(|change| &mut change.operation.plans) {
        for coil in &named[list.as_str()] {
            plan.entry(coil.clone()).or_insert(0);
        }
    }
    Ok(changes)
}

/// What the pending steps of an entry of a list count on.
fn counted_in(after: &Struct) -> Result<Counted, String> {
    let steps = after.fields.get("pending_steps").and_then(|steps| steps.kind.as_ref());
    let Some(Kind::ListValue(steps)) = steps else { return Err(format!("no pending steps in {after:?}")) };
    let mut sums = Counted::new();
    for step in &steps.values {
        let Some(Kind::StructValue(step)) = &step.kind else { continue };
        let text = |name: &str| match step.fields.get(name).and_then(|value| value.kind.as_ref()) {
            Some(Kind::StringValue(text)) => text.clone(),
            _ => String::new(),
        };
        let Some(Kind::NumberValue(um)) = step.fields.get("length_um").and_then(|um| um.kind.clone()) else {
            return Err(format!("no length in {step:?}"));
        };
        if text("kind") != "UNMOUNT" {
            #[expect(clippy::cast_possible_truncation, reason = "whole micrometres of one piece")]
            let um = um as i64;
            *sums.entry(text("coil_id")).or_default() += um;
        }
    }
    Ok(sums)
}

/// What a change does to each coil, at once.
fn by_coil(change: &Change) -> BTreeMap<String, CoilEvent> {
    let mut events: BTreeMap<String, Vec<CoilEvent>> = BTreeMap::new();
    // Wire that was lost is gone when the plan is made; what is seen of a coil, and that it is gone, follows from the plan.
    let is_first = |event: &CoilEvent| matches!(event, CoilEvent::Lost { .. });
    let mut add = |coil: &str, event: CoilEvent| events.entry(coil.to_owned()).or_default().push(event);
    for (coil, event) in change.coils.iter().filter(|(_, event)| is_first(event)) {
        add(coil, event.clone());
    }
    for (list, plan) in &change.plans {
        for (coil, um) in plan {
            add(coil, CoilEvent::Counts { list: list.clone(), um: *um });
        }
    }
    for (coil, event) in change.coils.iter().filter(|(_, event)| !is_first(event)) {
        add(coil, event.clone());
    }
    let together = |mut events: Vec<CoilEvent>| match events.len() {
        1 => events.remove(0),
        _ => CoilEvent::Together(events),
    };
    events.into_iter().map(|(coil, events)| (coil, together(events))).collect()
}

/// Steps that lie behind at the end and that nobody was told of: each must be one of which somebody does not know what became. What
/// was acknowledged must lie behind.
fn unacknowledged(recorded: &Recorded, lists: &[CutList]) -> Result<Vec<Timed<(String, CoilEvent)>>, String> {
    let mut found = Vec::new();
    for list in lists {
        let id = &list.list_id;
        let events = recorded.lists.get(id).map(Vec::as_slice).unwrap_or_default();
        let acknowledged: BTreeSet<i32> = events
            .iter()
            .filter(|event| event.answered.is_some())
            .filter_map(|event| match event.operation {
                ListEvent::Confirmed(step) => Some(step),
                _ => None,
            })
            .collect();
        let behind: BTreeMap<i32, &CutStep> =
            list.steps.iter().filter(|step| is_behind(step)).map(|step| (step.step_number, step)).collect();
        if let Some(lost) = acknowledged.iter().find(|step| !behind.contains_key(step)) {
            return Err(format!("step {lost} of {id} was acknowledged and does not lie behind"));
        }
        for (number, step) in behind.iter().filter(|(number, _)| !acknowledged.contains(number)) {
            let of_step = recorded.open.iter().filter(|(of, open, _)| of == id && open == number);
            let called = of_step.map(|(_, _, called)| *called).min();
            let called = called.ok_or_else(|| format!("step {number} of {id} was done by nobody"))?;
            found.push(Timed { called, answered: None, operation: done(id, step) });
        }
    }
    Ok(found)
}

/// Whether the journal tells the writes in an order that their callers can have seen: what was answered before another one was asked
/// for stands before it, each once and in one piece. So there is one order of all writes, over all coils and lists.
pub(super) fn journal_order(recorded: &Recorded, entries: &[Entry]) -> Result<(), String> {
    let mut places: BTreeMap<&str, Vec<i64>> = BTreeMap::new();
    for entry in entries.iter().filter(|entry| recorded.writes.contains_key(&entry.request_id)) {
        places.entry(&entry.request_id).or_default().push(entry.sequence);
    }
    let mut moments = Vec::new();
    for (id, (called, answered)) in &recorded.writes {
        let place = places.get(id.as_str()).ok_or_else(|| format!("{id} was answered and is not told"))?;
        let (first, last) = (place[0], place[place.len() - 1]);
        if last - first + 1 != i64::try_from(place.len()).unwrap_or(0) {
            return Err(format!("{id} is told in several places: {place:?}"));
        }
        // At the same moment the call counts first: the two overlap.
        moments.push((*called, 0, first, id));
        moments.push((*answered, 1, last, id));
    }
    moments.sort_unstable();
    let mut latest = (0, "");
    for (_, kind, place, id) in moments {
        if kind == 0 && place <= latest.0 {
            return Err(format!("{id} was asked for after {} was answered, and is told before it", latest.1));
        }
        if kind == 1 && place > latest.0 {
            latest = (place, id);
        }
    }
    Ok(())
}

/// What came in is there, was cut, scrapped or corrected, and cut is what the steps say.
pub(super) fn wire(coils: &BTreeMap<String, Coil>, lists: &[CutList]) {
    check_pieces(lists).unwrap();
    let mut cut: BTreeMap<&str, i64> = BTreeMap::new();
    let mut reserved: BTreeMap<&str, i64> = BTreeMap::new();
    for (list, step) in lists.iter().flat_map(|list| list.steps.iter().map(move |step| (list, step))) {
        if is_cut(step) && is(step, StepState::Done) {
            *cut.entry(&step.coil_id).or_default() += step.length_um;
        }
        let counts = list.end_time.is_none() && step.kind() != StepKind::Unmount;
        if counts && is(step, StepState::Pending) {
            *reserved.entry(&step.coil_id).or_default() += step.length_um;
        }
    }
    for (id, coil) in coils {
        let balance = coil.received_um - coil.cut_um - coil.scrapped_um + coil.adjusted_um;
        assert_eq!(coil.remaining_um, balance, "{id}");
        assert_eq!(coil.cut_um, cut.get(id.as_str()).copied().unwrap_or(0), "{id}");
        assert_eq!(coil.reserved_um, reserved.get(id.as_str()).copied().unwrap_or(0), "{id}");
    }
}
