//! Page tokens that were changed, cut short, or taken from another list.

use std::collections::BTreeMap;

use becket_e2e::random::Random;
use becket_e2e::raw::{Method, RawClient, methods};
use becket_e2e::reason;
use prost::Message as _;
use prost_reflect::{DynamicMessage, Value};
use tonic::Code;

use crate::Fresh;

/// Methods that answer in pages.
fn paged() -> Vec<Method> {
    let paged = |method: &Method| method.request.get_field_by_name("page_token").is_some();
    methods().unwrap().into_iter().filter(paged).collect()
}

fn request(method: &Method, token: &str, extra: &[(&str, &str)]) -> DynamicMessage {
    let mut request = DynamicMessage::new(method.request.clone());
    request.set_field_by_name("page_size", Value::I32(1));
    request.set_field_by_name("page_token", Value::String(token.to_owned()));
    for (name, value) in extra {
        request.set_field_by_name(name, Value::String((*value).to_owned()));
    }
    request
}

/// What a list is of, where it is always of one thing.
fn subject(method: &Method) -> &'static [(&'static str, &'static str)] {
    match method.path.rsplit('/').next() {
        Some("ListLotSerials") => &[("lot_id", "H2602-05")],
        Some("ListCoilEvidence") => &[("coil_id", "R0146")],
        _ => &[],
    }
}

async fn next_token(client: &RawClient, method: &Method, request: &DynamicMessage) -> String {
    let bytes = client.call(method, request.encode_to_vec().into(), None).await.unwrap();
    let answer = DynamicMessage::decode(method.answer.clone(), bytes).unwrap();
    answer.get_field_by_name("next_page_token").unwrap().as_str().unwrap().to_owned()
}

async fn check_refused(client: &RawClient, method: &Method, request: &DynamicMessage) {
    let answered = client.call(method, request.encode_to_vec().into(), None).await;
    let Err(status) = answered else { panic!("{} takes a wrong token", method.path) };
    assert_eq!(status.code(), Code::InvalidArgument, "{}: {status:?}", method.path);
    assert_eq!(reason(&status).as_deref(), Some("PAGE_TOKEN_INVALID"), "{}: {status:?}", method.path);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_that_was_not_given_is_refused() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let client = RawClient::new(fresh.server.url()).unwrap();
    let mut random = Random::new(3);
    let mut tokens = BTreeMap::new();
    for method in paged() {
        let of = subject(&method);
        let token = next_token(&client, &method, &request(&method, "", of)).await;
        if !token.is_empty() {
            // The token as given is good.
            next_token(&client, &method, &request(&method, &token, of)).await;
            tokens.insert(method.path, token);
        }
    }
    assert!(tokens.len() >= 5, "too few lists have a second page: {:?}", tokens.keys());

    for method in paged() {
        let of = subject(&method);
        for foreign in tokens.iter().filter(|(path, _)| **path != method.path).map(|(_, token)| token) {
            check_refused(&client, &method, &request(&method, foreign, of)).await;
        }
        for made_up in ["1", "AAAA", "%%%", "\u{e9}", &"A".repeat(2000)] {
            check_refused(&client, &method, &request(&method, made_up, of)).await;
        }
        let Some(token) = tokens.get(&method.path) else { continue };
        for at in 0..token.len() {
            let mut changed = token.clone().into_bytes();
            changed[at] = if changed[at] == b'A' { b'B' } else { b'A' };
            let changed = String::from_utf8(changed).unwrap();
            check_refused(&client, &method, &request(&method, &changed, of)).await;
        }
        let shorter = &token[..random.below(token.len() - 1) + 1];
        check_refused(&client, &method, &request(&method, shorter, of)).await;
        check_refused(&client, &method, &request(&method, &format!("{token}AAAA"), of)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_is_bound_to_the_filter() {
    let (fresh, _shop) = Fresh::with_demo().await;
    let client = RawClient::new(fresh.server.url()).unwrap();
    let filters = [
        ("ListCoils", "wire_id", "mw-in-16", "mw-in-15"),
        ("ListCoils", "lot_id", "H2602-14", "H2602-26"),
        ("ListScales", "model_id", "", "concert-270"),
        ("ListJobs", "station_id", "bench-1", ""),
        ("ListJobs", "due_by_date", "2026-12-31", "2026-12-30"),
    ];
    for (name, field, given, other) in filters {
        let method = paged().into_iter().find(|method| method.path.ends_with(name)).unwrap();
        let token = next_token(&client, &method, &request(&method, "", &[(field, given)])).await;
        assert!(!token.is_empty(), "{name} by {field} has one page only");
        next_token(&client, &method, &request(&method, &token, &[(field, given)])).await;
        check_refused(&client, &method, &request(&method, &token, &[(field, other)])).await;
    }
}
