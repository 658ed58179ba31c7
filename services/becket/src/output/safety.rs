//! The note below every figure that a person acts on.

/// What to wear, where to stand, and what the figures are not.
///
/// Eye protection by ANSI/ISEA Z87.1 or EN 166; the rest is common practice, no source.
pub(crate) const SAFETY_NOTE: &str = "\
Safety: wear eye protection (ANSI/ISEA Z87.1, EN 166) and gloves, and stand out of the line of the string:
wire springs when it is cut, and a breaking string whips. Never load a plate beyond its maker's limits.
These figures are a calculation; they do not replace the plate maker's limits, local safety rules, or a
qualified piano technician.
";
