//! Random numbers from a seed, and random requests.

use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, Value};

/// Numbers that follow from a seed (SplitMix64: Steele, Lea, Flood, OOPSLA 2014; from memory).
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// Begins at a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub fn number(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 if that is 0.
    pub fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.number() % end).unwrap_or(0)
    }

    /// Whether something happens that happens once in `times`.
    pub fn once_in(&mut self, times: usize) -> bool {
        self.below(times) == 0
    }

    /// One of the choices. The slice must not be empty.
    pub fn choose<'a, T>(&mut self, choices: &'a [T]) -> &'a T {
        &choices[self.below(choices.len())]
    }

    /// Up to `longest` arbitrary bytes.
    pub fn bytes(&mut self, longest: usize) -> Vec<u8> {
        let length = self.below(longest + 1);
        (0..length).map(|_| self.number().to_le_bytes()[0]).collect()
    }
}

/// Texts that a careless or hostile caller may send, beside ids that the demo shop knows.
const TEXTS: [&str; 22] = [
    "",
    " ",
    "C27-0107",
    "S16-0412",
    "concert-270",
    "small-160",
    "a",
    "bench-1",
    "mw-in-16",
    "cu-0.70",
    "R0101",
    "R0104",
    "H2602-05",
    "L-0001",
    "1",
    "2026-12-01",
    "2026-02-30",
    "52.1+52.2",
    "../../etc",
    "'; DROP TABLE coils; --",
    "\u{0}\u{1}",
    "\u{1d11e}\u{202e}e\u{301}",
];

const DOUBLES: [f64; 16] = [
    0.0,
    -0.0,
    1.0,
    -1.0,
    0.5,
    13.5,
    440.0,
    1000.0,
    1e-300,
    1e300,
    f64::MAX,
    f64::MIN,
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    5e-324,
];

const INTEGERS: [i32; 12] = [0, 1, 2, 3, -1, 7, 49, 88, 500, 501, i32::MAX, i32::MIN];

/// A message with random content: sound values, senseless ones and such as overflow if nobody looks.
#[must_use]
pub fn message(descriptor: &MessageDescriptor, random: &mut Random) -> DynamicMessage {
    message_at(descriptor, random, 0)
}

fn message_at(descriptor: &MessageDescriptor, random: &mut Random, depth: usize) -> DynamicMessage {
    let mut message = DynamicMessage::new(descriptor.clone());
    for field in descriptor.fields() {
        // Most fields are given; deep down fewer, so that messages end.
        if random.below(10) < 8_usize.saturating_sub(depth * 2) {
            let value = field_value(&field, random, depth);
            message.set_field(&field, value);
        }
    }
    message
}

fn field_value(field: &FieldDescriptor, random: &mut Random, depth: usize) -> Value {
    if !field.is_list() {
        return single(&field.kind(), random, depth);
    }
    let count = if random.once_in(20) { 300 } else { random.below(4) };
    let count = if depth > 1 { count.min(3) } else { count };
    Value::List((0..count).map(|_| single(&field.kind(), random, depth)).collect())
}

fn single(kind: &Kind, random: &mut Random, depth: usize) -> Value {
    match kind {
        Kind::Double => Value::F64(*random.choose(&DOUBLES)),
        Kind::Float => Value::F32(f32::NAN),
        Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => Value::I32(*random.choose(&INTEGERS)),
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => {
            Value::I64(i64::from(*random.choose(&INTEGERS)) << random.below(33))
        }
        Kind::Uint32 | Kind::Fixed32 => Value::U32(u32::MAX),
        Kind::Uint64 | Kind::Fixed64 => Value::U64(random.number()),
        Kind::Bool => Value::Bool(random.once_in(2)),
        Kind::String => Value::String(text(random)),
        Kind::Bytes => Value::Bytes(random.bytes(64).into()),
        Kind::Enum(_) => Value::EnumNumber(*random.choose(&INTEGERS)),
        Kind::Message(inner) => Value::Message(message_at(inner, random, depth + 1)),
    }
}

fn text(random: &mut Random) -> String {
    match random.below(12) {
        0 => "x".repeat(random.below(3000)),
        1 => format!("fuzz-{}", random.below(100)),
        _ => (*random.choose(&TEXTS)).to_owned(),
    }
}
