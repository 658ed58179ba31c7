//! Progress of work that lasts: on standard error, and only where that is a terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Shows how many of a known number are done.
pub(crate) fn bar(what: &'static str, total: usize) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(u64::try_from(total).ok(), ProgressDrawTarget::stderr());
    bar.set_style(style("{msg} {wide_bar} {pos} of {len}"));
    bar.set_message(what);
    bar
}

/// Shows how many are done where the total is not known.
pub(crate) fn counter(what: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
    bar.set_style(style("{msg} {pos}"));
    bar.set_message(what);
    bar
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
