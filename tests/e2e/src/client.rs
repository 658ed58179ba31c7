//! A client of all services.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use becket_api::cutting::coil_service_client::CoilServiceClient;
use becket_api::cutting::cut_list_service_client::CutListServiceClient;
use becket_api::cutting::purchasing_service_client::PurchasingServiceClient;
use becket_api::cutting::record_service_client::RecordServiceClient;
use becket_api::cutting::station_service_client::StationServiceClient;
use becket_api::feed::feed_service_client::FeedServiceClient;
use becket_api::feed::webhook_service_client::WebhookServiceClient;
use becket_api::journal::journal_service_client::JournalServiceClient;
use becket_api::stringing::job_service_client::JobServiceClient;
use becket_api::stringing::scale_service_client::ScaleServiceClient;
use becket_api::stringing::string_set_service_client::StringSetServiceClient;
use becket_api::stringing::wire_service_client::WireServiceClient;
use tonic::Status;
use tonic::transport::{Channel, Endpoint, Error};
use tonic_types::StatusExt as _;

/// Largest answer that is accepted, in bytes.
pub(crate) const LARGEST_ANSWER: usize = 64 * 1024 * 1024;

/// How long a lazy client takes to find that nobody is there.
const CONNECT_WITHIN: Duration = Duration::from_secs(1);

/// Numbers request ids, which must differ among all clients of a test.
static NEXT_ID: AtomicU64 = AtomicU64::new(1);

/// Stubs of all services. A clone shares the connection.
#[derive(Debug, Clone)]
pub struct Shop {
    /// Connection to the stringing service.
    pub stringing: Channel,
    /// Connection to the cutting service.
    pub cutting: Channel,
    /// The wire catalogue.
    pub wires: WireServiceClient<Channel>,
    /// Scales.
    pub scales: ScaleServiceClient<Channel>,
    /// Jobs.
    pub jobs: JobServiceClient<Channel>,
    /// String sets.
    pub sets: StringSetServiceClient<Channel>,
    /// The journal of the stringing service, or of both.
    pub journal: JournalServiceClient<Channel>,
    /// The feed of the stringing service, or of both.
    pub feed: FeedServiceClient<Channel>,
    /// Receivers of events by HTTP.
    pub webhooks: WebhookServiceClient<Channel>,
    /// Coils.
    pub coils: CoilServiceClient<Channel>,
    /// Stations.
    pub stations: StationServiceClient<Channel>,
    /// Cut lists.
    pub lists: CutListServiceClient<Channel>,
    /// Purchasing.
    pub purchasing: PurchasingServiceClient<Channel>,
    /// Records.
    pub records: RecordServiceClient<Channel>,
}

impl Shop {
    /// Connects to a server that has both services.
    ///
    /// # Errors
    /// If nobody answers there.
    pub async fn connect(url: &str) -> Result<Self, Error> {
        let channel = Endpoint::from_shared(url.to_owned())?.connect().await?;
        Ok(Self::on(channel.clone(), channel))
    }

    /// Connects to two servers with one service each.
    ///
    /// # Errors
    /// If nobody answers at one of them.
    pub async fn connect_split(stringing_url: &str, cutting_url: &str) -> Result<Self, Error> {
        let stringing = Endpoint::from_shared(stringing_url.to_owned())?.connect().await?;
        let cutting = Endpoint::from_shared(cutting_url.to_owned())?.connect().await?;
        Ok(Self::on(stringing, cutting))
    }

    /// As [`Shop::connect_split`], but connects with the first call, and again whenever the connection is lost. Nobody needs
    /// to answer there yet.
    ///
    /// # Errors
    /// If a text is not an address.
    pub fn lazy(stringing_url: &str, cutting_url: &str) -> Result<Self, Error> {
        let channel = |url: &str| -> Result<Channel, Error> {
            let endpoint = Endpoint::from_shared(url.to_owned())?;
            Ok(endpoint.connect_timeout(CONNECT_WITHIN).connect_lazy())
        };
        Ok(Self::on(channel(stringing_url)?, channel(cutting_url)?))
    }

    fn on(stringing: Channel, cutting: Channel) -> Self {
        let (s, c) = (|| stringing.clone(), || cutting.clone());
        Self {
            wires: WireServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            scales: ScaleServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            jobs: JobServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            sets: StringSetServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            journal: JournalServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            feed: FeedServiceClient::new(s()).max_decoding_message_size(LARGEST_ANSWER),
            webhooks: WebhookServiceClient::new(s()),
            coils: CoilServiceClient::new(c()).max_decoding_message_size(LARGEST_ANSWER),
            stations: StationServiceClient::new(c()).max_decoding_message_size(LARGEST_ANSWER),
            lists: CutListServiceClient::new(c()).max_decoding_message_size(LARGEST_ANSWER),
            purchasing: PurchasingServiceClient::new(c()).max_decoding_message_size(LARGEST_ANSWER),
            records: RecordServiceClient::new(c()).max_decoding_message_size(LARGEST_ANSWER),
            stringing,
            cutting,
        }
    }

    /// A request id that no other call of this process has.
    #[must_use]
    pub fn request_id(&self) -> String {
        format!("e2e-{}", NEXT_ID.fetch_add(1, Ordering::Relaxed))
    }
}

/// The reason that becket gave for an error; `None` if the error is not one of becket's answers, but of the connection.
#[must_use]
pub fn reason(status: &Status) -> Option<String> {
    let info = status.get_details_error_info()?;
    (info.domain == "becket").then_some(info.reason)
}
