//! How long a full set of 88 notes takes.

#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use becket_scale::{ComputeOptions, compute};
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
}

criterion_group!(benches, string_set);
criterion_main!(benches);
