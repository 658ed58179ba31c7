//! A receiver of webhooks that behaves as it is told, badly above all.
#![allow(clippy::expect_used, reason = "part of tests: without a receiver there is nothing to test")]

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// What a receiver does with one request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Behaviour {
    /// Answers with a status line and headers, each ended as HTTP wants, such as "200 OK\r\n".
    Answer(String),
    /// Takes the request and says nothing.
    Hang,
    /// Closes after half a status line.
    CloseMidway,
    /// Answers one byte in a second.
    Drip,
}

impl Behaviour {
    /// Answers with a status alone.
    #[must_use]
    pub fn status(status: u16) -> Self {
        Self::Answer(format!("{status} X\r\n"))
    }
}

/// A request as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Posted {
    /// Request line and headers.
    pub head: String,
    /// Body.
    pub body: Vec<u8>,
}

impl Posted {
    /// The value of a header.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut headers = self.head.lines().skip(1).filter_map(|line| line.split_once(": "));
        headers.find(|(found, _)| found.eq_ignore_ascii_case(name)).map(|(_, value)| value)
    }

    /// The body as JSON; null if it is none.
    #[must_use]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_default()
    }

    /// The subject of the event.
    #[must_use]
    pub fn subject(&self) -> String {
        self.json()["subject"].as_str().unwrap_or_default().to_owned()
    }
}

/// A receiver on a free loopback port. It ends when it is dropped.
#[derive(Debug)]
pub struct Receiver {
    address: SocketAddr,
    script: Arc<Mutex<(VecDeque<Behaviour>, Behaviour)>>,
    posted: mpsc::UnboundedReceiver<Posted>,
    task: JoinHandle<()>,
}

impl Receiver {
    /// Starts one that answers 200.
    ///
    /// # Panics
    /// If there is no free port.
    pub async fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("there is a free port");
        let address = listener.local_addr().expect("it has an address");
        let script = Arc::new(Mutex::new((VecDeque::new(), Behaviour::status(200))));
        let (tell, posted) = mpsc::unbounded_channel();
        let task = tokio::spawn(serve(listener, Arc::clone(&script), tell));
        Self { address, script, posted, task }
    }

    /// Where it listens.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}/becket", self.address)
    }

    /// What it does with the next requests, and then with all others.
    pub fn behave(&self, next: impl IntoIterator<Item = Behaviour>, then: Behaviour) {
        *self.script.lock().unwrap_or_else(PoisonError::into_inner) = (next.into_iter().collect(), then);
    }

    /// The next request; `None` if none comes in time.
    pub async fn next(&mut self, within: Duration) -> Option<Posted> {
        tokio::time::timeout(within, self.posted.recv()).await.ok().flatten()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn serve(
    listener: TcpListener,
    script: Arc<Mutex<(VecDeque<Behaviour>, Behaviour)>>,
    tell: mpsc::UnboundedSender<Posted>,
) {
    while let Ok((stream, _)) = listener.accept().await {
        let (script, tell) = (Arc::clone(&script), tell.clone());
        tokio::spawn(async move {
            // A caller that goes away is no fault of the receiver.
            let _ = answer(stream, &script, &tell).await;
        });
    }
}

async fn answer(
    mut stream: TcpStream,
    script: &Mutex<(VecDeque<Behaviour>, Behaviour)>,
    tell: &mpsc::UnboundedSender<Posted>,
) -> std::io::Result<()> {
    let Some(posted) = read(&mut stream).await? else { return Ok(()) };
    let behaviour = {
        let mut script = script.lock().unwrap_or_else(PoisonError::into_inner);
        script.0.pop_front().unwrap_or_else(|| script.1.clone())
    };
    let _ = tell.send(posted);
    match behaviour {
        Behaviour::Answer(head) => {
            stream.write_all(format!("HTTP/1.1 {head}content-length: 0\r\n\r\n").as_bytes()).await
        }
        Behaviour::Hang => std::future::pending().await,
        Behaviour::CloseMidway => stream.write_all(b"HTTP/1.1 2").await,
        Behaviour::Drip => {
            for byte in b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n" {
                stream.write_all(&[*byte]).await?;
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
            Ok(())
        }
    }
}

async fn read(stream: &mut TcpStream) -> std::io::Result<Option<Posted>> {
    let mut bytes = Vec::new();
    loop {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if let Some((head, _)) = text.split_once("\r\n\r\n") {
            let posted = Posted { head: head.to_owned(), body: bytes.split_off(head.len() + 4) };
            let length = posted.header("content-length").and_then(|length| length.parse().ok()).unwrap_or(0);
            let mut body = posted.body;
            let here = body.len();
            body.resize(length, 0);
            if let Some(rest) = body.get_mut(here..) {
                stream.read_exact(rest).await?;
            }
            return Ok(Some(Posted { head: posted.head, body }));
        }
        if stream.read_buf(&mut bytes).await? == 0 {
            return Ok(None);
        }
    }
}
