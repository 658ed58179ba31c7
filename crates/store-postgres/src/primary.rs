//! Following the primary: which of several servers takes writes, now and after a failover.

use std::time::Duration;

use sqlx::postgres::{PgConnectOptions, PgConnection, PgPool};
use sqlx::{ConnectOptions as _, Connection as _};
use tokio::task::JoinHandle;

/// How often the server in use is asked whether it still takes writes.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// A server that does not answer in this time is taken for gone.
const ANSWER_WITHIN: Duration = Duration::from_secs(2);

/// The task that sends the pools to another server when the one in use dies or becomes a standby. It ends when this is dropped.
#[derive(Debug)]
pub(crate) struct Follower(JoinHandle<()>);

/// A pool and the options of its connections at each server.
pub(crate) struct Route {
    pub(crate) pool: PgPool,
    pub(crate) sessions: Vec<PgConnectOptions>,
}

impl Follower {
    /// Begins with the server of this number. With one server there is nothing to follow.
    pub(crate) fn start(hosts: Vec<PgConnectOptions>, at: usize, routes: Vec<Route>) -> Option<Self> {
        (hosts.len() > 1).then(|| Self(tokio::spawn(follow(hosts, at, routes))))
    }
}

impl Drop for Follower {
    fn drop(&mut self) {
        self.0.abort();
    }
}

async fn follow(hosts: Vec<PgConnectOptions>, mut at: usize, routes: Vec<Route>) {
    let mut asking = None;
    loop {
        tokio::time::sleep(LOOK_EVERY).await;
        if still_primary(&hosts[at], &mut asking).await {
            continue;
        }
        // The one in use comes last: it was just asked.
        let others = (1..=hosts.len()).map(|step| (at + step) % hosts.len());
        for other in others {
            let mut connection = None;
            if still_primary(&hosts[other], &mut connection).await {
                if other != at {
                    tracing::warn!(server = other + 1, "another server of the database takes the writes now");
                }
                for route in &routes {
                    route.pool.set_connect_options(route.sessions[other].clone());
                }
                (at, asking) = (other, connection);
                break;
            }
        }
    }
}

/// Whether a server takes writes, over a connection that is kept while it does.
async fn still_primary(host: &PgConnectOptions, connection: &mut Option<PgConnection>) -> bool {
    let asked = async {
        let mut open = match connection.take() {
            Some(open) => open,
            None => host.connect().await?,
        };
        let standby = is_standby(&mut open).await?;
        Ok::<_, sqlx::Error>((open, standby))
    };
    match tokio::time::timeout(ANSWER_WITHIN, asked).await {
        Ok(Ok((open, false))) => {
            *connection = Some(open);
            true
        }
        Ok(Ok((open, true))) => {
            drop(open.close().await);
            false
        }
        Ok(Err(_)) | Err(_) => false,
    }
}

/// Whether a server is a standby, which answers reads and refuses every write.
pub(crate) async fn is_standby(db: &mut PgConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar("SELECT pg_is_in_recovery()").fetch_one(db).await
}
