//! A PostgreSQL server for tests: started in a temporary folder, ended with the process.
//!
//! [`Server::shared`] is one server for a whole test program, started by the first test that asks, and [`Server::database`] makes
//! a database of its own for each test. It listens on a socket in its folder only, so no port is taken. A shell beside it waits
//! for the end of the test program, however that ends, and then stops the server and removes the folder.
//!
//! The server refuses to run as root: if the tests do, it runs as the user `postgres`, whom the Debian package makes, or
//! `nobody`. Its texts are sorted by a locale and not byte by byte, as on many servers of shops, so that tests find keys that
//! forgot to say how they compare.
//!
//! Being part of tests, it panics where a test would.
#![allow(
    clippy::panic,
    clippy::expect_used,
    reason = "part of tests: without a server there is nothing to test"
)]

mod pair;

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, OnceLock, PoisonError};

pub use pair::Pair;

/// What the shell does. `$1` is the folder of the server's programs. It prints the folder of the data when the server is ready, and ends the
/// server at the end of its standard input. Lines "kill" and "start" in between end the server as a crash would, and start it again; "crash" kills its
/// first process alone, and the others find out.
const SCRIPT: &str = r#"
set -eu
bin=$1
dir=$(mktemp -d "${TMPDIR:-/tmp}/becket-pg.XXXXXX")
trap 'rm -rf "$dir"' EXIT
"$bin/initdb" -D "$dir/data" -U becket -A trust -E UTF8 --locale=C.UTF-8 --locale-provider=icu --icu-locale=en-US >"$dir/initdb.log" 2>&1 \
    || { cat "$dir/initdb.log" >&2; exit 1; }
# With a certificate the server also listens on a port, for encrypted connections alone.
network="-c listen_addresses="
if [ -n "${CERTIFICATE-}" ]; then
    (umask 077 && printf '%s' "$KEY" >"$dir/server.key" && printf '%s' "$CERTIFICATE" >"$dir/server.pem")
    printf 'local all all trust\nhostssl all all 127.0.0.1/32 trust\n' >"$dir/data/pg_hba.conf"
    network="-c listen_addresses=127.0.0.1 -c port=$PORT -c ssl=on -c ssl_cert_file=$dir/server.pem -c ssl_key_file=$dir/server.key"
fi
launch() {
    # Unquoted on purpose: several arguments.
    "$bin/postgres" -D "$dir/data" -k "$dir" $network -c max_connections=200 -c shared_buffers=64MB \
        -c unix_socket_permissions=0777 -c log_min_messages=fatal >>"$dir/server.log" 2>&1 &
    pid=$!
    tries=0
    until "$bin/pg_isready" -q -h "$dir" -p "${PORT:-5432}" -d postgres -U becket; do
        kill -0 "$pid" 2>/dev/null && [ "$tries" -lt 600 ] || return 1
        tries=$((tries + 1))
        sleep 0.1
    done
}
start() {
    # What a killed server left behind ends by itself, and keeps a new one out until it has.
    launches=0
    until launch; do
        launches=$((launches + 1))
        [ "$launches" -lt 100 ] || { cat "$dir/server.log" >&2; exit 1; }
        sleep 0.1
    done
}
start
chmod 755 "$dir"
echo "$dir"
while read -r word; do
    case "$word" in
        # Immediate shutdown: no checkpoint, recovery from the log at the next start.
        kill) kill -QUIT "$pid"; wait "$pid" || true ;;
        crash) kill -KILL "$pid"; { wait "$pid"; } 2>/dev/null || true ;;
        start) start ;;
        # A server that ended itself is started again; one that recovers by itself is waited for.
        ensure)
            until "$bin/pg_isready" -q -h "$dir" -p "${PORT:-5432}" -d postgres -U becket; do
                kill -0 "$pid" 2>/dev/null || start
                sleep 0.1
            done ;;
    esac
    echo done
done
kill -QUIT "$pid" 2>/dev/null && wait "$pid" || true
"#;

