//! Calendar days as text.

/// Whether `text` is a day of the Gregorian calendar in the form of ISO 8601, "2026-11-30", of the years 0001 to 9999.
/// Such texts sort like the days that they name.
#[must_use]
pub fn is_iso_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    let shape = bytes.len() == 10
        && bytes
            .iter()
            .enumerate()
            .all(|(i, b)| if i == 4 || i == 7 { *b == b'-' } else { b.is_ascii_digit() });
    if !shape {
        return false;
    }
    let number = |range: std::ops::Range<usize>| text.get(range).and_then(|part| part.parse::<u32>().ok());
    match (number(0..4), number(5..7), number(8..10)) {
        (Some(year), Some(month), Some(day)) => year >= 1 && (1..=days_in(year, month)).contains(&day),
        _ => false,
    }
}

/// Days in a month; 0 for a month that does not exist.
fn days_in(year: u32, month: u32) -> u32 {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days() {
        for good in ["2026-11-30", "2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"] {
            assert!(is_iso_date(good), "{good}");
        }
        for bad in [
            "",
            "2026-11-31",
            "2026-02-29",
            "1900-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-1-1",
            "2026-11-00",
            "20261130",
            "0000-01-01",
            "2026-11-3é",
            "2026/11/30",
            "2026-11-30T",
        ] {
            assert!(!is_iso_date(bad), "{bad}");
        }
    }
}
