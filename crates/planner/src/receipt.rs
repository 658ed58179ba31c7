//! Equal sealed coils in their order of receipt.

use std::collections::{BTreeMap, BTreeSet};

use becket_units::Um;

use crate::model::{CoilIndex, Problem, WireIndex};
use crate::plan::{Plan, Step};

/// What equal coils share: wire, length and margin.
type Equal = (WireIndex, Um, Um);

/// Exchanges equal sealed coils in a plan so that they are first mounted in their order of receipt, if the shop wants that.
/// Equal coils differ in lot and receipt only, so the plan stays as good as it is on all levels but the lots.
pub(crate) fn in_order_of_receipt(problem: &Problem, plan: &mut Plan) {
    if !problem.policy.fifo {
        return;
    }
    let mut equal: BTreeMap<Equal, Vec<CoilIndex>> = BTreeMap::new();
    for (c, coil) in problem.indexed_coils() {
        if !coil.opened && coil.mounted_at.is_none() {
            equal.entry((coil.wire, coil.available, coil.margin)).or_default().push(c);
        }
    }
    let mut used: BTreeMap<Equal, Vec<CoilIndex>> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for step in &plan.steps {
        let Step::Mount { coil: c, .. } = step else { continue };
        let coil = &problem.coils[c.index()];
        if !coil.opened && coil.mounted_at.is_none() && seen.insert(*c) {
            used.entry((coil.wire, coil.available, coil.margin)).or_default().push(*c);
        }
    }
    let rank = |c: &CoilIndex| problem.coils[c.index()].received_rank;
    let mut instead: Vec<CoilIndex> = problem.indexed_coils().map(|(c, _)| c).collect();
    for (key, used) in used {
        let mut oldest = equal.remove(&key).unwrap_or_default();
        oldest.sort_by_key(|c| (rank(c), *c));
        if used.iter().zip(&oldest).any(|(a, b)| rank(a) != rank(b)) {
            for (from, to) in used.iter().zip(&oldest) {
                instead[from.index()] = *to;
            }
        }
    }
    for step in &mut plan.steps {
        let (Step::Mount { coil, .. } | Step::Cut { coil, .. } | Step::Unmount { coil, .. }) = step;
        *coil = instead[coil.index()];
    }
}
