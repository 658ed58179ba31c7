//! Times, etags, and what must be given.

use expect_test::expect;
use proptest::prelude::*;
use prost_types::Timestamp;

use super::*;
use crate::stringing::Scale;

proptest! {
    #[test]
    fn times_come_back(us: i64) {
        let time = timestamp(us);
        prop_assert!((0..1_000_000_000).contains(&time.nanos));
        prop_assert_eq!(micros(&time), Some(us));
    }

    #[test]
    fn no_timestamp_panics(seconds: i64, nanos: i32) {
        let _ = micros(&Timestamp { seconds, nanos });
    }
}

#[test]
fn etags() {
    let stamps = Stamps { version: 12, create_us: 1, update_us: 2 };
    assert_eq!(etag_version(&stamps.etag()), Some(12));
    for foreign in ["", "0", "-1", "+12", "012", "12 ", "abc", "99999999999999999999"] {
        assert_eq!(etag_version(foreign), None, "{foreign:?}");
    }
}

#[test]
fn a_missing_message_is_a_fault() {
    assert_eq!(given("scale", Some(&1)), Ok(&1));
    check(
        &[given::<Scale>("scale", None).unwrap_err()],
        &expect![[r#"scale: "nothing" is not allowed; allowed: a value; it must be given"#]],
    );
}
