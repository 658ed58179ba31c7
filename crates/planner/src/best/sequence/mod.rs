//! In which order coils are mounted and pieces are cut.

mod arrange;
mod bound;
mod course;
mod keep;
mod lots;
mod writer;

pub(super) use arrange::Arranger;
pub(super) use bound::ChangeBound;
pub(super) use course::{Course, Phase};
pub(super) use keep::Kept;
pub(super) use lots::{gather_lots, least_lots};
pub(super) use writer::Writer;