/// A running server.
#[derive(Debug)]
pub struct Server {
    shell: Mutex<Shell>,
    folder: PathBuf,
    programs: PathBuf,
    databases: AtomicU32,
    /// The port, which also names the socket in its folder.
    port: u16,
}

/// What a server needs for encrypted connections over the network, as PEM.
#[derive(Debug, Clone, Copy)]
pub struct Encryption<'a> {
    /// Its certificate.
    pub certificate: &'a str,
    /// The key of the certificate.
    pub key: &'a str,
}

/// The port of PostgreSQL.
const USUAL_PORT: u16 = 5432;

#[derive(Debug)]
struct Shell {
    child: Child,
    told: BufReader<std::process::ChildStdout>,
}

impl Server {
    /// The one server of this process.
    ///
    /// # Panics
    /// If it cannot be started.
    pub fn shared() -> &'static Self {
        static SERVER: OnceLock<Server> = OnceLock::new();
        SERVER.get_or_init(Self::start)
    }

    /// Starts a server of its own, for a test that ends it.
    ///
    /// # Panics
    /// If it cannot be started.
    #[must_use]
    pub fn start() -> Self {
        Self::start_with(None, None)
    }

    /// Starts a server of its own whose data are in a folder of this one.
    ///
    /// # Panics
    /// If it cannot be started.
    #[must_use]
    pub fn start_in(folder: &Path) -> Self {
        Self::start_with(None, Some(folder))
    }

    /// Starts a server of its own that also listens on a free port of loopback, for encrypted connections alone.
    ///
    /// # Panics
    /// If it cannot be started.
    #[must_use]
    pub fn start_encrypted(encryption: Encryption<'_>) -> Self {
        Self::start_with(Some(encryption), None)
    }

    fn start_with(encryption: Option<Encryption<'_>>, place: Option<&Path>) -> Self {
        let port = if encryption.is_some() { free_port() } else { USUAL_PORT };
        let mut environment = Vec::new();
        if let Some(Encryption { certificate, key }) = encryption {
            environment = vec![
                ("CERTIFICATE", certificate.to_owned()),
                ("KEY", key.to_owned()),
                ("PORT", port.to_string()),
            ];
        }
        environment.extend(place.map(|place| ("TMPDIR", place.display().to_string())));
        let (shell, folder, programs) = Shell::start(SCRIPT, &environment);
        Self { shell: Mutex::new(shell), folder, programs, databases: AtomicU32::new(0), port }
    }

    /// Makes an empty database and returns its address.
    ///
    /// # Panics
    /// If it cannot be made.
    pub fn database(&self) -> String {
        let name = format!("shop_{}", self.databases.fetch_add(1, Ordering::SeqCst));
        self.sql("postgres", &format!("CREATE DATABASE {name}"));
        self.url(&name)
    }

    /// The address of a database of this server.
    #[must_use]
    pub fn url(&self, database: &str) -> String {
        format!("postgres://becket@localhost:{}/{database}?host={}", self.port, self.folder.display())
    }

    /// The port on which a server listens that was started for encrypted connections.
    #[must_use]
    pub const fn port(&self) -> u16 {
        self.port
    }

    /// Runs SQL and returns what it prints, without headings, columns apart by "|".
    ///
    /// # Panics
    /// If it fails.
    pub fn sql(&self, database: &str, sql: &str) -> String {
        psql(&self.programs, &self.folder, self.port, database, sql)
    }

    /// One of the server's own client programs, such as `pg_dump`, told how to reach the server.
    #[must_use]
    pub fn client(&self, program: &str) -> Command {
        let mut command = Command::new(self.programs.join(program));
        command.arg("-h").arg(&self.folder).args(["-p", &self.port.to_string(), "-U", "becket"]);
        command
    }

    /// Ends the server as a crash would. It is started again by [`Server::revive`].
    ///
    /// # Panics
    /// If the shell beside it is gone.
    pub fn kill(&self) {
        self.tell("kill");
    }

    /// Kills the first process of the server, and that alone: those that serve connections find out by themselves. It is started
    /// again by [`Server::revive`].
    ///
    /// # Panics
    /// If the shell beside it is gone.
    pub fn crash(&self) {
        self.tell("crash");
    }

    /// Starts a server that was killed; it recovers what was committed.
    ///
    /// # Panics
    /// If it does not start.
    pub fn revive(&self) {
        self.tell("start");
    }

    /// Waits until a server that may have ended itself answers again, and starts it if it has.
    ///
    /// # Panics
    /// If it does not start.
    pub fn ensure(&self) {
        self.tell("ensure");
    }

    /// The folder with its socket.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn tell(&self, word: &str) {
        self.shell.lock().unwrap_or_else(PoisonError::into_inner).tell(word);
    }
}

