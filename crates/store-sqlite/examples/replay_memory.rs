//! Verifies an invented shop that is made up while it is read, and prints how long that took and how much memory. Every entry books one cut:
//! `cargo run -p becket-store-sqlite --example replay_memory -- 100000`.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a tool for contributors, which prints")]

use std::time::Instant;

use async_trait::async_trait;
use becket_store::effect::{Effect, Fields, encode, value_of};
use becket_store::journal::{GENESIS, chain};
use becket_store::replay::verify;
use becket_store::tables::{LAYOUT, Row, ShopReader, Table, Type, Value};
use becket_store::{Entry, StoreError, WriteContext};

/// Cuts of a list. Each list has a coil of its own.
const CUTS: i64 = 200;
const CUT_UM: i64 = 1_000_000;

struct Invented {
    lists: i64,
    last: (i64, [u8; 32]),
}

/// A row with these columns; the others hold something of their type.
fn row(table: &'static str, given: Fields) -> Fields {
    let known = LAYOUT.iter().find(|known| known.name == table).unwrap();
    let plain = |kind| match kind {
        Type::Text => "some characters".into(),
        Type::Integer => Value::Integer(0),
        Type::Real => Value::Real(0.5),
        Type::Truth => Value::Truth(false),
        Type::Bytes => Value::Null,
    };
    let value = |name| value_of(&given, name).cloned();
    known.columns.iter().map(|c| (c.name, value(c.name).unwrap_or_else(|| plain(c.kind)))).collect()
}

fn um(cuts: i64) -> Value {
    (cuts * CUT_UM).into()
}

fn coil(list: i64, cut: i64) -> Fields {
    let given = vec![
        ("coil_id", format!("R{list:06}").into()),
        ("state", "opened".into()),
        ("received_um", um(CUTS)),
        ("cut_um", um(cut)),
        ("remaining_um", um(CUTS - cut)),
        ("version", (cut + 1).into()),
    ];
    row("coils", given)
}

fn line(list: i64, number: i64) -> Fields {
    let before = if number == 1 { CUTS } else { CUTS - number + 2 };
    let given = vec![
        ("coil_id", format!("R{list:06}").into()),
        ("evidence_number", number.into()),
        ("before_um", um(before)),
        ("after_um", um(CUTS - number + 1)),
        ("gross_g", Value::Null),
        ("tare_g", Value::Null),
        ("resolution_g", Value::Null),
        ("tare_sd_g", Value::Null),
        ("decided_by", Value::Null),
    ];
    row("coil_evidence", given)
}

fn header(list: i64, cut: i64) -> Fields {
    let given = vec![
        ("list_number", list.into()),
        ("list_id", format!("L-{list:04}").into()),
        ("state", "finished".into()),
        ("pieces_done", cut.into()),
        ("pieces_pending", (CUTS - cut).into()),
        ("version", (cut + 1).into()),
    ];
    row("cut_lists", given)
}

fn step(list: i64, number: i64, done: bool) -> Fields {
    let given = vec![
        ("list_number", list.into()),
        ("step_number", number.into()),
        ("kind", "cut".into()),
        ("state", if done { "done" } else { "pending" }.into()),
        ("coil_id", format!("R{list:06}").into()),
        ("serial_id", format!("C27-{list:06}").into()),
        ("piece_id", format!("{number}.1+{number}.2").into()),
        ("length_um", um(1)),
        ("done_us", if done { 5_i64.into() } else { Value::Null }),
        ("spoil_cause", Value::Null),
    ];
    row("cut_steps", given)
}

/// What the entry with this place (from 0) does: each list is planned by one, and every other one cuts.
fn effects(at: i64) -> Vec<Effect> {
    let (list, cut) = (at / (CUTS + 1) + 1, at % (CUTS + 1));
    if cut == 0 {
        let put = |(table, row)| Effect::Put { table, row };
        let heads =
            [("coils", coil(list, 0)), ("coil_evidence", line(list, 1)), ("cut_lists", header(list, 0))];
        let steps = (1..=CUTS).map(|number| ("cut_steps", step(list, number, false)));
        return heads.into_iter().chain(steps).map(put).collect();
    }
    let change = |table, names: &[&'static str], was: Fields, is: Fields| {
        let key = names.iter().map(|name| (*name, value_of(&is, name).unwrap().clone())).collect();
        Effect::difference(table, key, &was, is).unwrap()
    };
    vec![
        change("cut_steps", &["list_number", "step_number"], step(list, cut, false), step(list, cut, true)),
        Effect::Put { table: "coil_evidence", row: line(list, cut + 1) },
        change("coils", &["coil_id"], coil(list, cut - 1), coil(list, cut)),
        change("cut_lists", &["list_number"], header(list, cut - 1), header(list, cut)),
    ]
}

