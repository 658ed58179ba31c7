//! `cargo xtask <task>`: developer tasks.

use std::process::ExitCode;

const USAGE: &str = "cargo xtask codegen [--check]    generate crates/api/src/gen from proto/, or check it";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match arguments.as_slice() {
        ["codegen"] => xtask::codegen::run(&xtask::codegen::repository_root(), false),
        ["codegen", "--check"] => xtask::codegen::run(&xtask::codegen::repository_root(), true),
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}
