//! Files that hold many messages, each list under its key.

use prost::{Message, Name};

use super::fault::{DocumentError, DocumentFault, none};
use super::tree::{self, Node, Tree, shortened};
use super::{Format, read, write};
use crate::cutting::{NewCoil, StockRule};
use crate::descriptors;

/// A file of coils: what is in stock, and what the shop calls a remnant.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CoilsDocument {
    /// Coils under `[[coils]]`.
    pub coils: Vec<NewCoil>,
    /// Rules under `[[stock_rules]]`.
    pub stock_rules: Vec<StockRule>,
}

/// Reads a list of messages under a key, such as `wires`, `jobs`, or `lines` of a schedule.
///
/// # Errors
/// [`DocumentError`] with every fault of the text. A file without the key is faulty, one with an empty list is not.
pub fn parse_list<M>(text: &str, format: Format, key: &str) -> Result<Vec<M>, DocumentError>
where
    M: Message + Name + Default,
{
    let mut file = ListFile::open(text, format, &[key])?;
    let items = file.take::<M>(key)?;
    file.close(key)?;
    Ok(items)
}

/// Reads coils and stock rules; either list may be absent.
///
/// # Errors
/// [`DocumentError`] with every fault of the text.
pub fn parse_coils(text: &str, format: Format) -> Result<CoilsDocument, DocumentError> {
    let mut file = ListFile::open(text, format, &["coils", "stock_rules"])?;
    let document = CoilsDocument { coils: file.take("coils")?, stock_rules: file.take("stock_rules")? };
    file.close("coils")?;
    Ok(document)
}

/// Writes a list of messages as TOML, each under `[[key]]`; [`parse_list`] reads it back.
///
/// # Errors
/// [`DocumentError::Reflect`] never for generated types.
pub fn list_to_toml<M: Message + Name>(key: &str, messages: &[M]) -> Result<String, DocumentError> {
    if messages.is_empty() {
        return Ok(format!("{key} = []\n"));
    }
    let mut blocks = Vec::with_capacity(messages.len());
    for message in messages {
        let tree = write::tree(&descriptors::to_dynamic(message)?);
        blocks.push(format!("[[{key}]]\n{}", write::toml_document(&tree)));
    }
    Ok(blocks.join("\n"))
}

/// A file whose lists are taken out one by one, so that the faults of all of them come together.
struct ListFile {
    root: Node,
    found: bool,
    faults: Vec<DocumentFault>,
}

impl ListFile {
    fn open(text: &str, format: Format, keys: &[&str]) -> Result<Self, DocumentError> {
        let root = tree::parse(text, format)?;
        let mut faults = Vec::new();
        match &root.value {
            Tree::Table(entries) => {
                for entry in entries.iter().filter(|entry| !keys.contains(&entry.key.as_str())) {
                    let problem = format!("there is no such key; keys are {}", keys.join(", "));
                    faults.push(DocumentFault::new(entry.line, shortened(&entry.key), problem));
                }
            }
            other => {
                let problem = format!("{} is not allowed; allowed: a table", other.kind());
                faults.push(DocumentFault::new(root.line, "", problem));
            }
        }
        Ok(Self { root, found: false, faults })
    }

    fn take<M: Message + Name + Default>(&mut self, key: &str) -> Result<Vec<M>, DocumentError> {
        let descriptor = descriptors::of::<M>()?;
        let Tree::Table(entries) = &self.root.value else { return Ok(Vec::new()) };
        let Some(entry) = entries.iter().find(|entry| entry.key == key) else { return Ok(Vec::new()) };
        self.found = true;
        let Tree::List(items) = &entry.node.value else {
            let problem = format!("{} is not allowed; allowed: a list", entry.node.value.kind());
            self.faults.push(DocumentFault::new(entry.line, key, problem));
            return Ok(Vec::new());
        };
        let mut messages = Vec::with_capacity(items.len());
        for (index, item) in items.iter().enumerate() {
            let path = format!("{key}[{index}]");
            let message = read::message(&descriptor, item, &path, &mut self.faults);
            messages.push(descriptors::from_dynamic(&message)?);
        }
        Ok(messages)
    }

    /// Tells the faults; a file without any list is the wrong file.
    fn close(mut self, key: &str) -> Result<(), DocumentError> {
        if !self.found && self.faults.is_empty() {
            self.faults.push(DocumentFault::new(None, key, "the file does not have this list"));
        }
        // Several lists may lie mixed; the faults come in the order of the file all the same.
        self.faults.sort_by_key(|fault| fault.line);
        none(self.faults)
    }
}
