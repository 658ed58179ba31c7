//! Developer tasks: what `cargo xtask` does, as a library so that tests run the same code.

pub mod codegen;
