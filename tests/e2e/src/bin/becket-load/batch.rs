//! A batch: how fast ComputeJobSets streams the sets of many serials, beside the same computation in this process.

use std::fmt;
use std::hint::black_box;
use std::num::NonZeroUsize;
use std::time::{Duration, Instant};

use becket_api::convert::{SetInputs, string_set};
use becket_api::document::{Format as FileFormat, parse_list, parse_toml};
use becket_api::stringing::compute_job_sets_response::Result as Outcome;
use becket_api::stringing::{
    AsBuilt as MeasuredNote, ComputeJobSetsRequest, ComputeJobSetsResponse, Job, Scale as ScaleMessage, Wire,
};
use becket_e2e::raw::RawCodec;
use becket_e2e::{Shop, demo};
use becket_scale::{AsBuilt, ComputeOptions, Scale, ScaleDraft, compute};
use becket_wire::{Catalogue, SizeSeries, WireDraft, standard_wires};
use http::uri::PathAndQuery;
use prost::Message as _;
use prost::bytes::Bytes;
use serde_json::{Value, json};
use tokio::runtime::Runtime;
use tonic::Request;
use tonic::client::Grpc;
use tonic::transport::Endpoint;

use crate::service::Service;
use crate::{Failure, cpu};

const COMPUTE_JOB_SETS: &str = "/becket.stringing.v1.StringSetService/ComputeJobSets";
/// Jobs that are opened; the batch names them again and again.
const JOBS: usize = 200;
/// Largest message that is taken.
const LARGEST: usize = 16 << 20;

/// What came of a batch.
#[derive(Debug)]
pub(crate) struct BatchReport {
    serials: usize,
    measured: bool,
    threads: usize,
    rounds: Vec<BatchRound>,
}

#[derive(Debug, Clone, Copy)]
struct BatchRound {
    service: Side,
    plain: Side,
    bytes: usize,
}

/// One side in one round.
#[derive(Debug, Clone, Copy)]
struct Side {
    took: Duration,
    worked: Option<Duration>,
}

/// Measures so many rounds of a batch of so many serials. Service and plain computation have as many threads as there are cores,
/// and are measured in turn. Where the serials are `measured`, something was measured on each that no other of the jobs has.
pub(crate) fn run(serials: usize, rounds: u32, measured: bool) -> Result<BatchReport, Failure> {
    let threads = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    let runtime = |name: &str, threads: usize| -> Result<Runtime, Failure> {
        let mut builder = tokio::runtime::Builder::new_multi_thread();
        Ok(builder.worker_threads(threads).thread_name(name).enable_all().build()?)
    };
    let (of_service, of_caller) = (runtime(cpu::SERVICE, threads)?, runtime(cpu::CALLERS, 1)?);
    let folder = tempfile::tempdir()?;
    let service = of_service.block_on(Service::start(folder.path()))?;
    let plain = Plain::prepare(measured)?;
    let request = of_caller.block_on(prepare(service.url(), serials, measured))?;
    // Once before anything is counted, and to see that both make the same.
    let first = of_caller.block_on(stream(service.url(), request.clone()))?;
    plain.check(&first.sample)?;
    let mut done = Vec::new();
    for _ in 0..rounds {
        let streamed = of_caller.block_on(stream(service.url(), request.clone()))?;
        if streamed.messages != serials || streamed.bytes != first.bytes {
            return Err("the batch is not the one that is due".into());
        }
        done.push(BatchRound {
            service: streamed.side,
            plain: plain.measure(serials, threads)?,
            bytes: streamed.bytes,
        });
    }
    of_service.block_on(service.stop())?;
    Ok(BatchReport { serials, measured, threads, rounds: done })
}

