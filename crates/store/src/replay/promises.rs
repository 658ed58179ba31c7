//! What lists count on, by coil, followed entry by entry: a length of wire is promised once.

use std::collections::{BTreeMap, BTreeSet};

use super::packed::Packed;
use super::state::{Key, Trouble, number_of, text_of};
use crate::tables::{Row, Value};

/// What each list counts on of each coil, and how that changed since the entry before.
#[derive(Debug, Default)]
pub(super) struct Promises {
    by_coil: BTreeMap<String, BTreeMap<i64, i64>>,
    /// What the lists that an entry touches counted on before it.
    before: BTreeMap<(String, i64), i64>,
}

impl Promises {
    /// Counts a row in (1) or out (-1).
    pub(super) fn row(&mut self, table: &str, row: &Row, sign: i64) {
        if table != "cut_steps" || text_of(table, row, "state") != "pending" {
            return;
        }
        if !matches!(text_of(table, row, "kind"), "mount" | "cut") {
            return;
        }
        let coil = text_of(table, row, "coil_id");
        let list = number_of(table, row, "list_number");
        let sums = self.by_coil.entry(coil.to_owned()).or_default();
        let sum = sums.entry(list).or_default();
        self.before.entry((coil.to_owned(), list)).or_insert(*sum);
        *sum = sum.saturating_add(sign.saturating_mul(number_of(table, row, "length_um")));
    }

    /// Takes what is counted on as promised before.
    pub(super) fn settle(&mut self) {
        self.before.clear();
    }

    /// Coils of which a list counts on more than before the entry although they are not usable or do not have it.
    pub(super) fn broken(&mut self, tables: &BTreeMap<&'static str, BTreeMap<Key, Packed>>) -> Vec<Trouble> {
        let mut troubles = Vec::new();
        let mut told = BTreeSet::new();
        for ((coil, list), was) in std::mem::take(&mut self.before) {
            let Some(sums) = self.by_coil.get(&coil) else { continue };
            if sums.get(&list).is_none_or(|now| *now <= was) || !told.insert(coil.clone()) {
                continue;
            }
            let reserved_um = sums.values().fold(0_i64, |sum, more| sum.saturating_add(*more));
            let key = Key::of(&[Value::Text(coil.clone())]);
            let row = tables.get("coils").and_then(|coils| coils.get(&key)).map(Packed::row);
            let row = row.as_ref();
            let remaining_um = row.map_or(0, |row| number_of("coils", row, "remaining_um"));
            let state = row.map_or("not there", |row| text_of("coils", row, "state"));
            if !matches!(state, "sealed" | "opened") || reserved_um > remaining_um {
                let state = state.to_owned();
                troubles.push(Trouble::Promise { list, coil, reserved_um, remaining_um, state });
            }
        }
        troubles
    }
}
