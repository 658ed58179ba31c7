//! Receivers over real sockets, hostile ones above all.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use becket_api::feed::webhook_service_client::WebhookServiceClient;
use becket_api::feed::{
    CreateWebhookRequest, DeadLetter, DeleteWebhookRequest, ListDeadLettersRequest, ListWebhooksRequest,
    RedeliverDeadLettersRequest, Webhook, WebhookState,
};
use becket_e2e::receiver::{Behaviour, Posted, Receiver};
use becket_feed::{Deps, SERVICE_NAMES};
use becket_service_kit::{Protection, ServerParts, Settings, SystemClock, WebhookSettings, serve};
use becket_store::{Document, NewWire, StringStore, WriteContext};
use becket_store_sqlite::SqliteStore;
use hmac::{Hmac, KeyInit as _, Mac as _};
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair};
use rustls::ServerConfig;
use rustls::pki_types::PrivateKeyDer;
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tonic::service::RoutesBuilder;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// Generous: a busy machine is not a fault.
const LONG: Duration = Duration::from_secs(30);
const SECRET: &str = "0123456789abcdef0123456789abcdef";
/// After so many attempts an event is laid aside.
const ATTEMPTS: u32 = 6;

struct World {
    store: SqliteStore,
    client: WebhookServiceClient<Channel>,
    requests: AtomicU64,
    shutdown: CancellationToken,
}

impl World {
    async fn new() -> Self {
        Self::trusting(None).await
    }

    /// Trusts the authorities in a file.
    async fn trusting(ca: Option<PathBuf>) -> Self {
        let store = SqliteStore::in_memory().await.unwrap();
        let Settings { limits, feed, .. } = Settings::load(None, []).unwrap();
        let webhooks = WebhookSettings {
            allow_private_addresses: false,
            ca,
            timeout: Duration::from_millis(500),
            attempts: ATTEMPTS,
            first_pause: Duration::from_millis(10),
            longest_pause: Duration::from_millis(40),
            letter_retention: None,
        };
        let mut routes = RoutesBuilder::default();
        let deps = Deps {
            limits: limits.clone(),
            settings: feed,
            webhooks,
            store: Arc::new(store.clone()),
            clock: Arc::new(SystemClock),
            replica: "a".to_owned(),
        };
        becket_feed::register(&mut routes, deps).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let shutdown = CancellationToken::new();
        tokio::spawn(serve(ServerParts {
            routes: routes.routes(),
            listener,
            service_names: SERVICE_NAMES.to_vec(),
            limits,
            protection: Protection::default(),
            local: None,
            shutdown: shutdown.clone(),
        }));
        let channel = Endpoint::from_shared(url).unwrap().connect().await.unwrap();
        Self { store, client: WebhookServiceClient::new(channel), requests: AtomicU64::new(0), shutdown }
    }

    fn id(&self) -> String {
        format!("r{}", self.requests.fetch_add(1, Ordering::Relaxed))
    }

    async fn create(&self, webhook: Webhook, secret: &str) -> Result<Webhook, Status> {
        let request =
            CreateWebhookRequest { request_id: self.id(), webhook: Some(webhook), secret: secret.to_owned() };
        Ok(self.client.clone().create_webhook(request).await?.into_inner().webhook.unwrap())
    }

    async fn hook(&self, id: &str, receiver: &Receiver) -> Webhook {
        let webhook = Webhook { webhook_id: id.to_owned(), url: receiver.url(), ..Webhook::default() };
        self.create(webhook, SECRET).await.unwrap()
    }

    async fn add(&self, wire_ids: &[&str]) {
        let ctx = WriteContext {
            method: "becket.stringing.v1.WireService/ImportWires",
            request_id: self.id(),
            request_digest: [0; 32],
            actor: String::new(),
            origin: String::new(),
            now_us: 1,
        };
        let wire = |id: &&str| NewWire {
            wire_id: (*id).to_owned(),
            material: 1,
            document: Document { bytes: id.as_bytes().to_vec(), json: "{}".to_owned() },
        };
        let wires = wire_ids.iter().map(wire).collect();
        self.store.import_wires(&ctx, wires, Box::new(|_| Vec::new())).await.unwrap();
    }

    async fn state(&self, id: &str) -> Webhook {
        let listed = self.client.clone().list_webhooks(ListWebhooksRequest::default()).await.unwrap();
        let mut webhooks = listed.into_inner().webhooks.into_iter();
        webhooks.find(|webhook| webhook.webhook_id == id).unwrap()
    }