fn entry(at: i64) -> Entry {
    let ctx = WriteContext {
        method: "becket.cutting.v1.CutListService/ConfirmStep",
        request_id: format!("00000000-0000-0000-0000-{at:012}"),
        request_digest: [0; 32],
        actor: "station-1".to_owned(),
        origin: "127.0.0.1".to_owned(),
        now_us: at,
    };
    Entry {
        effects: Some(encode(&effects(at))),
        ..Entry::new(&ctx, "cutLists/L-0001".to_owned(), None, None)
    }
}

fn entry_row(entry: Entry) -> Row {
    let text = |text: Option<String>| text.map_or(Value::Null, Value::Text);
    vec![
        entry.sequence.into(),
        entry.entry_us.into(),
        entry.actor.into(),
        entry.origin.into(),
        entry.request_id.into(),
        entry.method.into(),
        entry.subject.into(),
        text(entry.before),
        text(entry.after),
        Value::Bytes(entry.hash.to_vec()),
        text(entry.effects),
    ]
}

impl Invented {
    fn journal(&mut self, after: i64, limit: i64) -> Vec<Row> {
        let end = (after + limit).min(self.lists * (CUTS + 1));
        let mut entries: Vec<Entry> = (after..end).map(entry).collect();
        chain(self.last.0, self.last.1, &mut entries);
        if let Some(last) = entries.last() {
            self.last = (last.sequence, last.hash);
        }
        entries.into_iter().map(entry_row).collect()
    }
}

/// The number in a part of a key, behind the letter that it may begin with.
fn number(value: Option<&Value>) -> i64 {
    match value {
        Some(Value::Integer(number)) => *number,
        Some(Value::Text(text)) => text[1..].parse().unwrap(),
        _ => 0,
    }
}

#[async_trait]
impl ShopReader for Invented {
    async fn rows(&mut self, table: &Table, after: &[Value], limit: u32) -> Result<Vec<Row>, StoreError> {
        let (first, second) = (number(after.first()), number(after.get(1)));
        let (lists, limit) = (self.lists, i64::from(limit));
        let values = |row: Fields| -> Row { row.into_iter().map(|(_, value)| value).collect() };
        let one_each = |row: fn(i64, i64) -> Fields| -> Vec<Row> {
            (first + 1..=lists.min(first + limit)).map(|list| values(row(list, CUTS))).collect()
        };
        let many = |of_list: i64, row: &dyn Fn(i64, i64) -> Fields| -> Vec<Row> {
            let begin = if first == 0 { 0 } else { (first - 1) * of_list + second };
            let end = (begin + limit).min(lists * of_list);
            (begin..end).map(|at| values(row(at / of_list + 1, at % of_list + 1))).collect()
        };
        Ok(match table.name {
            "journal" => self.journal(first, limit),
            "coils" => one_each(coil),
            "cut_lists" => one_each(header),
            "coil_evidence" => many(CUTS + 1, &line),
            "cut_steps" => many(CUTS, &|list, at| step(list, at, true)),
            _ => Vec::new(),
        })
    }

    async fn head(&mut self) -> Result<Option<(i64, [u8; 32])>, StoreError> {
        Ok(Some(self.last))
    }
}

/// Most memory that this process has had, in MiB; 0 where the system does not tell.
fn most_mib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kib| kib.parse::<u64>().ok()).unwrap_or(0) / 1024
}

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let cuts: i64 = std::env::args().nth(1).and_then(|count| count.parse().ok()).unwrap_or(100_000);
    let mut shop = Invented { lists: cuts / CUTS, last: (0, GENESIS) };
    let (begun, before) = (Instant::now(), most_mib());
    let report = verify(&mut shop).await.unwrap();
    let rows: u64 = report.tables.iter().map(|count| count.stored).sum();
    println!("entries      {}", report.entries);
    println!("rows         {rows}");
    println!("differences  {}", report.difference_count);
    println!("seconds      {:.1}", begun.elapsed().as_secs_f64());
    println!("most memory  {} MiB, {before} MiB before", most_mib());
    for difference in report.differences.iter().take(5) {
        println!("{difference}");
    }
}
