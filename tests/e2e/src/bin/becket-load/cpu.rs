//! Time that the threads of this process have worked: unlike the clock it does not run while other programs have the
//! machine.

use std::time::Duration;

/// Name of the threads of the measured service.
pub(crate) const SERVICE: &str = "service";
/// Name of the threads of the bare service.
pub(crate) const BARE: &str = "bare";
/// Name of the threads of the callers.
pub(crate) const CALLERS: &str = "callers";
/// How the names of the threads of SQLite's connections begin; only the measured service has a database.
const DATABASE: &str = "sqlx-";

/// Time that a service's threads have worked since they were started; `None` where the system does not tell (it is Linux's
/// `/proc` that does).
pub(crate) fn worked(name: &str) -> Option<Duration> {
    let mut sum = Duration::ZERO;
    for thread in std::fs::read_dir("/proc/self/task").ok()?.flatten() {
        let read = |file: &str| std::fs::read_to_string(thread.path().join(file)).ok();
        // A thread may end in between.
        let Some(comm) = read("comm") else { continue };
        if comm.trim_end() == name || (name == SERVICE && comm.starts_with(DATABASE)) {
            sum = sum.saturating_add(told(&read("schedstat")?)?);
        }
    }
    Some(sum)
}

/// Time that the calling thread has worked since it was started.
pub(crate) fn worked_here() -> Option<Duration> {
    told(&std::fs::read_to_string("/proc/thread-self/schedstat").ok()?)
}

/// The first number of `schedstat` is the time on a processor in ns.
fn told(schedstat: &str) -> Option<Duration> {
    Some(Duration::from_nanos(schedstat.split_ascii_whitespace().next()?.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;

    #[test]
    fn a_thread_that_works_is_counted_and_one_that_rests_is_not() {
        let busy = |name: &str, works: bool| {
            let run = move || {
                let begin = Instant::now();
                let name = std::thread::current().name().unwrap_or_default().to_owned();
                let before = worked(&name).unwrap();
                while works && worked(&name).unwrap() - before < Duration::from_millis(20) {
                    assert!(begin.elapsed() < Duration::from_secs(60), "it works and is not counted");
                }
                std::thread::sleep(Duration::from_millis(20));
                worked(&name).unwrap() - before
            };
            std::thread::Builder::new().name(name.to_owned()).spawn(run).unwrap().join().unwrap()
        };
        assert!(busy("works-1", true) >= Duration::from_millis(20));
        assert!(busy("rests-1", false) < Duration::from_millis(10));
    }
}
