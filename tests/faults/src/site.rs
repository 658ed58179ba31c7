//! Where the services run: one process on SQLite, or several on PostgreSQL, at addresses that stay the same.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use becket_e2e::{Server, Shop};
use tempfile::TempDir;

use crate::faults::Place;

/// Replicas of both services with one database.
#[derive(Debug)]
pub struct Site {
    // Before the folder, so that they end before their data go.
    servers: Vec<Option<Server>>,
    ports: Vec<u16>,
    binary: PathBuf,
    data: PathBuf,
    config: Option<PathBuf>,
    folder: TempDir,
}

impl Site {
    /// One process with a file in `data`, or in a folder of its own.
    ///
    /// # Panics
    /// If it does not become ready.
    #[must_use]
    pub fn sqlite(binary: &Path, data: Option<&Path>) -> Self {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let data = data.map_or_else(|| folder.path().join("data"), |path| path.join("data"));
        let mut site = Self {
            servers: vec![None],
            ports: vec![free_port()],
            binary: binary.to_owned(),
            data,
            config: None,
            folder,
        };
        site.start(0);
        site
    }

    /// Replicas on a database, whose tables are made. `more` is added to the settings.
    ///
    /// # Panics
    /// If the tables cannot be made, or a replica does not become ready.
    #[must_use]
    pub fn postgres(binary: &Path, url: &str, replicas: usize, more: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let config = settings(folder.path(), url, more);
        let mut site = Self {
            servers: (0..replicas).map(|_| None).collect(),
            ports: (0..replicas).map(|_| free_port()).collect(),
            binary: binary.to_owned(),
            data: folder.path().join("data"),
            config: Some(config),
            folder,
        };
        let migrated = site.becket(&["migrate"]);
        assert!(migrated.status.success(), "{}", String::from_utf8_lossy(&migrated.stderr));
        for replica in 0..replicas {
            site.start(replica);
        }
        site
    }

    /// What the tables call the engine.
    #[must_use]
    pub fn engine(&self) -> &'static str {
        if self.config.is_some() { "PostgreSQL" } else { "SQLite" }
    }

    /// How many there are.
    #[must_use]
    pub fn replicas(&self) -> usize {
        self.servers.len()
    }

    /// Starts a replica and waits until it is ready.
    ///
    /// # Panics
    /// If it does not become ready.
    pub fn start(&mut self, replica: usize) {
        let listen = format!("127.0.0.1:{}", self.ports[replica]);
        let mut arguments = vec!["--listen".to_owned(), listen];
        if let Some(config) = &self.config {
            arguments.extend(["--config".to_owned(), config.display().to_string()]);
        }
        // The logs of replicas stand beside each other; the folder is not used where there is a server.
        let data = if self.config.is_some() {
            self.folder.path().join(format!("r{replica}"))
        } else {
            self.data.clone()
        };
        self.servers[replica] = Some(Server::with(&self.binary, &data, &arguments));
    }

    /// Ends a replica as a power failure would.
    pub fn kill(&mut self, replica: usize) {
        if let Some(server) = self.servers[replica].take() {
            server.kill();
        }
    }

    /// One client for each replica, which connects when it is used.
    ///
    /// # Panics
    /// Never: the addresses are sound.
    #[must_use]
    pub fn doors(&self) -> Vec<Shop> {
        self.ports.iter().map(|port| door(&format!("http://127.0.0.1:{port}"))).collect()
    }

    /// Address of a replica.
    #[must_use]
    pub fn url(&self, replica: usize) -> String {
        format!("http://127.0.0.1:{}", self.ports[replica])
    }

    /// Runs the binary with these arguments on the data of this site.
    ///
    /// # Panics
    /// If it cannot be started.
    #[must_use]
    pub fn becket(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(&self.binary);
        command.args(arguments).env_remove("BECKET_SERVER");
        match &self.config {
            Some(config) => command.arg("--config").arg(config),
            None => command.arg("--data").arg(&self.data),
        };
        command.output().expect("the binary can be started")
    }
}

impl Place for Site {
    // That something panicked or failed inside. That a database is away they may tell, as the library does that connects to it.
    fn complaints(&self) -> Vec<String> {
        let logs = self.servers.iter().flatten().map(Server::log);
        let lines: Vec<String> =
            logs.flat_map(|log| log.lines().map(str::to_owned).collect::<Vec<_>>()).collect();
        lines.into_iter().filter(|line| line.contains("panicked") || has_failed(line)).collect()
    }

    // Beside the replicas that serve.
    fn verify(&self) -> Result<(), String> {
        told(&self.becket(&["verify"]))
    }
}

/// Whether a line of a log tells of a failure inside. Of one that a full disk cut off behind the name of the module, nobody can say.
fn has_failed(line: &str) -> bool {
    let told = line.split_once("ERROR becket").and_then(|(_, rest)| rest.split_once(": "));
    told.is_some_and(|(_, told)| !told.is_empty() && !told.starts_with("the store is unavailable"))
}

/// Databases of services that are not processes of one site: for each the option that names it to the binary, and its value.
pub(crate) struct Databases {
    pub(crate) binary: PathBuf,
    pub(crate) named: Vec<(&'static str, PathBuf)>,
}

impl Place for Databases {
    fn verify(&self) -> Result<(), String> {
        self.named.iter().try_for_each(|(option, value)| {
            let mut command = Command::new(&self.binary);
            command.args(["verify", option]).arg(value).env_remove("BECKET_SERVER");
            told(&command.output().expect("the binary can be started"))
        })
    }
}

fn told(output: &Output) -> Result<(), String> {
    let text = [&output.stdout[..], &output.stderr].concat();
    if output.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&text).into_owned()) }
}

/// Settings that name a database, written into a folder.
pub(crate) fn settings(folder: &Path, url: &str, more: &str) -> PathBuf {
    let config = folder.join("becket.toml");
    let settings = format!(
        "[store]\nengine = \"postgres\"\n[store.postgres]\nurl = \"{url}\"\nwrite_connections = 4\n\
         read_connections = 4\n{more}\n"
    );
    std::fs::write(&config, settings).expect("the settings can be written");
    config
}

pub(crate) fn door(url: &str) -> Shop {
    Shop::lazy(url, url).expect("an address")
}

/// A port that is free now, for a server that comes back to the same address.
pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port is free");
    listener.local_addr().expect("it has an address").port()
}
