//! How long a full set of 88 notes takes.

#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use becket_scale::{Choice, ComputeOptions, ComputeOptionsDraft, PitchBasis, StringModel, compute};
use criterion::{Criterion, criterion_group, criterion_main};

#[allow(dead_code, reason = "shared with the tests, which use all of it")]
#[path = "../tests/scale/fixture.rs"]
mod fixture;

fn string_set(c: &mut Criterion) {
    let catalogue = fixture::catalogue();
    let draft = fixture::small_grand();
    let scale = draft.validate(&catalogue).unwrap();
    let options = ComputeOptions::default();
    c.bench_function("validate 88 notes", |b| b.iter(|| draft.validate(&catalogue).unwrap()));
    c.bench_function("compute 88 notes", |b| b.iter(|| compute(&scale, &catalogue, &options).unwrap()));
    for (name, basis) in
        [("stiffness-free", PitchBasis::StiffnessFree), ("first partial", PitchBasis::FirstPartial)]
    {
        let stepped = ComputeOptionsDraft {
            string_model: Some(Choice::Known(StringModel::Stepped)),
            pitch_basis: Some(Choice::Known(basis)),
            include_partials: Some(true),
            ..ComputeOptionsDraft::default()
        };
        let stepped = stepped.validate().unwrap();
        let name = format!("compute 88 notes with 16 exact partials each, {name}");
        c.bench_function(&name, |b| b.iter(|| compute(&scale, &catalogue, &stepped).unwrap()));
    }
}

criterion_group!(benches, string_set);
criterion_main!(benches);
