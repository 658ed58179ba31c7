//! Events as CloudEvents 1.0: made from their parts, and written in the JSON Event Format.
//!
//! Source: CloudEvents 1.0.2, "JSON Event Format" and "Protobuf Event Format". The message itself is
//! [`feed::CloudEvent`](crate::feed::CloudEvent).

use serde_json::{Map, Value};

use crate::convert::timestamp;
use crate::feed::cloud_event::Data;
use crate::feed::cloud_event_attribute_value::Attr;
use crate::feed::{CloudEvent, CloudEventAttributeValue};

/// The version of the specification.
pub const SPEC_VERSION: &str = "1.0";
/// The media type of an event in the JSON Event Format.
pub const MEDIA_TYPE: &str = "application/cloudevents+json";
/// The media type of the data of every event.
const DATA_TYPE: &str = "application/json";

/// What an event says.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts<'a> {
    /// Tells it from the others of the source.
    pub id: String,
    /// Where it happened, as a URI.
    pub source: &'a str,
    /// What happened.
    pub kind: &'a str,
    /// What it happened to.
    pub subject: &'a str,
    /// When, in µs since 1970 (UTC).
    pub time_us: i64,
    /// Full name of the message that describes the data.
    pub schema: &'a str,
    /// The data.
    pub data: &'a Value,
}

/// Makes an event.
#[must_use]
pub fn event(parts: Parts<'_>) -> CloudEvent {
    let attribute = |name: &str, attr: Attr| (name.to_owned(), CloudEventAttributeValue { attr: Some(attr) });
    let attributes = [
        attribute("subject", Attr::CeString(parts.subject.to_owned())),
        attribute("time", Attr::CeTimestamp(timestamp(parts.time_us))),
        attribute("datacontenttype", Attr::CeString(DATA_TYPE.to_owned())),
        attribute("dataschema", Attr::CeUri(format!("urn:becket:schema:{}", parts.schema))),
    ];
    CloudEvent {
        id: parts.id,
        source: parts.source.to_owned(),
        spec_version: SPEC_VERSION.to_owned(),
        r#type: parts.kind.to_owned(),
        attributes: attributes.into(),
        data: Some(Data::TextData(parts.data.to_string())),
    }
}

/// Writes an event in the JSON Event Format. Data that are JSON stand in it as they are, other text as a string, and bytes in
/// base64 as `data_base64`.
#[must_use]
pub fn to_json(event: &CloudEvent) -> Value {
    use base64::Engine as _;
    let base64 = |bytes: &[u8]| base64::engine::general_purpose::STANDARD.encode(bytes);
    let CloudEvent { id, source, spec_version, r#type, attributes, data } = event;
    let mut fields = Map::new();
    let mut add = |name: &str, value: Value| fields.insert(name.to_owned(), value);
    add("specversion", spec_version.as_str().into());
    add("id", id.as_str().into());
    add("source", source.as_str().into());
    add("type", r#type.as_str().into());
    for (name, value) in attributes {
        let value = match &value.attr {
            None => continue,
            Some(Attr::CeBoolean(flag)) => (*flag).into(),
            Some(Attr::CeInteger(number)) => (*number).into(),
            Some(Attr::CeString(text) | Attr::CeUri(text) | Attr::CeUriRef(text)) => text.as_str().into(),
            Some(Attr::CeBytes(bytes)) => base64(bytes).into(),
            Some(Attr::CeTimestamp(time)) => time.to_string().into(),
        };
        add(name, value);
    }
    match data {
        None => {}
        Some(Data::TextData(text)) => {
            let value = serde_json::from_str(text).unwrap_or_else(|_| text.as_str().into());
            add("data", value);
        }
        Some(Data::BinaryData(bytes)) => drop(add("data_base64", base64(bytes).into())),
        Some(Data::ProtoData(any)) => drop(add("data_base64", base64(&any.value).into())),
    }
    Value::Object(fields)
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;
    use serde_json::json;

    #[test]
    fn an_event_in_the_json_format() {
        let data = json!({ "coilId": "C1", "remainingUm": "1000" });
        let made = event(Parts {
            id: "17".to_owned(),
            source: "urn:becket:shop:00",
            kind: "becket.coil.weighed.v1",
            subject: "coils/C1",
            time_us: 1_764_000_000_123_456,
            schema: "becket.feed.v1.CoilData",
            data: &data,
        });
        expect![[r#"
            {
              "data": {
                "coilId": "C1",
                "remainingUm": "1000"
              },
              "datacontenttype": "application/json",
              "dataschema": "urn:becket:schema:becket.feed.v1.CoilData",
              "id": "17",
              "source": "urn:becket:shop:00",
              "specversion": "1.0",
              "subject": "coils/C1",
              "time": "2025-11-24T16:00:00.123456Z",
              "type": "becket.coil.weighed.v1"
            }"#]]
        .assert_eq(&serde_json::to_string_pretty(&to_json(&made)).unwrap());
    }

    #[test]
    fn data_that_are_no_json_are_told_as_they_are() {
        let of = |data| to_json(&CloudEvent { data: Some(data), ..CloudEvent::default() });
        assert_eq!(of(Data::TextData("a {".to_owned()))["data"], "a {");
        assert_eq!(of(Data::BinaryData(vec![0, 255]))["data_base64"], "AP8=");
    }
}