    /// Waits until a receiver is in a state.
    async fn until(&self, id: &str, wanted: impl Fn(&Webhook) -> bool) -> Webhook {
        let begun = Instant::now();
        loop {
            let state = self.state(id).await;
            if wanted(&state) {
                return state;
            }
            assert!(begun.elapsed() < LONG, "{state:?}");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    async fn letters(&self, id: &str) -> Vec<DeadLetter> {
        let request = ListDeadLettersRequest { webhook_id: id.to_owned(), ..Default::default() };
        self.client.clone().list_dead_letters(request).await.unwrap().into_inner().dead_letters
    }
}

async fn next(receiver: &mut Receiver) -> Posted {
    receiver.next(LONG).await.expect("nothing was posted")
}

#[tokio::test]
async fn events_are_posted_in_order_and_signed() {
    let world = World::new().await;
    let mut receiver = Receiver::start().await;
    world.add(&["before"]).await;
    world.hook("erp", &receiver).await;
    world.add(&["a", "b"]).await;
    world.add(&["c"]).await;
    for wire in ["a", "b", "c"] {
        let posted = next(&mut receiver).await;
        assert_eq!(posted.subject(), format!("wires/{wire}"));
        assert!(posted.head.starts_with("POST /becket HTTP/1.1"), "{}", posted.head);
        assert_eq!(posted.header("content-type"), Some("application/cloudevents+json"));
        let event = posted.json();
        assert_eq!((&event["specversion"], &event["type"]), (&"1.0".into(), &"becket.wire.added.v1".into()));
        let signature = posted.header("becket-signature").unwrap();
        let (time, tag) = signature.strip_prefix("t=").unwrap().split_once(",v1=").unwrap();
        let mut mac = Hmac::<sha2::Sha256>::new_from_slice(SECRET.as_bytes()).unwrap();
        mac.update([time.as_bytes(), b".", &posted.body].concat().as_slice());
        let expected: String = mac.finalize().into_bytes().iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(tag, expected);
    }
    // Wires 1 to 4 and the receiver's own entry.
    let state = world.until("erp", |state| state.told_sequence == 5).await;
    assert_eq!((state.state(), state.failed_attempts, state.dead_letters), (WebhookState::Active, 0, 0));
}

#[tokio::test]
async fn a_hostile_receiver_is_tried_again_and_keeps_the_order() {
    let world = World::new().await;
    let mut receiver = Receiver::start().await;
    let elsewhere = Receiver::start().await;
    let redirect = format!("302 Found\r\nlocation: {}\r\n", elsewhere.url());
    let bad = [
        Behaviour::status(500),
        Behaviour::Hang,
        Behaviour::CloseMidway,
        Behaviour::Answer(redirect),
        Behaviour::Drip,
    ];
    receiver.behave(bad.clone(), Behaviour::status(204));
    world.hook("erp", &receiver).await;
    world.add(&["a", "b"]).await;
    let mut ids = Vec::new();
    for _ in 0..=bad.len() {
        let posted = next(&mut receiver).await;
        assert_eq!(posted.subject(), "wires/a");
        ids.push(posted.json()["id"].clone());
    }
    ids.dedup();
    assert_eq!(ids.len(), 1, "a repeat can be told by its id");
    assert_eq!(next(&mut receiver).await.subject(), "wires/b");
    let state = world.until("erp", |state| state.told_sequence == 3).await;
    assert_eq!((state.failed_attempts, state.last_error.as_str(), state.dead_letters), (0, "", 0));
    let mut elsewhere = elsewhere;
    assert_eq!(elsewhere.next(Duration::from_millis(200)).await, None, "a redirection was followed");
}

#[tokio::test]
async fn what_cannot_be_told_is_laid_aside_and_sent_again_on_demand() {
    let world = World::new().await;
    let mut receiver = Receiver::start().await;
    let fails = (0..ATTEMPTS).map(|_| Behaviour::Answer("503 X\r\nretry-after: 0\r\n".to_owned()));
    receiver.behave(fails, Behaviour::status(200));
    world.hook("erp", &receiver).await;
    world.add(&["a", "b"]).await;
    for _ in 0..ATTEMPTS {
        assert_eq!(next(&mut receiver).await.subject(), "wires/a");
    }
    assert_eq!(next(&mut receiver).await.subject(), "wires/b");
    world.until("erp", |state| state.dead_letters == 1 && state.told_sequence == 3).await;
    let letters = world.letters("erp").await;
    assert_eq!(letters.len(), 1);
    let (letter, attempts) = (&letters[0], i32::try_from(ATTEMPTS).unwrap());
    assert_eq!((letter.sequence, letter.attempts, letter.queued), (2, attempts, false));
    assert_eq!(letter.last_error, "answered 503");

    // Sent again and refused again, it stays; then it is told.
    receiver.behave([Behaviour::status(400)], Behaviour::status(200));
    let again = async || {
        let (request_id, webhook_id) = (world.id(), "erp".to_owned());
        let request = RedeliverDeadLettersRequest { request_id, webhook_id, sequences: vec![2] };
        world.client.clone().redeliver_dead_letters(request).await.unwrap().into_inner().queued
    };
    assert_eq!(again().await, 1);
    assert_eq!(next(&mut receiver).await.subject(), "wires/a");
    let begun = Instant::now();
    while world.letters("erp").await.first().is_none_or(|letter| letter.last_error != "answered 400") {
        assert!(begun.elapsed() < LONG);
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    assert_eq!(again().await, 1);
    assert_eq!(next(&mut receiver).await.subject(), "wires/a");
    world.until("erp", |state| state.dead_letters == 0).await;
    assert_eq!(again().await, 0);
}

#[tokio::test]
async fn a_receiver_that_is_gone_is_left_alone() {
    let world = World::new().await;
    let mut receiver = Receiver::start().await;
    receiver.behave([Behaviour::status(410)], Behaviour::status(200));
    world.hook("erp", &receiver).await;
    world.add(&["a"]).await;
    next(&mut receiver).await;
    world.until("erp", |state| state.state() == WebhookState::Gone).await;
    world.add(&["b"]).await;
    assert_eq!(receiver.next(Duration::from_millis(1500)).await, None);
    // Created anew, it is told what comes from then on.
    let request = DeleteWebhookRequest { request_id: world.id(), webhook_id: "erp".to_owned() };
    world.client.clone().delete_webhook(request.clone()).await.unwrap();
    world.client.clone().delete_webhook(request).await.expect("a repeat gets the first answer");
    world.hook("erp", &receiver).await;
    world.add(&["c"]).await;
    assert_eq!(next(&mut receiver).await.subject(), "wires/c");
}

#[tokio::test]
async fn a_receiver_that_hangs_holds_up_nobody() {
    let world = World::new().await;
    let (mut slow, mut quick) = (Receiver::start().await, Receiver::start().await);
    slow.behave([], Behaviour::Hang);
    world.hook("a-slow", &slow).await;
    world.hook("b-quick", &quick).await;
    let names: Vec<String> = (0..20).map(|i| format!("w{i:02}")).collect();
    for name in &names {
        world.add(&[name]).await;
    }
    next(&mut slow).await;
    for name in &names {
        assert_eq!(next(&mut quick).await.subject(), format!("wires/{name}"));
    }
    assert_eq!(world.state("a-slow").await.told_sequence, 0, "the first event of it is not told yet");
}

#[tokio::test]
async fn filters_hold_for_receivers_too() {
    let world = World::new().await;
    let mut receiver = Receiver::start().await;
    let webhook = Webhook {
        webhook_id: "erp".to_owned(),
        url: receiver.url(),
        types: vec!["becket.wire.added.v1".to_owned()],
        subject_prefix: "wires/b".to_owned(),
        ..Webhook::default()
    };
    world.create(webhook, SECRET).await.unwrap();
    world.add(&["a1", "b1", "a2", "b2"]).await;
    assert_eq!(next(&mut receiver).await.subject(), "wires/b1");
    assert_eq!(next(&mut receiver).await.subject(), "wires/b2");
    assert_eq!(receiver.next(Duration::from_millis(300)).await, None);
}

#[tokio::test]
async fn faulty_receivers_are_refused_and_secrets_not_repeated() {
    let world = World::new().await;
    let secret = "white space is not allowed in secrets";
    let webhook = Webhook {
        webhook_id: "ERP".to_owned(),
        url: "http://10.0.0.1/".to_owned(),
        types: vec!["x".to_owned()],
        ..Webhook::default()
    };
    let status = world.create(webhook, secret).await.unwrap_err();
    assert!(!format!("{status:?}").contains(secret), "{status:?}");
    let faults = status.get_details_bad_request().unwrap().field_violations;
    let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["webhook.webhook_id", "webhook.url", "webhook.types[0]", "secret"]);

    let receiver = Receiver::start().await;
    let created = world.hook("erp", &receiver).await;
    assert!(!format!("{created:?}").contains(SECRET));
    let taken = world
        .create(Webhook { webhook_id: "erp".to_owned(), url: receiver.url(), ..Webhook::default() }, SECRET);
    assert_eq!(taken.await.unwrap_err().code(), Code::AlreadyExists);
    let request = DeleteWebhookRequest { request_id: world.id(), webhook_id: "crm".to_owned() };
    let missing = world.client.clone().delete_webhook(request).await.unwrap_err();
    assert_eq!(missing.get_details_error_info().unwrap().reason, "NOT_FOUND");
    world.shutdown.cancel();
}

/// A name may lead anywhere by the time it is called; what counts is where it leads then.
#[tokio::test]
async fn inner_addresses_are_not_called() {
    let world = World::new().await;
    // An address of this machine by another way than a loopback address: nothing answers, and nothing is asked.
    let webhook =
        Webhook { webhook_id: "erp".to_owned(), url: "https://0.0.0.0:1/".to_owned(), ..Webhook::default() };
    world.create(webhook, SECRET).await.unwrap();
    world.add(&["a"]).await;
    world.until("erp", |state| state.dead_letters == 1).await;
    let letter = world.letters("erp").await.remove(0);
    assert_eq!(letter.last_error, "the host leads only to addresses that must not be called");
}

type Authority = CertifiedIssuer<'static, KeyPair>;

fn authority(name: &str) -> Authority {
    let mut params = CertificateParams::new(Vec::new()).unwrap();
    params.distinguished_name.push(DnType::CommonName, name);
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    CertifiedIssuer::self_signed(params, KeyPair::generate().unwrap()).unwrap()
}

/// What a server needs to show a certificate for a name.
fn identity(of: &Authority, name: &str) -> Arc<ServerConfig> {
    let key = KeyPair::generate().unwrap();
    let certificate = CertificateParams::new(vec![name.to_owned()]).unwrap().signed_by(&key, of).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder =
        ServerConfig::builder_with_provider(provider).with_safe_default_protocol_versions().unwrap();
    let key = PrivateKeyDer::try_from(key.serialize_der()).unwrap();
    Arc::new(builder.with_no_client_auth().with_single_cert(vec![certificate.der().clone()], key).unwrap())
}

/// Encrypts in front of a receiver with what is in the slot at the moment. Returns the address to be told to.
async fn encrypted(receiver: &Receiver, shown: Arc<Mutex<Arc<ServerConfig>>>) -> String {
    let behind: SocketAddr = receiver.url()["http://".len()..].trim_end_matches("/becket").parse().unwrap();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            let acceptor = tokio_rustls::TlsAcceptor::from(Arc::clone(&shown.lock().unwrap()));
            tokio::spawn(async move {
                let Ok(mut inside) = acceptor.accept(stream).await else { return };
                let mut plain = TcpStream::connect(behind).await.unwrap();
                drop(tokio::io::copy_bidirectional(&mut inside, &mut plain).await);
            });
        }
    });
    format!("https://localhost:{port}/becket")
}

