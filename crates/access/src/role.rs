//! The roles of a shop.

use std::fmt;

/// What someone does in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Cuts at a wire station.
    Station,
    /// Designs scales, keeps the wire catalogue and opens jobs.
    Engineering,
    /// Receives, weighs and scraps coils.
    StockKeeper,
    /// Estimates and buys wire.
    Purchasing,
    /// Reads string sets, records and changes; changes nothing.
    ErpReader,
    /// May call everything.
    Administrator,
    /// One service of becket that calls another.
    Service,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 7] = [
        Self::Station,
        Self::Engineering,
        Self::StockKeeper,
        Self::Purchasing,
        Self::ErpReader,
        Self::Administrator,
        Self::Service,
    ];

    /// The name in files, tokens and options.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Station => "station",
            Self::Engineering => "engineering",
            Self::StockKeeper => "stock-keeper",
            Self::Purchasing => "purchasing",
            Self::ErpReader => "erp-reader",
            Self::Administrator => "administrator",
            Self::Service => "service",
        }
    }

    /// The role of a name, if there is one.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }

    /// The names of all roles, for messages: "station, engineering, …".
    #[must_use]
    pub fn names() -> String {
        Self::ALL.map(Self::name).join(", ")
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A set of roles.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RoleSet(u8);

impl RoleSet {
    /// No role.
    pub const NONE: Self = Self(0);

    /// The set of the given roles.
    #[must_use]
    pub const fn of(roles: &[Role]) -> Self {
        let mut bits = 0;
        let mut i = 0;
        while i < roles.len() {
            bits |= 1 << roles[i] as u8;
            i += 1;
        }
        Self(bits)
    }

    /// This set with the roles of another.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether a role is in the set.
    #[must_use]
    pub const fn has(self, role: Role) -> bool {
        self.0 & 1 << role as u8 != 0
    }

    /// Whether the sets share a role.
    #[must_use]
    pub const fn meets(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Whether there is no role.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The roles in the set.
    pub fn roles(self) -> impl Iterator<Item = Role> {
        Role::ALL.into_iter().filter(move |role| self.has(*role))
    }
}

impl fmt::Display for RoleSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.roles().map(Role::name).collect::<Vec<_>>().join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_back_to_roles() {
        for role in Role::ALL {
            assert_eq!(Role::of_name(role.name()), Some(role));
        }
        assert_eq!(Role::of_name("Administrator"), None);
    }

    #[test]
    fn sets() {
        let set = RoleSet::of(&[Role::Station, Role::Purchasing]);
        assert!(set.has(Role::Station) && !set.has(Role::Engineering));
        assert!(set.meets(RoleSet::of(&[Role::Purchasing, Role::ErpReader])));
        assert!(!set.meets(RoleSet::of(&[Role::Administrator])));
        assert!(!RoleSet::NONE.meets(RoleSet::of(&Role::ALL)));
        assert_eq!(set.to_string(), "station, purchasing");
        assert_eq!(set.roles().count(), 2);
    }
}
