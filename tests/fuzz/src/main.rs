//! Feeds every target with mutations of its corpus, for a while; `tests/fuzz/run` builds and calls it.

use std::panic::catch_unwind;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use becket_fuzz::{Mutator, TARGETS, Target, seeds};
use clap::Parser;

/// An input that takes longer than this is a find.
const LONGEST: Duration = Duration::from_secs(5);

/// Feeds the fuzz targets with mutations of their corpus
#[derive(Debug, Parser)]
struct Arguments {
    /// Only this target
    #[arg(long)]
    target: Option<String>,
    /// Time for each target
    #[arg(long, default_value_t = 20)]
    seconds: u64,
    /// From which number the mutations follow
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Folder with a folder of inputs for each target
    #[arg(long)]
    corpus: PathBuf,
    /// Where inputs that were found are written
    #[arg(long)]
    finds: PathBuf,
    /// Only write the inputs of the requests with which to begin
    #[arg(long)]
    write_seeds: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match run(&arguments) {
        Ok(0) => ExitCode::SUCCESS,
        Ok(finds) => {
            eprintln!("{finds} finds in {}", arguments.finds.display());
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("becket-fuzz: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(arguments: &Arguments) -> Result<usize, std::io::Error> {
    if arguments.write_seeds {
        let folder = arguments.corpus.join("requests");
        std::fs::create_dir_all(&folder)?;
        for (name, bytes) in seeds(arguments.seed) {
            std::fs::write(folder.join(name), bytes)?;
        }
        return Ok(0);
    }
    println!("| target | inputs of the corpus | inputs tried | finds |");
    println!("|---|---:|---:|---:|");
    let mut finds = 0;
    for target in TARGETS {
        if arguments.target.as_deref().is_none_or(|only| only == target.0) {
            finds += fuzz(arguments, target)?;
        }
    }
    Ok(finds)
}

fn fuzz(arguments: &Arguments, (name, target): Target) -> Result<usize, std::io::Error> {
    let corpus = inputs(&arguments.corpus.join(name))?;
    let count = corpus.len();
    let mut finds = 0;
    let mut tried = 0_u64;
    let mut check = |input: &[u8]| -> Result<(), std::io::Error> {
        let begun = Instant::now();
        let failed = catch_unwind(|| target(input)).is_err();
        tried += 1;
        if failed || begun.elapsed() > LONGEST {
            finds += 1;
            std::fs::create_dir_all(&arguments.finds)?;
            std::fs::write(arguments.finds.join(format!("{name}-{tried}")), input)?;
        }
        Ok(())
    };
    for input in &corpus {
        check(input)?;
    }
    let mut mutator = Mutator::new(arguments.seed, corpus);
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(arguments.seconds) {
        check(&mutator.next_input())?;
    }
    println!("| {name} | {count} | {tried} | {finds} |");
    Ok(finds)
}

/// The inputs of a folder, in the order of their names.
fn inputs(folder: &Path) -> Result<Vec<Vec<u8>>, std::io::Error> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder)?.map(|entry| Ok(entry?.path())).collect::<Result<_, std::io::Error>>()?;
    paths.sort();
    paths.iter().map(std::fs::read).collect()
}
