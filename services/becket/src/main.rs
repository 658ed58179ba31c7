//! The one binary: server, client and tour.

mod app;
mod backup;
mod cli;
mod client;
mod context;
mod demo;
mod errors;
mod files;
mod output;
mod progress;
mod serve;
mod store;
mod tour;
mod verbs;

use std::process::ExitCode;

use clap::Parser as _;

fn main() -> ExitCode {
    let cli = cli::Cli::parse();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            context::tell(&format!("becket: no threads can be started: {error}"));
            return ExitCode::from(errors::EXIT_REFUSED);
        }
    };
    match runtime.block_on(verbs::run(cli)) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            if let Some(text) = failure.text() {
                context::tell(&text);
            }
            ExitCode::from(failure.exit_code())
        }
    }
}
