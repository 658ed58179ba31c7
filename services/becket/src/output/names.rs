//! Names of notes, words for the API's enums, and times for people.

use prost_types::Timestamp;

const TONES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

/// Name of a note by its number: 1 is A0, 49 is A4, 88 is C8, -8 is C0.
pub(crate) fn note_name(note: i32) -> String {
    let semitones = note.saturating_add(8);
    let tone = usize::try_from(semitones.rem_euclid(12)).unwrap_or_default();
    format!("{}{}", TONES.get(tone).unwrap_or(&"?"), semitones.div_euclid(12))
}

/// Names of the notes that a piece serves, from its id: `52.3+53.1` is `C5 C#5`.
pub(crate) fn notes_of_piece(piece_id: &str) -> String {
    let mut names: Vec<String> = Vec::new();
    for string_id in piece_id.split('+') {
        let note = string_id.split('.').next().and_then(|note| note.parse().ok());
        let name = note.map_or_else(|| string_id.to_owned(), note_name);
        if names.last() != Some(&name) {
            names.push(name);
        }
    }
    names.join(" ")
}

/// The short word of an API enum: `JOB_STATE_GIVEN_UP` is `given up`.
pub(crate) fn word<E: TryFrom<i32>>(value: i32, name: impl Fn(&E) -> &'static str, prefix: &str) -> String {
    match E::try_from(value) {
        Ok(known) => {
            let name = name(&known);
            let short = name.strip_prefix(prefix).unwrap_or(name).to_lowercase().replace('_', " ");
            if short == "unspecified" { String::new() } else { short }
        }
        // A newer server may know more values than this client.
        Err(_) => format!("({value})"),
    }
}

/// A time to the second, in UTC; empty if there is none.
pub(crate) fn time(timestamp: Option<&Timestamp>) -> String {
    timestamp
        .and_then(|at| jiff::Timestamp::new(at.seconds, at.nanos).ok())
        .map(|at| at.strftime("%Y-%m-%d %H:%M:%SZ").to_string())
        .unwrap_or_default()
}

/// `1 piece`, `2 pieces`.
pub(crate) fn count(number: i64, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::JobState;

    use super::*;

    #[test]
    fn notes_have_their_names() {
        let cases =
            [(1, "A0"), (49, "A4"), (52, "C5"), (53, "C#5"), (88, "C8"), (-8, "C0"), (4, "C1"), (40, "C4")];
        for (note, name) in cases {
            assert_eq!(note_name(note), name, "{note}");
        }
        assert_eq!(notes_of_piece("52.3+53.1"), "C5 C#5");
        assert_eq!(notes_of_piece("52.1+52.2"), "C5");
        assert_eq!(notes_of_piece("1.1"), "A0");
        assert_eq!(notes_of_piece("odd"), "odd");
    }

    #[test]
    fn enums_have_words() {
        let state = |value| word(value, JobState::as_str_name, "JOB_STATE_");
        assert_eq!(state(JobState::GivenUp.into()), "given up");
        assert_eq!(state(0), "");
        assert_eq!(state(99), "(99)");
    }

    #[test]
    fn times_are_in_utc() {
        let at = Timestamp { seconds: 1_764_000_000, nanos: 5 };
        assert_eq!(time(Some(&at)), "2025-11-24 16:00:00Z");
        assert_eq!(time(None), "");
    }
}
