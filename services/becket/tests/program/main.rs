//! The program from outside: its exit codes, and its verbs against a server of its own.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

mod exit_codes;
mod orders;
mod plans;
mod serving;
mod verify;
