//! Round trips and faults of the conversions.

mod coil;
mod cut_list;
mod job;
mod policy;
mod scale;
mod stamps;

use expect_test::Expect;
use proptest::prelude::*;

use super::*;

fn check(faults: &[Fault], expected: &Expect) {
    let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
    expected.assert_eq(&lines.join("\n"));
}

fn number() -> impl Strategy<Value = f64> {
    proptest::num::f64::NORMAL | proptest::num::f64::ZERO
}

fn text() -> impl Strategy<Value = String> {
    ".{0,8}"
}
