//! Partials of wound strings: one string, and the bass and tenor of a piano.

use std::hint::black_box;

use becket_acoustics::{CrossSection, DomainError, Segment, SteppedString, stepped_tension_first_partial_n};
use criterion::{Criterion, criterion_group, criterion_main};

const STRINGS: u32 = 50;

/// A wound string by its place from the lowest: core, stiffness and five segments that shrink upward.
fn wound(place: u32) -> Result<(f64, [Segment; 5]), DomainError> {
    let share = f64::from(place) / f64::from(STRINGS);
    let core_mm = 1.5 - 0.6 * share;
    let stiffness_n_m2 = 0.2 * CrossSection::Round.second_moment_mm4(core_mm)?;
    let bare = 7.85 * CrossSection::Round.area_mm2(core_mm)?;
    let segment = |length_mm, linear_density_g_m| Segment { length_mm, linear_density_g_m };
    let under = bare * (2.5 - share);
    let segments = [
        segment(18.0, bare),
        segment(6.0, under),
        segment(1850.0 - 850.0 * share, bare * (10.0 - 7.0 * share)),
        segment(8.0, under),
        segment(22.0, bare),
    ];
    Ok((stiffness_n_m2, segments))
}

fn partials(place: u32) -> Result<Vec<f64>, DomainError> {
    let (bending_stiffness_n_m2, segments) = wound(place)?;
    let tension_n = 1400.0 - 10.0 * f64::from(place);
    SteppedString { tension_n, bending_stiffness_n_m2, segments: &segments }.partials_hz(16)
}

fn tension(place: u32) -> Result<f64, DomainError> {
    let (bending_stiffness_n_m2, segments) = wound(place)?;
    stepped_tension_first_partial_n(30.0 + 3.0 * f64::from(place), bending_stiffness_n_m2, &segments)
}

fn stepped(criterion: &mut Criterion) {
    criterion.bench_function("16 partials of one wound string", |b| b.iter(|| partials(black_box(20))));
    criterion.bench_function("16 partials of 50 wound strings", |b| {
        b.iter(|| (0..STRINGS).map(|place| partials(black_box(place))).collect::<Result<Vec<_>, _>>());
    });
    criterion.bench_function("tension of one wound string", |b| b.iter(|| tension(black_box(20))));
}

criterion_group!(benches, stepped);
criterion_main!(benches);
