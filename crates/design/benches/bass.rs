//! How long a whole bass takes: 26 notes, 30 cores, 60 winding wires, two layers on the lowest ten.

#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use becket_design::{BassQuestion, Neighbour, Targets, WoundNote, design_bass};
use becket_scale::{Models, StringModel};
use criterion::{Criterion, criterion_group, criterion_main};

#[allow(dead_code, reason = "shared with the tests, which use all of it")]
#[path = "../tests/design/fixture.rs"]
mod fixture;

fn bass(c: &mut Criterion) {
    let notes = fixture::wound_notes(1, 26);
    let cores: Vec<_> = fixture::steel().into_iter().take(30).collect();
    let windings = fixture::coppers(60);
    let question = BassQuestion {
        above: Some(Neighbour { tension_n: 700.0, inharmonicity: 2.5e-4 }),
        ..fixture::bass_question(&notes, &cores, &windings)
    };
    c.bench_function("bass of 26 notes, all targets", |b| b.iter(|| design_bass(&question).unwrap()));
    let models = Models { string_model: StringModel::Stepped, ..Models::default() };
    let stepped = BassQuestion { models, ..question };
    c.bench_function("bass of 26 notes, all targets, exact strings", |b| {
        b.iter(|| design_bass(&stepped).unwrap());
    });
    // With the tension alone, nearly every core can come near the target and little is ruled out.
    let loose: Vec<WoundNote> = notes
        .iter()
        .map(|note| WoundNote {
            targets: Targets { tension_n: note.targets.tension_n, ..Targets::default() },
            ..*note
        })
        .collect();
    let question = BassQuestion { notes: &loose, ..question };
    c.bench_function("bass of 26 notes, tension only", |b| b.iter(|| design_bass(&question).unwrap()));
}

criterion_group!(benches, bass);
criterion_main!(benches);
