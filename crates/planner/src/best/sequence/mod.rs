//! In which order coils are mounted and pieces are cut.

mod writer;

pub(super) use writer::Writer;
