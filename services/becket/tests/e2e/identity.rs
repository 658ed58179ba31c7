//! Tokens of an identity provider whose keys are fetched over https, and change.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpListener;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use becket_api::stringing::ListWiresRequest;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_e2e::Server;
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use rcgen::{KeyPair, PKCS_ED25519, PublicKeyData as _};
use rustls::pki_types::PrivateKeyDer;
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use serde_json::json;
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint};
use tonic::{Code, Request};

use crate::{binary, data};

/// A key of the provider.
struct Signer {
    kid: &'static str,
    pair: KeyPair,
}

impl Signer {
    fn new(kid: &'static str) -> Self {
        Self { kid, pair: KeyPair::generate_for(&PKCS_ED25519).unwrap() }
    }

    /// The key set with this key alone.
    fn set(&self) -> String {
        let x = URL_SAFE_NO_PAD.encode(self.pair.der_bytes());
        json!({ "keys": [{ "kty": "OKP", "crv": "Ed25519", "use": "sig", "kid": self.kid, "alg": "EdDSA", "x": x }] }).to_string()
    }

    #[expect(
        clippy::disallowed_methods,
        reason = "the server under test reads the clock of the machine, too"
    )]
    fn token(&self) -> String {
        let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap().as_secs();
        let claims = json!({
            "iss": "https://id.shop.example", "aud": "becket", "sub": "bench-1", "exp": now + 3600, "roles": ["station"],
        });
        let header = Header { kid: Some(self.kid.to_owned()), ..Header::new(Algorithm::EdDSA) };
        // The form of RFC 8410, section 7: fixed bytes, then the seed, which is where the generated key has it, too.
        let der = self.pair.serialize_der();
        let begin = der.windows(4).position(|bytes| bytes == [0x04, 0x22, 0x04, 0x20]).unwrap() + 4;
        let mut short = vec![
            0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
        ];
        short.extend(&der[begin..begin + 32]);
        jsonwebtoken::encode(&header, &claims, &EncodingKey::from_ed_der(&short)).unwrap()
    }
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
    assert_eq!(list_wires(&channel, &first.token()).await, Ok(()));
    assert_eq!(
        list_wires(&channel, &second.token()).await,
        Err(Code::Unauthenticated),
        "a key that nobody published"
    );

    // The provider changes its keys. A token of the new one is refused until the set may be fetched again, for 20 s at most, and
    // then one of the old key is.
    *served.lock().unwrap() = second.set();
    while list_wires(&channel, &second.token()).await != Ok(()) {
        assert!(
            began.elapsed() < Duration::from_secs(60),
            "the new key was not fetched; log: {}",
            server.log()
        );
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
    assert_eq!(list_wires(&channel, &first.token()).await, Err(Code::Unauthenticated));
    let asked = *asked.lock().unwrap();
    assert!(
        (2..=4).contains(&asked),
        "asked {asked} times: a stranger's tokens must not make becket ask for ever"
    );
}
