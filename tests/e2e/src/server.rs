//! The binary as a child process.
#![allow(
    clippy::panic,
    clippy::expect_used,
    reason = "part of tests: without a server there is nothing to test"
)]

use std::ffi::OsStr;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process};

/// Longest time that a server may take to say that it is ready. Generous: a busy machine is not a fault.
const READY_WITHIN: Duration = Duration::from_secs(60);

/// What a server prints before its address.
const READY: &str = "becket is ready on ";

/// A running server. Dropping it kills it.
#[derive(Debug)]
pub struct Server {
    child: Child,
    url: String,
    log: PathBuf,
}

impl Server {
    /// Starts both services on a free port, with their data in `data`.
    ///
    /// # Panics
    /// If it does not become ready.
    #[must_use]
    pub fn start(binary: &Path, data: &Path) -> Self {
        Self::with(binary, data, &["--listen", "127.0.0.1:0"])
    }

    /// Starts `becket serve` with its data in `data` and these arguments; `--listen` must be among them. What the process
    /// writes to standard error is appended to `log` beside the data.
    ///
    /// # Panics
    /// If it does not become ready.
    #[must_use]
    pub fn with<S: AsRef<OsStr>>(binary: &Path, data: &Path, arguments: &[S]) -> Self {
        Self::within(binary, data, arguments, &[])
    }

    /// The same, with more in the environment of the process.
    ///
    /// # Panics
    /// If it does not become ready.
    #[must_use]
    pub fn within<S: AsRef<OsStr>>(
        binary: &Path,
        data: &Path,
        arguments: &[S],
        environment: &[(&str, &OsStr)],
    ) -> Self {
        let log = data.with_extension("log");
        let stderr =
            std::fs::File::options().create(true).append(true).open(&log).expect("the log can be opened");
        let mut child = Command::new(binary)
            .arg("serve")
            .arg("--data")
            .arg(data)
            .args(arguments)
            .env("BECKET__TELEMETRY__FILTER", "warn")
            .envs(environment.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(stderr)
            .spawn()
            .expect("the binary can be started");
        let stdout = child.stdout.take().expect("standard output is a pipe");
        let mut server = Self { child, url: String::new(), log };
        let (tell, told) = mpsc::channel();
        // The pipe is read to its end, so that the server never waits for a reader.
        std::thread::spawn(move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                if let Some(rest) = line.strip_prefix(READY) {
                    let url = rest.split([',', ' ']).next().unwrap_or_default().to_owned();
                    drop(tell.send(url));
                }
            }
        });
        match told.recv_timeout(READY_WITHIN) {
            Ok(url) => server.url = url,
            Err(error) => panic!("the server did not become ready ({error}); its log: {}", server.log()),
        }
        server
    }

    /// Address, such as `http://127.0.0.1:40123`.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Host and port, such as `127.0.0.1:40123`.
    #[must_use]
    pub fn address(&self) -> &str {
        self.url.trim_start_matches("http://")
    }

    /// What the server and those before it on the same data wrote to standard error.
    #[must_use]
    pub fn log(&self) -> String {
        std::fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Memory that the process holds now (resident set), in bytes. Its peak counts from this moment on.
    ///
    /// # Panics
    /// Where there is no Linux `/proc`.
    #[must_use]
    pub fn peak_from_now(&self) -> u64 {
        // "5" makes the peak what is held at this moment; see proc(5), clear_refs.
        std::fs::write(self.proc("clear_refs"), "5").expect("the peak of a child can be reset");
        self.peak_bytes()
    }

    /// Most memory that the process has held since it was started or since [`Server::peak_from_now`], in bytes.
    ///
    /// # Panics
    /// Where there is no Linux `/proc`.
    #[must_use]
    pub fn peak_bytes(&self) -> u64 {
        self.memory_bytes("VmHWM:")
    }

    /// Memory that the process holds now (resident set), in bytes.
    ///
    /// # Panics
    /// Where there is no Linux `/proc`.
    #[must_use]
    pub fn resident_bytes(&self) -> u64 {
        self.memory_bytes("VmRSS:")
    }

    fn memory_bytes(&self, name: &str) -> u64 {
        let status = std::fs::read_to_string(self.proc("status")).expect("the process runs");
        let told = status.lines().find_map(|line| line.strip_prefix(name));
        let kib = told.and_then(|text| text.trim().trim_end_matches(" kB").parse::<u64>().ok());
        kib.expect("the system tells it") * 1024
    }

    fn proc(&self, file: &str) -> PathBuf {
        Path::new("/proc").join(self.child.id().to_string()).join(file)
    }

    /// Ends the process at once, as a power failure would (SIGKILL).
    pub fn kill(mut self) {
        self.end();
    }

    /// Asks the process to stop (SIGTERM) and waits for it.
    ///
    /// # Panics
    /// If it cannot be asked.
    pub fn stop(mut self) -> ExitStatus {
        let pid = Pid::from_child(&self.child);
        kill_process(pid, Signal::TERM).expect("the process takes signals");
        self.child.wait().expect("the process can be waited for")
    }

    fn end(&mut self) {
        // Both fail only for a process that has ended already.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.end();
    }
}
