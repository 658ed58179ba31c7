//! Where events may be posted to.
//!
//! The server calls where a caller tells it to, so what it may reach is bounded: TLS to public addresses, or this machine in the clear. What
//! counts are the addresses to which a name leads when the connection is made, and the connection is made to the very address that was
//! looked at; a name that leads elsewhere a moment later gains nothing.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use http::Uri;
use http::uri::{PathAndQuery, Scheme};

/// Longest address, in characters.
const LONGEST: usize = 1000;
/// What an address must be, for faults.
pub(crate) const ALLOWED: &str = "https:// with a host, or http:// with a loopback address; up to 1000 characters, without user, password and fragment";

/// A place that events are posted to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Target {
    pub(crate) encrypted: bool,
    /// Name or address, without brackets.
    pub(crate) host: String,
    pub(crate) port: u16,
    /// Host and port as the URL states them.
    pub(crate) authority: String,
    pub(crate) path: PathAndQuery,
}

impl Target {
    /// Reads an address; `None` if it is not allowed.
    pub(crate) fn read(url: &str) -> Option<Self> {
        if url.chars().count() > LONGEST || url.contains(['#', '@', '\\']) {
            return None;
        }
        let uri: Uri = url.parse().ok()?;
        let encrypted = match uri.scheme() {
            Some(scheme) if *scheme == Scheme::HTTPS => true,
            Some(scheme) if *scheme == Scheme::HTTP => false,
            _ => return None,
        };
        let authority = uri.authority()?;
        let host = authority.host().trim_start_matches('[').trim_end_matches(']').to_owned();
        let port = match authority.port() {
            Some(port) => port.as_u16(),
            // A port that is none; the colons of an IPv6 address stand in brackets.
            None if authority.as_str().rsplit(']').next().is_some_and(|rest| rest.contains(':')) => {
                return None;
            }
            None if encrypted => 443,
            None => 80,
        };
        let path = uri.path_and_query().cloned().unwrap_or_else(|| PathAndQuery::from_static("/"));
        let target = Self { encrypted, host, port, authority: authority.to_string(), path };
        (!target.host.is_empty() && (encrypted || target.is_this_machine())).then_some(target)
    }

    /// Whether the host itself says that it is this machine.
    fn is_this_machine(&self) -> bool {
        self.host == "localhost" || self.host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
    }

    /// Whether a connection may be made to an address to which the host leads.
    pub(crate) fn may_reach(&self, address: IpAddr, private_allowed: bool) -> bool {
        if self.is_this_machine() {
            return address.is_loopback();
        }
        match plain(address) {
            IpAddr::V4(address) => is_public_v4(address) || private_allowed && address.is_private(),
            IpAddr::V6(address) => is_public_v6(address) || private_allowed && address.is_unique_local(),
        }
    }
}

/// The IPv4 address that an IPv6 address stands for, if it does: mapped, or behind NAT64 (RFC 6052).
fn plain(address: IpAddr) -> IpAddr {
    let IpAddr::V6(v6) = address else { return address };
    if let Some(v4) = v6.to_ipv4_mapped() {
        return v4.into();
    }
    match v6.octets() {
        [0x00, 0x64, 0xff, 0x9b, 0, 0, 0, 0, 0, 0, 0, 0, a, b, c, d] => Ipv4Addr::new(a, b, c, d).into(),
        _ => address,
    }
}

/// Not one of the blocks that the IANA registry of special-purpose addresses (RFC 6890) keeps from the internet.
fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let special = address.is_private()
        || address.is_loopback()
        || address.is_link_local()
        || address.is_documentation()
        || address.is_multicast()
        || a == 0
        || a >= 240
        || (a == 100 && (64..128).contains(&b))
        || (a == 192 && b == 0 && c == 0)
        || (a == 198 && (18..20).contains(&b));
    !special
}

/// Within 2000::/3, which is all that is given out, and neither documentation, nor a tunnel to an IPv4 address.
fn is_public_v6(address: Ipv6Addr) -> bool {
    let [first, second, ..] = address.segments();
    first & 0xe000 == 0x2000 && first != 0x2002 && !(first == 0x2001 && (second < 0x0200 || second == 0x0db8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read() {
        let target = Target::read("https://erp.example/becket?shop=1").unwrap();
        assert_eq!((target.encrypted, target.host.as_str(), target.port), (true, "erp.example", 443));
        assert_eq!((target.path.as_str(), target.authority.as_str()), ("/becket?shop=1", "erp.example"));
        let target = Target::read("http://[::1]:8080").unwrap();
        assert_eq!((target.host.as_str(), target.port, target.path.as_str()), ("::1", 8080, "/"));
        for good in ["https://192.0.2.1:8443/", "http://127.0.0.1:1/x", "http://localhost:9"] {
            assert!(Target::read(good).is_some(), "{good}");
        }
        let long = format!("https://erp.example/{}", "x".repeat(1000));
        for bad in [
            "",
            "erp.example",
            "/x",
            "http://erp.example/",
            "http://10.0.0.1/",
            "ftp://erp.example/",
            "https://",
            "https://a:b@erp.example/",
            "https://erp.example/#x",
            "https://erp.example:99999/",
            "https://erp.example:/",
            "http://127.0.0.1.erp.example/",
            "http://localhost.erp.example/",
            "https://erp .example/",
            "file:///etc/passwd",
            &long,
        ] {
            assert!(Target::read(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn inner_addresses_are_refused() {
        let outside = Target::read("https://erp.example/").unwrap();
        let may = |address: &str, private: bool| outside.may_reach(address.parse().unwrap(), private);
        for good in ["8.8.8.8", "2600::1", "::ffff:8.8.8.8", "64:ff9b::808:808"] {
            assert!(may(good, false) && may(good, true), "{good}");
        }
        for inner in ["10.0.0.1", "172.16.5.1", "192.168.1.1", "fd00::1", "::ffff:10.0.0.1", "64:ff9b::a00:1"]
        {
            assert!(!may(inner, false) && may(inner, true), "{inner}");
        }
        for never in [
            "127.0.0.1",
            "::1",
            "0.0.0.0",
            "::",
            "169.254.169.254",
            "fe80::1",
            "224.0.0.1",
            "ff02::1",
            "255.255.255.255",
            "100.64.0.1",
            "192.0.2.1",
            "198.18.0.1",
            "::ffff:127.0.0.1",
            "2002:7f00:1::",
            "2001::1",
            "2001:db8::1",
            "64:ff9b::7f00:1",
            "240.0.0.1",
        ] {
            assert!(!may(never, false) && !may(never, true), "{never}");
        }
        let inside = Target::read("http://localhost:8080/").unwrap();
        assert!(inside.may_reach("127.0.0.1".parse().unwrap(), false));
        // A name of this machine that leads elsewhere.
        assert!(!inside.may_reach("8.8.8.8".parse().unwrap(), true));
    }
}
