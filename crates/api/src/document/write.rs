//! Writing a message as a tree, and a tree as TOML or JSON.

use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, ReflectMessage, Value};
use serde::ser::{Serialize, SerializeMap, SerializeSeq, Serializer};

use super::names;
use super::tree::{Entry, Node, Tree};

/// Turns a message into a tree: fields that are set, in the order of their numbers.
pub(super) fn tree(message: &DynamicMessage) -> Tree {
    let entry = |(field, value): (FieldDescriptor, &Value)| Entry {
        key: field.name().to_owned(),
        line: None,
        node: node(value_tree(&field.kind(), value)),
    };
    Tree::Table(message.fields().map(entry).collect())
}

fn node(value: Tree) -> Node {
    Node { line: None, value }
}

fn value_tree(kind: &Kind, value: &Value) -> Tree {
    match value {
        Value::Bool(flag) => Tree::Bool(*flag),
        Value::I32(number) => Tree::Integer((*number).into()),
        Value::I64(number) => Tree::Integer(*number),
        Value::U32(number) => Tree::Integer((*number).into()),
        Value::U64(number) => {
            i64::try_from(*number).map_or_else(|_| Tree::OutOfRange(number.to_string()), Tree::Integer)
        }
        Value::F32(number) => Tree::Float((*number).into()),
        Value::F64(number) => Tree::Float(*number),
        Value::String(text) => Tree::Text(text.clone()),
        Value::EnumNumber(number) => enum_tree(kind, *number),
        Value::Message(message) => message_tree(message),
        Value::List(items) => Tree::List(items.iter().map(|item| node(value_tree(kind, item))).collect()),
        // The API has neither bytes nor maps; a test walks the descriptors and says so.
        Value::Bytes(_) | Value::Map(_) => Tree::Null,
    }
}

fn enum_tree(kind: &Kind, number: i32) -> Tree {
    let value = kind.as_enum().and_then(|descriptor| descriptor.get_value(number));
    value.map_or(Tree::Integer(number.into()), |value| Tree::Text(names::friendly(&value)))
}

fn message_tree(message: &DynamicMessage) -> Tree {
    if message.descriptor().full_name() != "google.protobuf.Timestamp" {
        return tree(message);
    }
    let part = |name| message.get_field_by_name(name).map(|value| value.into_owned());
    let seconds = part("seconds").and_then(|value| value.as_i64()).unwrap_or_default();
    let nanos = part("nanos").and_then(|value| value.as_i32()).unwrap_or_default();
    let total = i128::from(seconds) * 1_000_000_000 + i128::from(nanos);
    match jiff::Timestamp::from_nanosecond(total) {
        Ok(time) => Tree::Text(time.to_string()),
        Err(_) => Tree::OutOfRange(format!("{seconds} s")),
    }
}

/// Writes the keys of a table, one below the other; a list of tables has one entry on a line.
pub(super) fn toml_document(root: &Tree) -> String {
    let mut text = String::new();
    let Tree::Table(entries) = root else { return text };
    for entry in entries {
        text.push_str(&entry.key);
        text.push_str(" = ");
        match &entry.node.value {
            Tree::List(items) if items.iter().any(|item| matches!(item.value, Tree::Table(_))) => {
                text.push_str("[\n");
                for item in items {
                    text.push_str("  ");
                    inline(&item.value, &mut text);
                    text.push_str(",\n");
                }
                text.push(']');
            }
            value => inline(value, &mut text),
        }
        text.push('\n');
    }
    text
}

fn inline(value: &Tree, text: &mut String) {
    match value {
        Tree::Null => text.push_str("\"\""),
        Tree::Bool(flag) => text.push_str(&toml::Value::Boolean(*flag).to_string()),
        Tree::Integer(number) => text.push_str(&toml::Value::Integer(*number).to_string()),
        Tree::Float(number) => text.push_str(&toml::Value::Float(*number).to_string()),
        Tree::Text(inner) | Tree::Moment(inner) | Tree::OutOfRange(inner) => {
            text.push_str(&toml::Value::String(inner.clone()).to_string());
        }
        Tree::List(items) => {
            text.push('[');
            for (index, item) in items.iter().enumerate() {
                text.push_str(if index == 0 { "" } else { ", " });
                inline(&item.value, text);
            }
            text.push(']');
        }
        Tree::Table(entries) if entries.is_empty() => text.push_str("{}"),
        Tree::Table(entries) => {
            text.push_str("{ ");
            for (index, entry) in entries.iter().enumerate() {
                text.push_str(if index == 0 { "" } else { ", " });
                text.push_str(&entry.key);
                text.push_str(" = ");
                inline(&entry.node.value, text);
            }
            text.push_str(" }");
        }
    }
}

/// Writes a tree as indented JSON.
pub(super) fn json_document(root: &Tree) -> String {
    // Writing to a string fails only for keys that are no texts, and all keys are.
    serde_json::to_string_pretty(root).unwrap_or_default()
}

impl Serialize for Tree {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Null => serializer.serialize_unit(),
            Self::Bool(flag) => serializer.serialize_bool(*flag),
            Self::Integer(number) => serializer.serialize_i64(*number),
            Self::Float(number) => serializer.serialize_f64(*number),
            Self::Text(text) | Self::Moment(text) | Self::OutOfRange(text) => serializer.serialize_str(text),
            Self::List(items) => {
                let mut list = serializer.serialize_seq(Some(items.len()))?;
                for item in items {
                    list.serialize_element(&item.value)?;
                }
                list.end()
            }
            Self::Table(entries) => {
                let mut map = serializer.serialize_map(Some(entries.len()))?;
                for entry in entries {
                    map.serialize_entry(&entry.key, &entry.node.value)?;
                }
                map.end()
            }
        }
    }
}