/// Loads wires and a scale and opens the jobs; the request for their sets.
async fn prepare(url: &str, serials: usize, measured: bool) -> Result<Bytes, Failure> {
    let mut shop = Shop::connect(url).await?;
    shop.load_wires().await?;
    shop.load_scale(demo::CONCERT).await?;
    let concert = parse_toml::<ScaleMessage>(demo::CONCERT)?.model_id;
    let job = demo::jobs()?.into_iter().find(|job| job.model_id == concert);
    let job =
        Job { as_built: Vec::new(), options: None, ..job.ok_or("the demo has no job of the concert grand")? };
    for number in 0..JOBS {
        let as_built = found_on(number, measured).map(|(note, speaking_mm)| MeasuredNote {
            note,
            speaking_mm: Some(speaking_mm),
            ..MeasuredNote::default()
        });
        let as_built = as_built.into_iter().collect();
        shop.open_job(Job { serial_id: serial(number), as_built, ..job.clone() }).await?;
    }
    let serial_ids = (0..serials).map(serial).collect();
    Ok(ComputeJobSetsRequest { serial_ids, view: None }.encode_to_vec().into())
}

fn serial(number: usize) -> String {
    format!("B-{:04}", number % JOBS)
}

/// What was measured on an instrument: a note and its speaking length in mm.
fn found_on(number: usize, measured: bool) -> Option<(i32, f64)> {
    let number = u32::try_from(number % JOBS).unwrap_or(0);
    measured.then(|| (52, 340.0 + 0.01 * f64::from(number)))
}

/// What was read of one stream.
struct Streamed {
    side: Side,
    messages: usize,
    bytes: usize,
    /// The first message.
    sample: Bytes,
}

/// Reads a batch to its end, without decoding it.
async fn stream(url: &str, request: Bytes) -> Result<Streamed, Failure> {
    let channel = Endpoint::from_shared(url.to_owned())?.tcp_nodelay(true).connect().await?;
    let mut grpc = Grpc::new(channel).max_decoding_message_size(LARGEST);
    grpc.ready().await?;
    let (begin, before) = (Instant::now(), cpu::worked(cpu::SERVICE));
    let path = PathAndQuery::from_static(COMPUTE_JOB_SETS);
    let mut stream = grpc.server_streaming(Request::new(request), path, RawCodec).await?.into_inner();
    let (mut messages, mut bytes, mut sample) = (0, 0, Bytes::new());
    while let Some(message) = stream.message().await? {
        let message: Bytes = message;
        messages += 1;
        bytes += message.len();
        if messages == 1 {
            sample = message;
        }
    }
    let worked = cpu::worked(cpu::SERVICE).zip(before).map(|(after, before)| after.saturating_sub(before));
    Ok(Streamed { side: Side { took: begin.elapsed(), worked }, messages, bytes, sample })
}

/// The same sets, computed and encoded in this process, as a program without a service would.
struct Plain {
    measured: bool,
    scale: Scale,
    catalogue: Catalogue,
}

impl Plain {
    fn prepare(measured: bool) -> Result<Self, Failure> {
        let mut catalogue: Catalogue = standard_wires(SizeSeries::Inch).into_iter().collect();
        for wire in parse_list::<Wire>(demo::WIRES, FileFormat::Toml, "wires")? {
            catalogue.insert(WireDraft::from(&wire).validate().map_err(|faults| format!("{faults:?}"))?);
        }
        let draft = ScaleDraft::from(&parse_toml::<ScaleMessage>(demo::CONCERT)?);
        let scale = draft.validate(&catalogue).map_err(|faults| format!("{faults:?}"))?;
        Ok(Self { measured, scale, catalogue })
    }

    fn answer(&self, number: usize, computed_by: &str) -> Result<Vec<u8>, Failure> {
        let (serial_id, catalogue) = (&serial(number), &self.catalogue);
        let options = ComputeOptions::default();
        let merged;
        let (scale, as_built_notes) = match found_on(number, self.measured) {
            None => (&self.scale, [].as_slice()),
            Some((note, mm)) => {
                let found = AsBuilt { note, speaking_mm: Some(mm), ..AsBuilt::default() };
                merged =
                    self.scale.with_as_built(&[found], catalogue).map_err(|faults| format!("{faults:?}"))?;
                (&merged.scale, merged.as_built_notes.as_slice())
            }
        };
        let set = compute(scale, catalogue, &options)?;
        let inputs =
            SetInputs { serial_id, scale, as_built_notes, catalogue, options: &options, computed_by };
        let result = Some(Outcome::StringSet(string_set(&inputs, &set)));
        Ok(ComputeJobSetsResponse { serial_id: serial_id.to_owned(), result }.encode_to_vec())
    }

