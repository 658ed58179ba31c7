//! What both services share at the edge: settings, telemetry, clock, server, errors, deadlines.
//!
//! A service builds its [`tonic::service::Routes`] and hands them, with a bound listener and a shutdown
//! token, to [`serve`]. Everything that must hold for every call is done there, in one layer around all
//! routes: a limit on concurrent calls, the deadline, the translation of codes, the interception of panics,
//! the end of streams at shutdown and one line in the log. What is the same for all lists ([`Listing`]) and all writes
//! ([`begin_write`]) stands here too. The crate knows nothing of wires, scales, cut lists or engines of storage.

mod access;
mod admission;
mod blocking;
mod body;
mod call;
mod clock;
mod codes;
mod context;
mod deadline;
mod edge;
mod errors;
mod link;
mod listening;
mod listing;
mod panics;
mod request;
mod secret;
mod server;
mod settings;
mod telemetry;
mod upkeep;
mod writing;

pub use access::{Gate, GateError, KeysError};
pub use blocking::{CancelFlag, ComputeError, ComputePool};
pub use call::ERROR_BYTES_KEY;
pub use clock::{Clock, FixedClock, SystemClock};
pub use context::{ACTOR_KEY, CallContext, check_request_id};
pub use deadline::{Deadline, exceeded as deadline_exceeded};
pub use errors::{DOMAIN, StatusBuilder, from_faults, internal};
pub use link::{LinkError, LocalDoor, LocalService, RemoteService, ServiceLink, client_tls, local_service};
pub use listening::{Peer, TlsError};
pub use listing::Listing;
pub use request::{RequestError, decode};
pub use secret::Secret;
pub use server::{Protection, ServeError, ServerParts, serve};
pub use settings::{
    AccessSettings, CuttingSettings, EngineChoice, FeedSettings, JwtSettings, LimitSettings, LogFormat,
    PostgresSettings, Problem, SecuritySettings, Setting, Settings, SettingsError, StoreSettings,
    StringingSettings, TelemetrySettings, TlsSettings, WebhookSettings,
};
pub use telemetry::{TelemetryError, init_telemetry};
pub use upkeep::Upkeep;
pub use writing::{Begun, begin_write, first_answer, or_first_answer, write_context};
