//! Reading a message from a tree along its descriptor.

use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, Value};

use super::fault::{DocumentFault, below};
use super::names;
use super::tree::{Node, Tree, shortened};

const TIMESTAMP: &str = "google.protobuf.Timestamp";

/// Reads a message; what is faulty is left out of it and told in `faults`.
pub(super) fn message(
    descriptor: &MessageDescriptor,
    node: &Node,
    path: &str,
    faults: &mut Vec<DocumentFault>,
) -> DynamicMessage {
    let mut message = DynamicMessage::new(descriptor.clone());
    let Tree::Table(entries) = &node.value else {
        faults.push(wanted(node, path, "a table"));
        return message;
    };
    for entry in entries {
        let path = below(path, &shortened(&entry.key));
        let Some(field) = descriptor.get_field_by_name(&entry.key) else {
            let known: Vec<_> = descriptor.fields().map(|field| field.name().to_owned()).collect();
            let problem = format!("there is no such key; keys are {}", known.join(", "));
            faults.push(DocumentFault::new(entry.line, path, problem));
            continue;
        };
        if let Some(other) = rival(&message, &field) {
            let problem = format!("only one of {} and {other} may be given", field.name());
            faults.push(DocumentFault::new(entry.line, path, problem));
            continue;
        }
        if let Some(value) = field_value(&field, &entry.node, &path, faults) {
            message.set_field(&field, value);
        }
    }
    message
}

/// Another field of the same choice that is set already.
fn rival(message: &DynamicMessage, field: &FieldDescriptor) -> Option<String> {
    let choice = field.containing_oneof()?;
    let other = choice.fields().find(|other| message.has_field(other))?;
    Some(other.name().to_owned())
}

fn field_value(
    field: &FieldDescriptor,
    node: &Node,
    path: &str,
    faults: &mut Vec<DocumentFault>,
) -> Option<Value> {
    if !field.is_list() {
        return single(&field.kind(), node, path, faults);
    }
    let Tree::List(items) = &node.value else {
        faults.push(wanted(node, path, "a list"));
        return None;
    };
    let mut values = Vec::with_capacity(items.len());
    for (index, item) in items.iter().enumerate() {
        values.extend(single(&field.kind(), item, &format!("{path}[{index}]"), faults));
    }
    Some(Value::List(values))
}

/// Reads one value of a kind.
pub(super) fn single(kind: &Kind, node: &Node, path: &str, faults: &mut Vec<DocumentFault>) -> Option<Value> {
    let read = match kind {
        Kind::Message(descriptor) if descriptor.full_name() == TIMESTAMP => timestamp(descriptor, node),
        Kind::Message(descriptor) => {
            return Some(Value::Message(message(descriptor, node, path, faults)));
        }
        _ => scalar(kind, &node.value),
    };
    read.map_err(|expected| faults.push(wanted(node, path, &expected))).ok()
}

/// Reads a value that is not a message; the error says what is allowed.
fn scalar(kind: &Kind, value: &Tree) -> Result<Value, String> {
    match (kind, value) {
        (Kind::Double, Tree::Float(number)) if number.is_finite() => Ok(Value::F64(*number)),
        (Kind::Double, Tree::Integer(number)) => double(*number).map(Value::F64),
        (Kind::Double, _) => Err("a number".to_owned()),
        (Kind::Int32, Tree::Integer(number)) => {
            i32::try_from(*number).map(Value::I32).map_err(|_| "a whole number of at most 32 bits".to_owned())
        }
        (Kind::Int64, Tree::Integer(number)) => Ok(Value::I64(*number)),
        (Kind::Int32 | Kind::Int64, _) => Err("a whole number".to_owned()),
        (Kind::Bool, Tree::Bool(flag)) => Ok(Value::Bool(*flag)),
        (Kind::Bool, _) => Err("true or false".to_owned()),
        // A date without quotes is what a person means by one.
        (Kind::String, Tree::Text(text) | Tree::Moment(text)) => Ok(Value::String(text.clone())),
        (Kind::String, _) => Err("a text in quotes".to_owned()),
        (Kind::Enum(descriptor), Tree::Text(text)) => names::number(descriptor, text)
            .map(Value::EnumNumber)
            .ok_or_else(|| format!("one of {}", names::allowed(descriptor).join(", "))),
        (Kind::Enum(descriptor), _) => Err(format!("one of {}", names::allowed(descriptor).join(", "))),
        _ => Err("nothing: this field cannot be given in a file".to_owned()),
    }
}

/// A whole number as a double, if that is exact.
fn double(number: i64) -> Result<f64, String> {
    const EXACT: u64 = 1 << 53;
    if number.unsigned_abs() > EXACT {
        return Err("a number of at most 2^53, or one with a decimal point".to_owned());
    }
    #[expect(clippy::cast_precision_loss, reason = "at most 2^53")]
    Ok(number as f64)
}

fn timestamp(descriptor: &MessageDescriptor, node: &Node) -> Result<Value, String> {
    let (Tree::Text(text) | Tree::Moment(text)) = &node.value else { return Err(a_time()) };
    let time: jiff::Timestamp = text.parse().map_err(|_| a_time())?;
    // Protobuf counts nanoseconds forward from the second before.
    let nanos = time.as_nanosecond();
    let (seconds, nanos) = (nanos.div_euclid(1_000_000_000), nanos.rem_euclid(1_000_000_000));
    let mut message = DynamicMessage::new(descriptor.clone());
    let seconds = i64::try_from(seconds).map_err(|_| a_time())?;
    let nanos = i32::try_from(nanos).map_err(|_| a_time())?;
    message.set_field_by_name("seconds", Value::I64(seconds));
    message.set_field_by_name("nanos", Value::I32(nanos));
    Ok(Value::Message(message))
}

fn a_time() -> String {
    "a time such as 2026-11-30T08:15:00Z".to_owned()
}

fn wanted(node: &Node, path: &str, expected: &str) -> DocumentFault {
    DocumentFault::new(node.line, path, format!("{} is not allowed; allowed: {expected}", node.value.kind()))
}
