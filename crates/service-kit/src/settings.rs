//! Settings: compiled-in defaults, then a file, then the environment.

mod effective;
mod feed;
mod reader;
mod security;
mod store;

use std::collections::HashMap;
use std::fmt;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use config::{Config, Environment, File, FileFormat};

use reader::Reader;

pub use effective::Setting;
pub use feed::{FeedSettings, WebhookSettings};
pub use security::{AccessSettings, JwtSettings, SecuritySettings, TlsSettings};
pub use store::{EngineChoice, PostgresSettings, StoreSettings};

/// The commented defaults, as they are compiled in.
const DEFAULTS: &str = include_str!("default.toml");
/// Variables of the environment that set a key begin with this.
const ENVIRONMENT_PREFIX: &str = "BECKET__";

const KIB: usize = 1024;
const MIB: usize = 1024 * KIB;
const HOUR: Duration = Duration::from_secs(3600);

/// All settings, checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// The stringing service.
    pub stringing: StringingSettings,
    /// The cutting service.
    pub cutting: CuttingSettings,
    /// The database.
    pub store: StoreSettings,
    /// Who may connect and call.
    pub security: SecuritySettings,
    /// What other programs are told.
    pub feed: FeedSettings,
    /// How receivers are told by HTTP.
    pub webhooks: WebhookSettings,
    /// Limits of both services.
    pub limits: LimitSettings,
    /// The log.
    pub telemetry: TelemetrySettings,
}

/// Section `[stringing]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StringingSettings {
    /// Address on which the service listens.
    pub listen: SocketAddr,
}

/// Section `[cutting]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CuttingSettings {
    /// Address on which the service listens.
    pub listen: SocketAddr,
    /// Where the stringing service is reached, such as `http://127.0.0.1:7421`.
    pub stringing_endpoint: String,
    /// PEM file with the authority of its certificate; absent, those of the system count.
    pub stringing_ca: Option<PathBuf>,
    /// File with the token that is shown to it.
    pub stringing_token: Option<PathBuf>,
}

/// Section `[limits]`. The ranges stand in the commented defaults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimitSettings {
    /// Largest message received, in bytes.
    pub max_request_bytes: usize,
    /// Largest message sent, in bytes.
    pub max_response_bytes: usize,
    /// Calls worked on at the same time.
    pub max_concurrent_requests: usize,
    /// Calls of one caller worked on at the same time.
    pub max_requests_per_caller: usize,
    /// Open calls and streams of one connection.
    pub max_streams_per_connection: u32,
    /// Connections open at the same time.
    pub max_connections: usize,
    /// Connections of one address open at the same time.
    pub max_connections_per_address: usize,
    /// Time for a new connection to be encrypted, and then to say something.
    pub handshake_timeout: Duration,
    /// Computations that run at the same time.
    pub max_computations: usize,
    /// Time for a call whose caller states no deadline.
    pub default_deadline: Duration,
    /// Longest time for a call.
    pub longest_deadline: Duration,
    /// Time for open calls to end at shutdown.
    pub shutdown_grace: Duration,
    /// Silence after which a connection is probed.
    pub keepalive_interval: Duration,
    /// Time for the answer to a probe.
    pub keepalive_timeout: Duration,
    /// Age at which a connection is asked to reconnect.
    pub connection_age: Duration,
}

/// Section `[telemetry]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TelemetrySettings {
    /// Directives of what is logged.
    pub filter: String,
    /// Form of the log lines.
    pub format: LogFormat,
}

/// Form of the log lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object in each line.
    Json,
}

/// One thing that is wrong with the settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The key, such as `limits.longest_deadline`.
    pub key: String,
    /// Where the value stands: a file, the environment or the defaults.
    pub origin: String,
    /// What is wrong and what is allowed.
    pub what: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (from {}): {}", self.key, self.origin, self.what)
    }
}

/// Why there are no settings.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// A file cannot be read or is not TOML.
    #[error("the settings cannot be read: {0}")]
    Unreadable(#[source] Box<config::ConfigError>),
    /// Values are wrong; all of them are listed.
    #[error("the settings are wrong:{}", .0.iter().map(|problem| format!("\n  {problem}")).collect::<String>())]
    Wrong(Vec<Problem>),
}