impl Shell {
    /// Starts a shell with this script. Returns the folder that it names and that of the server's programs, too.
    fn start(script: &str, environment: &[(&str, String)]) -> (Self, PathBuf, PathBuf) {
        let programs = programs();
        let mut command = if rustix::process::geteuid().is_root() {
            let mut command = Command::new("setpriv");
            let (user, group) = unprivileged();
            command.args(["--reuid", &user, "--regid", &group, "--clear-groups", "sh"]);
            // The folder of the caller may be closed to that user.
            command.current_dir("/");
            command
        } else {
            Command::new("sh")
        };
        let mut child = command
            .args(["-c", script, "sh"])
            .arg(&programs)
            .envs(environment.iter().map(|(name, value)| (name, value)))
            .env_remove("PGDATA")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("a shell can be started");
        let stdout = child.stdout.take().expect("standard output is a pipe");
        let mut shell = Self { child, told: BufReader::new(stdout) };
        let folder = PathBuf::from(shell.line());
        (shell, folder, programs)
    }

    fn tell(&mut self, word: &str) {
        let input = self.child.stdin.as_mut().expect("standard input is a pipe");
        writeln!(input, "{word}").expect("the shell listens");
        assert_eq!(self.line(), "done", "after {word}");
    }

    /// Waits until the shell has ended the servers.
    fn end(&mut self) {
        // The end of its input is what ends it.
        drop(self.child.stdin.take());
        drop(self.child.wait());
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        let read = self.told.read_line(&mut line).expect("the shell answers");
        assert!(read > 0, "the server did not start; what it said stands above");
        line.trim_end().to_owned()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.shell.lock().unwrap_or_else(PoisonError::into_inner).end();
    }
}

/// Runs SQL on the server with a socket in `folder` and returns what it prints, without headings, columns apart by "|".
fn psql(programs: &Path, folder: &Path, port: u16, database: &str, sql: &str) -> String {
    let done = Command::new(programs.join("psql"))
        .args(["-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-U", "becket", "-d", database, "-c", sql])
        .arg("-h")
        .arg(folder)
        .args(["-p", &port.to_string()])
        .output()
        .expect("psql can be started");
    let error = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{sql}: {error}");
    String::from_utf8_lossy(&done.stdout).trim_end().to_owned()
}

/// A port that nobody has at the moment.
fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0)).expect("loopback has a free port");
    listener.local_addr().expect("a bound socket has an address").port()
}

/// The folder of the newest server that is installed.
fn programs() -> PathBuf {
    let version = |path: &Path| path.parent().and_then(Path::file_name)?.to_str()?.parse::<u32>().ok();
    let debian = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let debian = debian.map(|entry| entry.path().join("bin")).filter(|bin| bin.join("postgres").exists());
    if let Some(newest) = debian.max_by_key(|bin| version(bin)) {
        return newest;
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&path).find(|folder| folder.join("postgres").exists());
    found.expect("PostgreSQL is installed (Debian: postgresql); tests/run installs it")
}

/// User and group, as numbers, under which the server can run: "postgres", or "nobody".
fn unprivileged() -> (String, String) {
    let users = std::fs::read_to_string("/etc/passwd").expect("users are listed");
    let find = |name: &str| {
        let line = users.lines().find(|line| line.split(':').next() == Some(name))?;
        let mut fields = line.split(':').skip(2);
        Some((fields.next()?.to_owned(), fields.next()?.to_owned()))
    };
    find("postgres").or_else(|| find("nobody")).expect("there is a user postgres or nobody")
}
