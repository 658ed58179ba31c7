//! The common shape of TOML and JSON: values with the lines on which they stand.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use toml::de::{DeTable, DeValue};

use super::Format;
use super::fault::{DocumentError, DocumentFault};

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Node {
    pub(super) line: Option<u64>,
    pub(super) value: Tree,
}

/// A value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Tree {
    Null,
    Bool(bool),
    Integer(i64),
    Float(f64),
    Text(String),
    /// A TOML date or time: kept as it was written, since a field for a date is a text.
    Moment(String),
    /// A number that is neither a 64-bit integer nor a double.
    OutOfRange(String),
    List(Vec<Node>),
    Table(Vec<Entry>),
}

/// A key, its line and its value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Entry {
    pub(super) key: String,
    pub(super) line: Option<u64>,
    pub(super) node: Node,
}

impl Tree {
    /// What it is, for a person.
    pub(super) fn kind(&self) -> String {
        match self {
            Self::Null => "null".to_owned(),
            Self::Bool(flag) => flag.to_string(),
            Self::Integer(number) => number.to_string(),
            Self::Float(number) => number.to_string(),
            Self::Text(text) => format!("{:?}", shortened(text)),
            Self::Moment(text) | Self::OutOfRange(text) => shortened(text),
            Self::List(_) => "a list".to_owned(),
            Self::Table(_) => "a table".to_owned(),
        }
    }
}

/// A text from a file as an error shows it.
pub(crate) fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text.to_owned(),
    }
}

/// Reads a text into a tree.
pub(super) fn parse(text: &str, format: Format) -> Result<Node, DocumentError> {
    // Editors on some systems begin a file with a byte-order mark.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    match format {
        Format::Toml => parse_toml(text),
        Format::Json => serde_json::from_str(text).map_err(|error| {
            let line = u64::try_from(error.line()).ok().filter(|&line| line > 0);
            DocumentError::Faulty(vec![DocumentFault::new(line, "", format!("not JSON: {error}"))])
        }),
    }
}

fn parse_toml(text: &str) -> Result<Node, DocumentError> {
    let lines = Lines::new(text);
    // Only the first error of syntax is told: what follows one is mostly its echo.
    let root = DeTable::parse(text).map_err(|error| {
        let line = error.span().map(|span| lines.of(span.start));
        DocumentError::Faulty(vec![DocumentFault::new(line, "", format!("not TOML: {}", error.message()))])
    })?;
    Ok(Node { line: Some(1), value: table(root.get_ref(), &lines) })
}

fn table(from: &DeTable<'_>, lines: &Lines) -> Tree {
    let mut entries: Vec<(usize, Entry)> = from
        .iter()
        .map(|(key, value)| {
            let line = Some(lines.of(key.span().start));
            let node = Node { line: Some(lines.of(value.span().start)), value: tree(value.get_ref(), lines) };
            (key.span().start, Entry { key: key.get_ref().to_string(), line, node })
        })
        .collect();
    // The map is sorted by key; faults should come in the order of the file.
    entries.sort_by_key(|(start, _)| *start);
    Tree::Table(entries.into_iter().map(|(_, entry)| entry).collect())
}

fn tree(from: &DeValue<'_>, lines: &Lines) -> Tree {
    match from {
        DeValue::String(text) => Tree::Text(text.to_string()),
        DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
            Ok(integer) => Tree::Integer(integer),
            Err(_) => Tree::OutOfRange(number.to_string()),
        },
        DeValue::Float(number) => match number.as_str().parse() {
            Ok(float) => Tree::Float(float),
            Err(_) => Tree::OutOfRange(number.to_string()),
        },
        DeValue::Boolean(flag) => Tree::Bool(*flag),
        DeValue::Datetime(moment) => Tree::Moment(moment.to_string()),
        DeValue::Array(items) => Tree::List(
            items
                .iter()
                .map(|item| Node {
                    line: Some(lines.of(item.span().start)),
                    value: tree(item.get_ref(), lines),
                })
                .collect(),
        ),
        DeValue::Table(inner) => table(inner, lines),
    }
}

/// Starts of lines, to turn an offset into a line number.
struct Lines(Vec<usize>);

impl Lines {
    fn new(text: &str) -> Self {
        Self(text.match_indices('\n').map(|(at, _)| at + 1).collect())
    }

    fn of(&self, offset: usize) -> u64 {
        let before = self.0.partition_point(|&start| start <= offset);
        u64::try_from(before).unwrap_or(u64::MAX).saturating_add(1)
    }
}

impl<'de> Deserialize<'de> for Node {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(TreeVisitor).map(|value| Self { line: None, value })
    }
}

/// Reads JSON; in contrast to `serde_json::Value` it keeps the order of keys and refuses a key that is there twice.
struct TreeVisitor;

impl<'de> Visitor<'de> for TreeVisitor {
    type Value = Tree;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Tree, E> {
        Ok(Tree::Null)
    }

    fn visit_bool<E>(self, flag: bool) -> Result<Tree, E> {
        Ok(Tree::Bool(flag))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Tree, E> {
        Ok(Tree::Integer(number))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Tree, E> {
        Ok(i64::try_from(number).map_or_else(|_| Tree::OutOfRange(number.to_string()), Tree::Integer))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Tree, E> {
        Ok(Tree::Float(number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Tree, E> {
        Ok(Tree::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Tree, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element()? {
            list.push(item);
        }
        Ok(Tree::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Tree, A::Error> {
        let mut entries = Vec::<Entry>::new();
        let mut seen = std::collections::HashSet::new();
        while let Some(key) = map.next_key::<String>()? {
            if !seen.insert(key.clone()) {
                return Err(A::Error::custom(format!("key {:?} is there twice", shortened(&key))));
            }
            entries.push(Entry { key, line: None, node: map.next_value()? });
        }
        Ok(Tree::Table(entries))
    }
}
