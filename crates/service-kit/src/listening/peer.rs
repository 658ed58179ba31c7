//! Who is at the other end of a connection.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

/// What a connection tells of its other end; every call on it carries this.
#[derive(Debug, Clone, Default)]
pub struct Peer {
    /// Address; absent for a connection within the process.
    pub address: Option<SocketAddr>,
    /// The client's certificate in DER, checked against the authorities of the settings, if it showed one.
    pub certificate: Option<Arc<[u8]>>,
    /// Whether it is a service of the same process.
    pub same_process: bool,
}

impl Peer {
    /// The address without its port.
    #[must_use]
    pub fn ip(&self) -> Option<IpAddr> {
        self.address.map(|address| address.ip())
    }
}
