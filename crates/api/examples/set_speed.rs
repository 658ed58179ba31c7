//! How long a closed-form set takes by itself, without the service: prints the model and the median in microseconds.
//!
//! `cargo run --release -p becket-api --example set_speed -- wires.toml scale.toml [seconds]`

use std::error::Error;
use std::hint::black_box;
use std::time::{Duration, Instant};

use becket_api::document::{Format, parse_list, parse_toml};
use becket_api::stringing::{Scale, Wire};
use becket_scale::{ComputeOptions, ScaleDraft, compute};
use becket_wire::{Catalogue, SizeSeries, WireDraft, standard_wires};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let usage = "usage: set_speed WIRES.toml SCALE.toml [SECONDS]";
    let wires = std::fs::read_to_string(arguments.next().ok_or(usage)?)?;
    let scale = std::fs::read_to_string(arguments.next().ok_or(usage)?)?;
    let seconds: f64 = arguments.next().map_or(Ok(1.0), |text| text.parse())?;

    let mut catalogue: Catalogue = standard_wires(SizeSeries::Inch).into_iter().collect();
    for wire in parse_list::<Wire>(&wires, Format::Toml, "wires")? {
        catalogue.insert(WireDraft::from(&wire).validate().map_err(|faults| format!("{faults:?}"))?);
    }
    let draft = ScaleDraft::from(&parse_toml::<Scale>(&scale)?);
    let scale = draft.validate(&catalogue).map_err(|faults| format!("{faults:?}"))?;
    let options = ComputeOptions::default();

    let (began, span) = (Instant::now(), Duration::try_from_secs_f64(seconds)?);
    let mut times = Vec::new();
    while began.elapsed() < span || times.is_empty() {
        let begin = Instant::now();
        black_box(compute(black_box(&scale), &catalogue, &options)?);
        times.push(begin.elapsed());
    }
    times.sort();
    let median = times.get(times.len() / 2).copied().unwrap_or_default();
    println!("{} {:.2}", scale.model_id(), median.as_secs_f64() * 1e6);
    Ok(())
}
