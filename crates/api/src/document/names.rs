//! Friendly names of enum values: `LOOPED_BACK` of `HITCH_STYLE_LOOPED_BACK`, in lower case.

use prost_reflect::{EnumDescriptor, EnumValueDescriptor};

/// End of the name of every zero value; what stands before it is the prefix of all values of the enum.
const ZERO: &str = "UNSPECIFIED";

/// Friendly name of a value.
pub(super) fn friendly(value: &EnumValueDescriptor) -> String {
    enum_name(value.parent_enum().default_value().name(), value.name())
}

/// Number of the value with a friendly name.
pub(super) fn number(descriptor: &EnumDescriptor, name: &str) -> Option<i32> {
    descriptor.values().find(|value| friendly(value) == name).map(|value| value.number())
}

/// Friendly names of all values that may be stated.
pub(super) fn allowed(descriptor: &EnumDescriptor) -> Vec<String> {
    descriptor.values().filter(|value| value.number() != 0).map(|value| friendly(&value)).collect()
}

/// Friendly form of the full name of an enum value; the full name of the zero value tells the prefix of the enum.
///
/// # Examples
/// ```
/// use becket_api::stringing::HitchStyle;
/// let zero = HitchStyle::Unspecified.as_str_name();
/// assert_eq!(becket_api::document::enum_name(zero, HitchStyle::LoopedBack.as_str_name()), "looped_back");
/// ```
#[must_use]
pub fn enum_name(zero_name: &str, full_name: &str) -> String {
    let prefix = zero_name.strip_suffix(ZERO).unwrap_or_default();
    full_name.strip_prefix(prefix).unwrap_or(full_name).to_lowercase()
}
