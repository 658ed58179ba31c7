//! Files for people: TOML, JSON or CSV in the form of an API message.
//!
//! Keys are the proto names (`speaking_mm`), enum values are friendly: `looped_back` stands for
//! `HITCH_STYLE_LOOPED_BACK`. Whole numbers do for fractional ones. Unknown keys are refused, since a misspelt one would
//! otherwise pass for a missing one. All faults of a file are reported at once, each with its line where the format
//! tells it.
//!
//! A file of one message ([`parse`]) is the message itself; a file of many ([`parse_list`], [`parse_coils`]) is a list
//! under a key: `[[wires]]`, `[[jobs]]`.
//!
//! This module checks form, not meaning: whether a diameter makes sense is for the domain to say.

mod csv;
mod fault;
mod lists;
mod names;
mod read;
mod tree;
mod winding_order;
mod write;

pub use csv::{coils_from_csv, wires_from_csv};
pub use fault::{DocumentError, DocumentFault};
pub use lists::{CoilsDocument, list_to_toml, parse_coils, parse_list};
pub use names::enum_name;

pub use winding_order::{winding_order_from_csv, winding_order_to_csv};

pub(crate) use tree::shortened;

use prost::{Message, Name};

use crate::descriptors;

/// Format of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// TOML 1.0.
    Toml,
    /// JSON with the same keys and values as the TOML form. It is not protobuf JSON; see [`crate::json`] for that.
    Json,
}

/// Reads a message.
///
/// # Errors
/// [`DocumentError`] with every fault of the text.
pub fn parse<M: Message + Name + Default>(text: &str, format: Format) -> Result<M, DocumentError> {
    let tree = tree::parse(text, format)?;
    let mut faults = Vec::new();
    let message = read::message(&descriptors::of::<M>()?, &tree, "", &mut faults);
    fault::none(faults)?;
    Ok(descriptors::from_dynamic(&message)?)
}

/// Reads a message from TOML; see [`parse`].
///
/// # Errors
/// [`DocumentError`] with every fault of the text.
pub fn parse_toml<M: Message + Name + Default>(text: &str) -> Result<M, DocumentError> {
    parse(text, Format::Toml)
}

/// Writes a message as TOML that [`parse`] reads back: keys in the order of the message, a list of tables with one
/// entry on a line.
///
/// # Errors
/// [`DocumentError::Reflect`] never for generated types.
pub fn to_toml<M: Message + Name>(message: &M) -> Result<String, DocumentError> {
    Ok(write::toml_document(&write::tree(&descriptors::to_dynamic(message)?)))
}

/// Writes a message as JSON that [`parse`] reads back, with keys in the order of the message.
///
/// # Errors
/// [`DocumentError::Reflect`] never for generated types.
pub fn to_json<M: Message + Name>(message: &M) -> Result<String, DocumentError> {
    Ok(write::json_document(&write::tree(&descriptors::to_dynamic(message)?)))
}

#[cfg(test)]
mod tests;