impl Settings {
    /// Reads the settings: defaults, then `file`, then the variables among `environment` that begin with
    /// `BECKET__`.
    ///
    /// # Errors
    /// [`SettingsError::Unreadable`] for a file that is missing or not TOML; [`SettingsError::Wrong`] with
    /// every unknown key and every value that is not allowed.
    pub fn load(
        file: Option<&Path>,
        environment: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Self, SettingsError> {
        let mut reader = Reader::new(Self::merged(file, environment)?);
        let settings = Self::read(&mut reader);
        let problems = reader.finish();
        match settings {
            Some(settings) if problems.is_empty() => Ok(settings),
            _ => Err(SettingsError::Wrong(problems)),
        }
    }

    /// The values of all three sources, one over the other.
    fn merged(
        file: Option<&Path>,
        environment: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Config, SettingsError> {
        let variables: HashMap<String, String> =
            environment.into_iter().filter(|(name, _)| name.starts_with(ENVIRONMENT_PREFIX)).collect();
        let mut builder = Config::builder().add_source(File::from_str(DEFAULTS, FileFormat::Toml));
        if let Some(path) = file {
            builder = builder.add_source(File::from(path).format(FileFormat::Toml));
        }
        let prefix = ENVIRONMENT_PREFIX.trim_end_matches('_');
        builder = builder.add_source(
            Environment::with_prefix(prefix).prefix_separator("__").separator("__").source(Some(variables)),
        );
        builder.build().map_err(|error| SettingsError::Unreadable(Box::new(error)))
    }

    /// Takes every known key. `None` only if the reader has noted a problem.
    fn read(reader: &mut Reader) -> Option<Self> {
        // Each section is read before any is unwrapped, so that no problem hides another.
        let security = SecuritySettings::read(reader);
        let lacking = security.as_ref().and_then(SecuritySettings::lacking);
        let stringing_listen = reader.address("stringing.listen", lacking.as_deref());
        let cutting_listen = reader.address("cutting.listen", lacking.as_deref());
        let endpoint = reader.endpoint("cutting.stringing_endpoint");
        let stringing_ca = reader.optional_text("cutting.stringing_ca");
        let stringing_token = reader.optional_text("cutting.stringing_token");
        let store = StoreSettings::read(reader);
        let feed = FeedSettings::read(reader);
        let webhooks = WebhookSettings::read(reader);
        let limits = LimitSettings::read(reader);
        let telemetry = TelemetrySettings::read(reader);
        Some(Self {
            stringing: StringingSettings { listen: stringing_listen? },
            cutting: CuttingSettings {
                listen: cutting_listen?,
                stringing_endpoint: endpoint?,
                stringing_ca: stringing_ca?.map(PathBuf::from),
                stringing_token: stringing_token?.map(PathBuf::from),
            },
            security: security?,
            store: store?,
            feed: feed?,
            webhooks: webhooks?,
            limits: limits?,
            telemetry: telemetry?,
        })
    }
}

impl LimitSettings {
    fn read(reader: &mut Reader) -> Option<Self> {
        let request = reader.size("limits.max_request_bytes", KIB..=64 * MIB);
        let response = reader.size("limits.max_response_bytes", KIB..=64 * MIB);
        let requests = reader.count("limits.max_concurrent_requests", 1..=10_000);
        let of_one = reader.count("limits.max_requests_per_caller", 1..=10_000);
        let connections = reader.count("limits.max_connections", 1..=100_000);
        let from_one = reader.count("limits.max_connections_per_address", 1..=100_000);
        let handshake =
            reader.duration("limits.handshake_timeout", Duration::from_millis(100)..=Duration::from_secs(60));
        let streams = reader.count("limits.max_streams_per_connection", 1..=10_000);
        let computations = reader.count("limits.max_computations", 1..=256);
        let deadline = Duration::from_millis(10)..=HOUR;
        let default_deadline = reader.duration("limits.default_deadline", deadline.clone());
        let longest_deadline = reader.duration("limits.longest_deadline", deadline);
        let grace = reader.duration("limits.shutdown_grace", Duration::ZERO..=Duration::from_secs(600));
        let second = Duration::from_secs(1);
        let interval = reader.duration("limits.keepalive_interval", second..=HOUR);
        let timeout = reader.duration("limits.keepalive_timeout", second..=HOUR);
        let age = reader.duration("limits.connection_age", second..=HOUR * 24 * 30);
        if let (Some(default), Some(longest)) = (default_deadline, longest_deadline)
            && default > longest
        {
            reader.note("limits.default_deadline", "must not be longer than limits.longest_deadline");
        }
        Some(Self {
            max_request_bytes: request?,
            max_response_bytes: response?,
            max_concurrent_requests: usize::try_from(requests?).ok()?,
            max_requests_per_caller: usize::try_from(of_one?).ok()?,
            max_streams_per_connection: streams?,
            max_connections: usize::try_from(connections?).ok()?,
            max_connections_per_address: usize::try_from(from_one?).ok()?,
            handshake_timeout: handshake?,
            max_computations: usize::try_from(computations?).ok()?,
            default_deadline: default_deadline?,
            longest_deadline: longest_deadline?,
            shutdown_grace: grace?,
            keepalive_interval: interval?,
            keepalive_timeout: timeout?,
            connection_age: age?,
        })
    }
}

impl TelemetrySettings {
    fn read(reader: &mut Reader) -> Option<Self> {
        let filter = reader.text("telemetry.filter");
        if let Some(directives) = &filter
            && let Err(error) = tracing_subscriber::EnvFilter::try_new(directives)
        {
            reader.note("telemetry.filter", &format!("is not a list of log directives: {error}"));
        }
        let format = reader.text("telemetry.format");
        let parsed = match format.as_deref() {
            Some("text") => Some(LogFormat::Text),
            Some("json") => Some(LogFormat::Json),
            Some(_) => {
                reader.note("telemetry.format", "must be \"text\" or \"json\"");
                None
            }
            None => None,
        };
        Some(Self { filter: filter?, format: parsed? })
    }
}

#[cfg(test)]
mod tests;
