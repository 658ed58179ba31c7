//! Tokens of an identity provider whose keys are fetched over https, and change.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpListener;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime};

use becket_api::stringing::ListWiresRequest;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_e2e::Server;
use becket_e2e::signer::Signer;
use rustls::pki_types::PrivateKeyDer;
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint};
use tonic::{Code, Request};

use crate::{binary, data};

/// A token that is valid now.
#[expect(clippy::disallowed_methods, reason = "the server under test reads the clock of the machine, too")]
fn token(signer: &Signer) -> String {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap().as_secs();
    let now = i64::try_from(now).unwrap();
    signer.token(now - 1, now + 3600)
}

/// Answers every request over https with `body`; returns the address and how often it was asked.
fn provider(tls: ServerConfig, body: Arc<Mutex<String>>) -> (String, Arc<Mutex<u32>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (tls, asked) = (Arc::new(tls), Arc::new(Mutex::new(0)));
    let count = asked.clone();
    std::thread::spawn(move || {
        for socket in listener.incoming().flatten() {
            let mut stream =
                BufReader::new(StreamOwned::new(ServerConnection::new(tls.clone()).unwrap(), socket));
            let mut line = String::new();
            // The head of the request; whoever does not finish the handshake gets nothing.
            while stream.read_line(&mut line).is_ok_and(|read| read > 2) {
                line.clear();
            }
            if line.is_empty() {
                continue;
            }
            *count.lock().unwrap_or_else(PoisonError::into_inner) += 1;
            let body = body.lock().unwrap_or_else(PoisonError::into_inner).clone();
            let head = format!(
                "HTTP/1.1 200 OK\r\ncontent-type: application/json\r\ncontent-length: {}\r\n",
                body.len()
            );
            let stream = stream.get_mut();
            drop(write!(stream, "{head}connection: close\r\n\r\n{body}"));
            stream.conn.send_close_notify();
            drop(stream.flush());
        }
    });
    (format!("https://localhost:{port}/keys.json"), asked)
}

async fn list_wires(channel: &Channel, token: &str) -> Result<(), Code> {
    let mut request = Request::new(ListWiresRequest::default());
    request.metadata_mut().insert("authorization", format!("Bearer {token}").parse().unwrap());
    WireServiceClient::new(channel.clone())
        .list_wires(request)
        .await
        .map(drop)
        .map_err(|status| status.code())
}

#[tokio::test]
async fn keys_come_over_https_and_new_ones_are_fetched_when_a_token_names_them() {
    let folder = tempfile::tempdir().unwrap();
    let own = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    std::fs::write(file("server.pem"), own.cert.pem()).unwrap();
    std::fs::write(file("server.key"), own.signing_key.serialize_pem()).unwrap();
    let key = PrivateKeyDer::Pkcs8(own.signing_key.serialize_der().into());
    let tls = ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![own.cert.der().clone()], key)
        .unwrap();
    let (first, second) = (Signer::new("k1"), Signer::new("k2"));
    let served = Arc::new(Mutex::new(first.set()));
    let (address, asked) = provider(tls, served.clone());
    let settings = format!(
        "[tls]\ncertificate = '{}'\nkey = '{}'\n[access]\njwt_keys = '{address}'\njwt_issuer = 'https://id.shop.example'\n",
        file("server.pem"),
        file("server.key"),
    );
    std::fs::write(file("becket.toml"), settings).unwrap();
    let arguments =
        ["--config".to_owned(), file("becket.toml"), "--listen".to_owned(), "127.0.0.1:0".to_owned()];
    // The machine trusts the authority of the provider.
    let trusted = folder.path().join("server.pem");
    let server =
        Server::within(binary(), &data(&folder), &arguments, &[("SSL_CERT_FILE", trusted.as_os_str())]);
    let began = Instant::now();

    let tls = ClientTlsConfig::new().ca_certificate(Certificate::from_pem(own.cert.pem()));
    let url = server.url().replace("127.0.0.1", "localhost");
    let channel = Endpoint::from_shared(url).unwrap().tls_config(tls).unwrap().connect().await.unwrap();
    assert_eq!(list_wires(&channel, &token(&first)).await, Ok(()));
    assert_eq!(
        list_wires(&channel, &token(&second)).await,
        Err(Code::Unauthenticated),
        "a key that nobody published"
    );

    // The provider changes its keys. A token of the new one is refused until the set may be fetched again, for 20 s at most, and
    // then one of the old key is.
    *served.lock().unwrap() = second.set();
    while list_wires(&channel, &token(&second)).await != Ok(()) {
        assert!(
            began.elapsed() < Duration::from_secs(60),
            "the new key was not fetched; log: {}",
            server.log()
        );
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
    assert_eq!(list_wires(&channel, &token(&first)).await, Err(Code::Unauthenticated));
    let asked = *asked.lock().unwrap();
    assert!(
        (2..=4).contains(&asked),
        "asked {asked} times: a stranger's tokens must not make becket ask for ever"
    );
}
