//! Canonical protobuf JSON of every message of the API, and JSON objects as `google.protobuf.Struct`.
//!
//! This is the form for programs: lowerCamelCase names, enum values by their full names, 64-bit integers as strings,
//! fields with default values left out, object keys in alphabetical order. Files for people have the friendlier form of
//! [`crate::document`].
//!
//! Source of the mapping: Protocol Buffers documentation, "ProtoJSON Format".

use prost::{Message, Name};
use prost_reflect::{DeserializeOptions, DynamicMessage};
use prost_types::value::Kind;
use prost_types::{ListValue, Struct, Value};

use crate::descriptors::{self, ReflectError};

/// JSON that could not be written or read.
#[derive(Debug, thiserror::Error)]
pub enum JsonError {
    /// The message is not one of the API.
    #[error(transparent)]
    Reflect(#[from] ReflectError),
    /// The JSON does not fit the message, or a message holds what JSON cannot show, such as a time beyond year 9999.
    #[error("JSON of {message}: {source}")]
    Json {
        /// Full name of the message.
        message: String,
        /// What is wrong, and where.
        source: serde_json::Error,
    },
}

fn json_error<M: Name>(source: serde_json::Error) -> JsonError {
    JsonError::Json { message: M::full_name(), source }
}

/// Writes a message as canonical protobuf JSON.
///
/// # Errors
/// [`JsonError::Json`] for a timestamp outside the years 1 to 9999; [`JsonError::Reflect`] never for generated types.
pub fn to_json<M: Message + Name>(message: &M) -> Result<serde_json::Value, JsonError> {
    serde_json::to_value(descriptors::to_dynamic(message)?).map_err(json_error::<M>)
}

/// Reads a message from protobuf JSON. Fields may have their proto names or lowerCamelCase ones; unknown ones are
/// refused.
///
/// # Errors
/// [`JsonError::Json`] if the JSON does not fit the message.
pub fn from_json<M: Message + Name + Default>(json: &serde_json::Value) -> Result<M, JsonError> {
    let descriptor = descriptors::of::<M>()?;
    let options = DeserializeOptions::new().deny_unknown_fields(true);
    let dynamic =
        DynamicMessage::deserialize_with_options(descriptor, json, &options).map_err(json_error::<M>)?;
    Ok(descriptors::from_dynamic(&dynamic)?)
}

/// Largest number up to which every whole number is a double: 2^53.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// Turns a JSON object into a `Struct`. Numbers become doubles, as `Struct` has no others; protobuf JSON writes
/// 64-bit integers as strings, so that nothing is lost.
#[must_use]
pub fn to_struct(object: &serde_json::Map<String, serde_json::Value>) -> Struct {
    Struct { fields: object.iter().map(|(key, value)| (key.clone(), to_value(value))).collect() }
}

/// Turns a JSON value into a `Value`, as [`to_struct`] does.
#[must_use]
pub fn to_value(json: &serde_json::Value) -> Value {
    let kind = match json {
        serde_json::Value::Null => Kind::NullValue(0),
        serde_json::Value::Bool(flag) => Kind::BoolValue(*flag),
        // Without the feature for arbitrary precision every JSON number is a double, or an integer that becomes one.
        serde_json::Value::Number(number) => number.as_f64().map_or(Kind::NullValue(0), Kind::NumberValue),
        serde_json::Value::String(text) => Kind::StringValue(text.clone()),
        serde_json::Value::Array(items) => {
            Kind::ListValue(ListValue { values: items.iter().map(to_value).collect() })
        }
        serde_json::Value::Object(object) => Kind::StructValue(to_struct(object)),
    };
    Value { kind: Some(kind) }
}

/// Turns a `Struct` into a JSON object. Whole numbers up to 2^53 come out as integers; a number that is not finite, which
/// JSON cannot show, comes out as `null`.
#[must_use]
pub fn from_struct(object: &Struct) -> serde_json::Map<String, serde_json::Value> {
    object.fields.iter().map(|(key, value)| (key.clone(), from_value(value))).collect()
}

/// Turns a `Value` into a JSON value, as [`from_struct`] does.
#[must_use]
pub fn from_value(value: &Value) -> serde_json::Value {
    match &value.kind {
        None | Some(Kind::NullValue(_)) => serde_json::Value::Null,
        Some(Kind::BoolValue(flag)) => (*flag).into(),
        Some(Kind::NumberValue(number)) => number_to_json(*number),
        Some(Kind::StringValue(text)) => text.clone().into(),
        Some(Kind::ListValue(list)) => serde_json::Value::Array(list.values.iter().map(from_value).collect()),
        Some(Kind::StructValue(object)) => serde_json::Value::Object(from_struct(object)),
    }
}

fn number_to_json(number: f64) -> serde_json::Value {
    let negative_zero = number == 0.0 && number.is_sign_negative();
    if number.fract() == 0.0 && number.abs() <= EXACT && !negative_zero {
        #[expect(clippy::cast_possible_truncation, reason = "whole and at most 2^53")]
        return (number as i64).into();
    }
    number.into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stringing::{Material, Wire, strength_basis};
    use crate::{cutting, journal, stringing};
    use expect_test::expect;
    use serde_json::json;

    fn wire() -> Wire {
        Wire {
            wire_id: "mw-in-13".to_owned(),
            material: Material::SteelRound.into(),
            diameter_mm: 0.7874,
            strength: Some(stringing::StrengthBasis {
                label: "stated".to_owned(),
                basis: Some(strength_basis::Basis::Stated(stringing::StrengthStated { tensile_mpa: 2265.0 })),
            }),
            create_time: Some(prost_types::Timestamp { seconds: 0, nanos: 1_000 }),
            ..Wire::default()
        }
    }

    #[test]
    fn a_wire_in_canonical_form() {
        let json = to_json(&wire()).unwrap();
        expect![[r#"
            {
              "createTime": "1970-01-01T00:00:00.000001Z",
              "diameterMm": 0.7874,
              "material": "MATERIAL_STEEL_ROUND",
              "strength": {
                "label": "stated",
                "stated": {
                  "tensileMpa": 2265.0
                }
              },
              "wireId": "mw-in-13"
            }"#]]
        .assert_eq(&serde_json::to_string_pretty(&json).unwrap());
        assert_eq!(from_json::<Wire>(&json).unwrap(), wire());
    }

    #[test]
    fn long_integers_are_strings_and_unknown_fields_are_refused() {
        let coil = cutting::Coil { received_um: i64::MAX, ..cutting::Coil::default() };
        let json = to_json(&coil).unwrap();
        assert_eq!(json, json!({ "receivedUm": "9223372036854775807" }));
        assert_eq!(from_json::<cutting::Coil>(&json).unwrap(), coil);

        let error = from_json::<cutting::Coil>(&json!({ "colour": "red" })).unwrap_err();
        assert!(error.to_string().contains("colour"), "{error}");
    }

    #[test]
    fn structs_keep_json() {
        let json = json!({
            "a": null, "b": true, "c": "text", "d": [1, -2.5, { "e": [] }], "f": {}, "g": 9_007_199_254_740_992_i64,
        });
        let object = json.as_object().unwrap();
        assert_eq!(&from_struct(&to_struct(object)), object);
    }

    #[test]
    fn a_struct_inside_a_message_is_plain_json() {
        let after = to_struct(json!({ "state": "open", "count": 3 }).as_object().unwrap());
        let entry = journal::Entry { sequence: 7, after: Some(after), ..journal::Entry::default() };
        let json = to_json(&entry).unwrap();
        assert_eq!(json, json!({ "sequence": "7", "after": { "state": "open", "count": 3.0 } }));
        assert_eq!(from_json::<journal::Entry>(&json).unwrap(), entry);
    }

    #[test]
    fn what_json_cannot_show_is_null() {
        let value = Value { kind: Some(Kind::NumberValue(f64::NAN)) };
        assert_eq!(from_value(&value), serde_json::Value::Null);
        assert_eq!(number_to_json(-0.0).to_string(), "-0.0");
    }
}