    /// Fails unless the service sends what is computed here.
    fn check(&self, sample: &Bytes) -> Result<(), Failure> {
        let sent = ComputeJobSetsResponse::decode(sample.clone())?;
        let Some(Outcome::StringSet(set)) = &sent.result else { return Err("a set is refused".into()) };
        let by = set.basis.as_ref().map(|basis| basis.computed_by.as_str()).unwrap_or_default();
        let same = self.answer(0, by)? == *sample;
        if same { Ok(()) } else { Err("the two compute different sets".into()) }
    }

    fn measure(&self, serials: usize, threads: usize) -> Result<Side, Failure> {
        let begin = Instant::now();
        let compute_some = |first: usize| -> Result<Option<Duration>, Failure> {
            for number in (first..serials).step_by(threads) {
                black_box(self.answer(number, "becket")?);
            }
            Ok(cpu::worked_here())
        };
        let mut worked = Some(Duration::ZERO);
        std::thread::scope(|scope| -> Result<(), Failure> {
            let working: Vec<_> =
                (0..threads).map(|first| scope.spawn(move || compute_some(first))).collect();
            for thread in working {
                let here = thread.join().map_err(|_| "a computation panicked")??;
                worked = worked.zip(here).map(|(worked, here)| worked.saturating_add(here));
            }
            Ok(())
        })?;
        Ok(Side { took: begin.elapsed(), worked })
    }
}

impl BatchReport {
    /// Medians over rounds: sets per second of the service and of the plain computation and their ratio; µs of work for a set of
    /// both and their ratio, plain over service.
    fn figures(&self) -> [f64; 6] {
        #[expect(clippy::cast_precision_loss, reason = "a number of serials is far below 2^53")]
        let serials = self.serials as f64;
        let of =
            |get: &dyn Fn(&BatchRound) -> f64| crate::report::median(self.rounds.iter().map(get).collect());
        let rate = |side: Side| serials / side.took.as_secs_f64();
        let cpu_us = |side: Side| side.worked.map_or(f64::NAN, |worked| 1e6 * worked.as_secs_f64() / serials);
        [
            of(&|round| rate(round.service)),
            of(&|round| rate(round.plain)),
            of(&|round| rate(round.service) / rate(round.plain)),
            of(&|round| cpu_us(round.service)),
            of(&|round| cpu_us(round.plain)),
            of(&|round| cpu_us(round.plain) / cpu_us(round.service)),
        ]
    }

    pub(crate) fn json(&self) -> Value {
        let [service, plain, ratio, cpu_us, plain_cpu_us, cpu_ratio] = self.figures();
        json!({
            "serials": self.serials,
            "measured": self.measured,
            "threads": self.threads,
            "rounds": self.rounds.len(),
            "bytes": self.rounds.first().map_or(0, |round| round.bytes),
            "setsPerSecond": service,
            "plainSetsPerSecond": plain,
            "ratio": ratio,
            "cpuUs": cpu_us,
            "plainCpuUs": plain_cpu_us,
            "cpuRatio": cpu_ratio,
        })
    }
}

impl fmt::Display for BatchReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [service, plain, ratio, cpu_us, plain_cpu_us, cpu_ratio] = self.figures();
        let bytes = self.rounds.first().map_or(0, |round| round.bytes);
        writeln!(
            f,
            "ComputeJobSets of {} serials, {}, {bytes} bytes, {} threads, {} rounds",
            self.serials,
            if self.measured { "each measured" } else { "none measured" },
            self.threads,
            self.rounds.len()
        )?;
        writeln!(
            f,
            "streamed      {service:>8.0} sets per s, {cpu_us:.0} µs of the service's threads for each"
        )?;
        writeln!(
            f,
            "in process    {plain:>8.0} sets per s, {plain_cpu_us:.0} µs, computed and encoded on the same cores"
        )?;
        write!(
            f,
            "ratio         {ratio:>8.3} of sets per s, {cpu_ratio:.3} of time worked for a set; medians over rounds"
        )
    }
}
