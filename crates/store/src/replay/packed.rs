//! A row in few bytes. A replay holds every row of a shop at once, and as values they would take more than twice as much.

use crate::tables::{Row, Value};

/// A row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed(Box<[u8]>);

const NULL: u8 = 0;
const TEXT: u8 = 1;
const INTEGER: u8 = 2;
const REAL: u8 = 3;
const FALSE: u8 = 4;
const TRUE: u8 = 5;
const BYTES: u8 = 6;

impl Packed {
    /// Packs a row.
    #[must_use]
    pub fn of(row: &Row) -> Self {
        let mut bytes = Vec::new();
        for value in row {
            match value {
                Value::Null => bytes.push(NULL),
                Value::Text(text) => long(&mut bytes, TEXT, text.as_bytes()),
                // Seven bits of the number at a time, its sign in the lowest one, so that small ones are short.
                Value::Integer(number) => {
                    bytes.push(INTEGER);
                    varint(&mut bytes, ((number << 1) ^ (number >> 63)).cast_unsigned());
                }
                Value::Real(number) => {
                    bytes.push(REAL);
                    bytes.extend(number.to_bits().to_le_bytes());
                }
                Value::Truth(truth) => bytes.push(if *truth { TRUE } else { FALSE }),
                Value::Bytes(content) => long(&mut bytes, BYTES, content),
            }
        }
        Self(bytes.into())
    }

    /// The row.
    #[must_use]
    pub fn row(&self) -> Row {
        let mut rest: &[u8] = &self.0;
        let mut row = Row::new();
        while let Some(value) = next(&mut rest) {
            row.push(value);
        }
        row
    }
}

fn long(bytes: &mut Vec<u8>, kind: u8, content: &[u8]) {
    bytes.push(kind);
    varint(bytes, u64::try_from(content.len()).unwrap_or(u64::MAX));
    bytes.extend(content);
}

fn varint(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        bytes.push(number.to_le_bytes()[0] | 0x80);
        number >>= 7;
    }
    bytes.push(number.to_le_bytes()[0]);
}

/// Takes a value off the front; `None` at the end.
fn next(rest: &mut &[u8]) -> Option<Value> {
    let (kind, after) = rest.split_first()?;
    *rest = after;
    Some(match *kind {
        TEXT => Value::Text(String::from_utf8_lossy(take_long(rest)?).into_owned()),
        INTEGER => {
            let folded = take_varint(rest)?;
            Value::Integer((folded >> 1).cast_signed() ^ -(folded & 1).cast_signed())
        }
        REAL => {
            let (bits, after) = rest.split_first_chunk()?;
            *rest = after;
            Value::Real(f64::from_bits(u64::from_le_bytes(*bits)))
        }
        FALSE => Value::Truth(false),
        TRUE => Value::Truth(true),
        BYTES => Value::Bytes(take_long(rest)?.to_vec()),
        _ => Value::Null,
    })
}

fn take_long<'a>(rest: &mut &'a [u8]) -> Option<&'a [u8]> {
    let length = usize::try_from(take_varint(rest)?).ok()?;
    let (content, after) = rest.split_at_checked(length)?;
    *rest = after;
    Some(content)
}

fn take_varint(rest: &mut &[u8]) -> Option<u64> {
    let mut number = 0;
    for shift in (0..64).step_by(7) {
        let (byte, after) = rest.split_first()?;
        *rest = after;
        number |= u64::from(byte & 0x7f) << shift;
        if *byte < 0x80 {
            break;
        }
    }
    Some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_come_out_as_they_went_in() {
        let numbers = [0, 1, -1, 63, 64, -64, -65, 127, 128, 1 << 40, i64::MAX, i64::MIN, i64::MIN + 1];
        let mut row: Row = numbers.into_iter().map(Value::Integer).collect();
        row.extend(["", "a", "grün\0", &"x".repeat(300)].map(|text| Value::Text(text.to_owned())));
        row.extend([0.1 + 0.2, -0.0, f64::MAX, f64::MIN_POSITIVE].map(Value::Real));
        row.extend([Value::Null, Value::Truth(true), Value::Truth(false), Value::Bytes(vec![0, 255, 6])]);
        let back = Packed::of(&row).row();
        assert_eq!(back, row);
        // And to the bit: -0 is another number than 0 here.
        assert!(matches!(back[18], Value::Real(number) if number.is_sign_negative()));
        assert_eq!(Packed::of(&Row::new()).row(), Row::new());
    }
}
