//! What is wrong with a file.

use std::fmt;

use crate::descriptors::ReflectError;

/// One thing that is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DocumentFault {
    /// Line from 1, where the format tells it.
    pub line: Option<u64>,
    /// Path of the field, such as `notes[3].speaking_mm`, or the column of a CSV file; empty for the file as a whole.
    pub field: String,
    /// What is wrong and what is allowed.
    pub problem: String,
}

impl DocumentFault {
    pub(super) fn new(line: Option<u64>, field: impl Into<String>, problem: impl Into<String>) -> Self {
        Self { line, field: field.into(), problem: problem.into() }
    }
}

impl fmt::Display for DocumentFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if !self.field.is_empty() {
            write!(f, "{}: ", self.field)?;
        }
        f.write_str(&self.problem)
    }
}

/// Why a file could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DocumentError {
    /// The file is faulty; all its faults, in the order of the file.
    #[error("{}", lines(.0))]
    Faulty(Vec<DocumentFault>),
    /// The message type is not one of the API.
    #[error(transparent)]
    Reflect(#[from] ReflectError),
}

fn lines(faults: &[DocumentFault]) -> String {
    let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

/// Passes if there are no faults.
pub(super) fn none(faults: Vec<DocumentFault>) -> Result<(), DocumentError> {
    if faults.is_empty() { Ok(()) } else { Err(DocumentError::Faulty(faults)) }
}

/// Path of a field below another one.
pub(super) fn below(path: &str, field: &str) -> String {
    if path.is_empty() { field.to_owned() } else { format!("{path}.{field}") }
}
