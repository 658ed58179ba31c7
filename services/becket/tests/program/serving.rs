//! The program against itself: a server in one process, verbs in others.

use std::{
    io::{BufRead as _, BufReader, Read as _},
    path::Path,
    process::{Child, Command, Output, Stdio},
};

/// A served folder. The server ends with it.
pub(crate) struct Served {
    server: Child,
    url: String,
}

impl Served {
    pub(crate) fn start(data: &Path, more: &[&str]) -> Self {
        Self::start_on("127.0.0.1:0", data, more)
    }

    fn start_on(address: &str, data: &Path, more: &[&str]) -> Self {
        let mut server = Command::new(env!("CARGO_BIN_EXE_becket"))
            .args(["serve", "--listen", address, "--data"])
            .arg(data)
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(server.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let url = line.strip_prefix("becket is ready on ").and_then(|rest| rest.split(',').next());
        let url = url.unwrap_or_else(|| panic!("not ready but {line:?}")).to_owned();
        assert!(line.ends_with(&format!("data in {}\n", data.display())), "{line:?}");
        Self { server, url }
    }

    pub(crate) fn becket(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_becket"))
            .args(["--server", &self.url, "--actor", "ann"])
            .args(words)
            .output()
            .unwrap()
    }

    /// Runs a verb that must succeed and returns what it prints.
    pub(crate) fn ok(&self, words: &[&str]) -> String {
        let output = self.becket(words);
        assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// Asks the server to end, as a service manager does, and waits for it.
    pub(crate) fn terminate(mut self) {
        let kill = Command::new("kill").args(["-TERM", &self.server.id().to_string()]).status().unwrap();
        assert!(kill.success());
        assert!(self.server.wait().unwrap().success());
        let mut rest = String::new();
        self.server.stdout.as_mut().unwrap().read_to_string(&mut rest).unwrap();
        assert_eq!(rest, "", "the ready line is the only one");
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Only this test's own child; it may have ended already.
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

pub(crate) fn demo(name: &str) -> String {
    format!("{}/demo/{name}", env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn load_shop(served: &Served) {
    let wires = served.ok(&["load", "wires", &demo("wires.toml"), "--standard", "inch"]);
    assert!(wires.contains("wires added"), "{wires}");
    for scale in ["scales/concert-270.toml", "scales/small-160.toml"] {
        assert!(served.ok(&["load", "scale", &demo(scale), "--check"]).contains("no faults"));
        assert!(served.ok(&["load", "scale", &demo(scale), "--release"]).contains("released"));
    }
    served.ok(&["load", "station", &demo("station.toml")]);
    served.ok(&["load", "coils", &demo("coils.toml")]);
    served.ok(&["load", "jobs", &demo("jobs.toml")]);
}

#[test]
fn a_shop_is_loaded_planned_cut_and_traced() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let served = Served::start(&data, &[]);
    load_shop(&served);
    assert_eq!(served.ok(&["--format", "csv", "list", "jobs"]).lines().count(), 5);
    let set = served.ok(&["show", "set", "S16-0412"]);
    assert!(set.contains("total tension") && set.contains("EN 166"), "{set}");

    let plan = served.ok(&["plan", "bench-1", "C27-0107"]);
    assert!(plan.contains("L-0001 at bench-1: planned"), "{plan}");
    served.ok(&["start", "L-0001"]);
    // As many as there are reels are mounted at most before the first piece is cut.
    let confirmed = served.ok(&["confirm", "L-0001", "1", "--count", "5"]);
    assert!(confirmed.starts_with("Confirmed steps 1 to 5.\n"), "{confirmed}");
    let record = served.ok(&["--format", "json", "show", "record", "C27-0107"]);
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    let lot = record["lines"].as_array().unwrap().iter().find_map(|line| line["cut"]["lotId"].as_str());
    let trace = served.ok(&["trace", lot.unwrap()]);
    assert!(trace.contains("C27-0107"), "{trace}");

    // A step that is not next is refused, with the reason.
    let refused = served.becket(&["confirm", "L-0001", "9"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("STEP_NOT_NEXT"));

    let before = served.ok(&["show", "cut-list", "L-0001", "--pending", "--summary"]);
    assert!(
        before.contains("L-0001 at bench-1: running") && !before.contains("running, 0 pieces cut"),
        "{before}"
    );
    served.terminate();
    // What was confirmed is there after a restart.
    let again = Served::start(&data, &[]);
    assert_eq!(again.ok(&["show", "cut-list", "L-0001", "--pending", "--summary"]), before);
    again.terminate();
}

#[test]
fn a_write_with_the_same_request_id_is_done_once() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    served.ok(&["load", "wires", "--standard", "inch"]);
    let path = folder.path().join("coils.csv");
    let csv = "coil_id,wire_id,lot_id,received_date,received_mass_g\nR1,mw-in-16,H1,2026-02-03,453.6\n";
    std::fs::write(&path, csv).unwrap();
    let words = ["--request-id", "monday", "load", "coils", path.to_str().unwrap()];
    assert_eq!(served.ok(&words), served.ok(&words));
    assert_eq!(served.ok(&["--format", "csv", "list", "coils"]).lines().count(), 2);
    let other = served.becket(&["load", "coils", path.to_str().unwrap()]);
    assert_eq!(other.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&other.stderr).contains("ALREADY_EXISTS"));
    served.terminate();
}

#[test]
fn a_plan_that_the_stock_does_not_cover_is_code_4() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    served.ok(&["load", "wires", &demo("wires.toml"), "--standard", "inch"]);
    served.ok(&["load", "scale", &demo("scales/concert-270.toml"), "--release"]);
    served.ok(&["load", "station", &demo("station.toml")]);
    let path = folder.path().join("jobs.toml");
    std::fs::write(
        &path,
        "[[jobs]]\nserial_id = \"S1\"\nmodel_id = \"concert-270\"\nrevision_id = \"a\"\ndue_date = \"2026-12-01\"\n\
         station_id = \"bench-1\"\n",
    )
    .unwrap();
    served.ok(&["load", "jobs", path.to_str().unwrap()]);
    let plan = served.becket(&["plan", "bench-1", "--dry-run"]);
    let text = String::from_utf8_lossy(&plan.stdout).into_owned();
    assert_eq!(plan.status.code(), Some(4), "{text} {}", String::from_utf8_lossy(&plan.stderr));
    assert!(text.contains("The stock does not cover:"), "{text}");
    served.terminate();
}

#[test]
fn the_services_run_apart_too() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let stringing = Served::start(&data, &["--only", "stringing"]);
    let cutting = Served::start(&data, &["--only", "cutting", "--stringing-endpoint", &stringing.url]);
    let both = ["--stringing", &stringing.url, "--cutting", &cutting.url];
    let run = |words: &[&str]| cutting.ok(&[&both, words].concat());
    run(&["load", "wires", "--standard", "inch"]);
    run(&["load", "station", &demo("station.toml")]);
    assert!(run(&["show", "station", "bench-1"]).contains("4 reel positions"));
    assert!(run(&["list", "journal"]).contains("SaveStation"));
    cutting.terminate();
    stringing.terminate();
}

#[test]
fn watching_outlives_a_restart_of_the_server() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let served = Served::start(&data, &[]);
    load_shop(&served);
    served.ok(&["plan", "bench-1", "S16-0412"]);
    served.ok(&["start", "L-0001"]);
    let mut watch = Command::new(env!("CARGO_BIN_EXE_becket"))
        .args(["--server", &served.url, "watch", "L-0001"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut seen = BufReader::new(watch.stdout.take().unwrap()).lines();
    let mut next = || seen.next().map(Result::unwrap);
    assert!(next().unwrap().contains("next: step 1, mount"));
    let address = served.url.strip_prefix("http://").unwrap().to_owned();
    served.terminate();
    let again = Served::start_on(&address, &data, &[]);
    again.ok(&["confirm", "L-0001", "1"]);
    // Nothing is told twice: the stream goes on from what was seen.
    assert!(next().unwrap().contains("next: step 2, "));
    again.ok(&["finish", "L-0001", "--give-up-pending"]);
    assert!(next().unwrap().starts_with("finished: "));
    assert_eq!(next(), None);
    assert!(watch.wait().unwrap().success());
    again.terminate();
}