/// Own authority, wrong authority, wrong name; and what was laid aside meanwhile is told once the certificate is right.
#[tokio::test]
async fn certificates_of_receivers_are_checked_by_the_shops_authority() {
    let folder = tempfile::tempdir().unwrap();
    // The third one only has the name of the first.
    let (own, strange, false_one) = (authority("shop"), authority("strange"), authority("shop"));
    let ca = folder.path().join("ca.pem");
    std::fs::write(&ca, own.pem()).unwrap();
    let world = World::trusting(Some(ca)).await;
    let mut receiver = Receiver::start().await;
    let shown = Arc::new(Mutex::new(identity(&own, "localhost")));
    let url = encrypted(&receiver, Arc::clone(&shown)).await;
    let webhook = Webhook { webhook_id: "erp".to_owned(), url, ..Webhook::default() };
    world.create(webhook, SECRET).await.unwrap();
    world.add(&["a"]).await;
    assert_eq!(next(&mut receiver).await.subject(), "wires/a");

    for (wrong, wire, told) in [
        (identity(&strange, "localhost"), "b", "UnknownIssuer"),
        (identity(&false_one, "localhost"), "c", "BadSignature"),
        (identity(&own, "erp.example"), "d", "not valid for name \"localhost\""),
    ] {
        *shown.lock().unwrap() = wrong;
        let letters = world.letters("erp").await.len();
        world.add(&[wire]).await;
        world.until("erp", |state| usize::try_from(state.dead_letters).unwrap() == letters + 1).await;
        let letter = world.letters("erp").await.pop().unwrap();
        assert!(letter.last_error.starts_with("no TLS: "), "{letter:?}");
        assert!(
            letter.last_error.contains(told) || letter.last_error.contains("not valid for name"),
            "{letter:?}"
        );
    }
    assert_eq!(receiver.next(Duration::from_millis(200)).await, None, "nothing was posted meanwhile");

    *shown.lock().unwrap() = identity(&own, "localhost");
    let request = RedeliverDeadLettersRequest {
        request_id: world.id(),
        webhook_id: "erp".to_owned(),
        sequences: Vec::new(),
    };
    assert_eq!(world.client.clone().redeliver_dead_letters(request).await.unwrap().into_inner().queued, 3);
    let mut told = Vec::new();
    for _ in 0..3 {
        told.push(next(&mut receiver).await.subject());
    }
    told.sort();
    assert_eq!(told, ["wires/b", "wires/c", "wires/d"]);
    world.until("erp", |state| state.dead_letters == 0).await;
}
