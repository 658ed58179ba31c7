//! Every RPC in the descriptors has its line in the table of permissions, and no line is left over.

#![allow(clippy::unwrap_used, reason = "tests")]

use std::collections::BTreeSet;

use becket_access::{Caller, PERMISSIONS, Role, RoleSet, roles_of};
use prost::Message;

fn methods() -> BTreeSet<String> {
    let files = prost_types::FileDescriptorSet::decode(becket_api::DESCRIPTORS).unwrap();
    let mut paths = BTreeSet::new();
    for file in &files.file {
        for service in &file.service {
            for method in &service.method {
                paths.insert(format!("/{}.{}/{}", file.package(), service.name(), method.name()));
            }
        }
    }
    paths
}

#[test]
fn every_method_has_a_line_and_every_line_a_method() {
    let lines = PERMISSIONS.iter().filter(|line| !line.service.starts_with("grpc.reflection."));
    let listed: Vec<String> = lines.map(|line| format!("/{}/{}", line.service, line.method)).collect();
    let once: BTreeSet<String> = listed.iter().cloned().collect();
    assert_eq!(listed.len(), once.len(), "a method is listed twice");
    assert_eq!(once, methods());
}

#[test]
fn the_administrator_may_call_everything_and_nobody_what_is_not_listed() {
    let administrator = Caller { name: "a".to_owned(), roles: RoleSet::of(&[Role::Administrator]) };
    for path in methods() {
        assert!(administrator.may_call(&path), "{path}");
    }
    let everyone = Caller { name: "e".to_owned(), roles: RoleSet::of(&Role::ALL) };
    for path in
        ["", "/", "/becket.cutting.v1.CoilService/", "/becket.cutting.v1.CoilService/Melt", "becket.x/Y"]
    {
        assert!(!everyone.may_call(path) && roles_of(path).is_none(), "{path}");
    }
}

/// What reads must not write: a reader of the ERP may call nothing whose name is that of a change.
#[test]
fn a_reader_changes_nothing() {
    let reader = RoleSet::of(&[Role::ErpReader]);
    let reads =
        ["Get", "List", "Watch", "Compute", "Compare", "Match", "Stream", "PlanCuts", "ServerReflection"];
    for line in PERMISSIONS.iter().filter(|line| line.roles.meets(reader)) {
        assert!(reads.iter().any(|verb| line.method.starts_with(verb)), "{}/{}", line.service, line.method);
    }
}
