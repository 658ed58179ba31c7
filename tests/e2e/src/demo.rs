//! The demo shop: its files, and loading them through the API.

use becket_api::cutting::{
    ReceiveCoilsRequest, SaveStationRequest, ScheduleLine, SetStockRuleRequest, Station,
};
use becket_api::document::{CoilsDocument, DocumentError, Format, parse_coils, parse_list, parse_toml};
use becket_api::stringing::{
    CreateScaleRequest, ImportWiresRequest, Job, OpenJobRequest, ReleaseScaleRequest, Scale, SizeSeries, Wire,
};
use tonic::Status;

use crate::client::Shop;

/// Wires beside the music wire that becket ships.
pub const WIRES: &str = include_str!("../../../services/becket/demo/wires.toml");
/// Scale of the concert grand.
pub const CONCERT: &str = include_str!("../../../services/becket/demo/scales/concert-270.toml");
/// Scale of the small grand.
pub const SMALL: &str = include_str!("../../../services/becket/demo/scales/small-160.toml");
/// Coils and stock rules.
pub const COILS: &str = include_str!("../../../services/becket/demo/coils.toml");
/// Jobs.
pub const JOBS: &str = include_str!("../../../services/becket/demo/jobs.toml");
/// Build schedule.
pub const SCHEDULE: &str = include_str!("../../../services/becket/demo/schedule.toml");
/// Wire station.
pub const STATION: &str = include_str!("../../../services/becket/demo/station.toml");

/// A file of the demo that cannot be read, or a server that refuses it.
#[derive(Debug)]
pub enum DemoError {
    /// A file is not what it should be.
    Document(Box<DocumentError>),
    /// The server refused.
    Refused(Box<Status>),
    /// The server's answer lacks something.
    Answer(&'static str),
}

impl std::fmt::Display for DemoError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Document(error) => write!(f, "a demo file cannot be read: {error}"),
            Self::Refused(status) => write!(f, "the server refused the demo: {status}"),
            Self::Answer(what) => write!(f, "the server's answer lacks {what}"),
        }
    }
}

impl std::error::Error for DemoError {}

impl From<DocumentError> for DemoError {
    fn from(error: DocumentError) -> Self {
        Self::Document(Box::new(error))
    }
}

impl From<Status> for DemoError {
    fn from(status: Status) -> Self {
        Self::Refused(Box::new(status))
    }
}

/// Reads the jobs.
///
/// # Errors
/// [`DemoError::Document`].
pub fn jobs() -> Result<Vec<Job>, DemoError> {
    Ok(parse_list(JOBS, Format::Toml, "jobs")?)
}

/// Reads the build schedule.
///
/// # Errors
/// [`DemoError::Document`].
pub fn schedule() -> Result<Vec<ScheduleLine>, DemoError> {
    Ok(parse_list(SCHEDULE, Format::Toml, "lines")?)
}

impl Shop {
    /// Loads the whole shop: wires, scales, stock, station, jobs.
    ///
    /// # Errors
    /// [`DemoError`].
    pub async fn load(&mut self) -> Result<(), DemoError> {
        self.load_wires().await?;
        self.load_scale(CONCERT).await?;
        self.load_scale(SMALL).await?;
        self.load_stock().await?;
        for job in jobs()? {
            self.open_job(job).await?;
        }
        Ok(())
    }

    /// Loads the wires: the shop's own and the inch series.
    ///
    /// # Errors
    /// [`DemoError`].
    pub async fn load_wires(&mut self) -> Result<(), DemoError> {
        let request = ImportWiresRequest {
            request_id: self.request_id(),
            wires: parse_list::<Wire>(WIRES, Format::Toml, "wires")?,
            standard_series: vec![SizeSeries::Inch.into()],
            validate_only: false,
        };
        self.wires.import_wires(request).await?;
        Ok(())
    }

    /// Stores a scale and releases it.
    ///
    /// # Errors
    /// [`DemoError`].
    pub async fn load_scale(&mut self, text: &str) -> Result<(), DemoError> {
        let request = CreateScaleRequest {
            request_id: self.request_id(),
            scale: Some(parse_toml::<Scale>(text)?),
            validate_only: false,
        };
        let stored = self.scales.create_scale(request).await?.into_inner().scale;
        let stored = stored.ok_or(DemoError::Answer("the scale"))?;
        let release = ReleaseScaleRequest {
            request_id: self.request_id(),
            model_id: stored.model_id,
            revision_id: stored.revision_id,
            etag: stored.etag,
        };
        self.scales.release_scale(release).await?;
        Ok(())
    }

    /// Books the coils, sets the stock rules and saves the station.
    ///
    /// # Errors
    /// [`DemoError`].
    pub async fn load_stock(&mut self) -> Result<(), DemoError> {
        let CoilsDocument { coils, stock_rules } = parse_coils(COILS, Format::Toml)?;
        let request = ReceiveCoilsRequest { request_id: self.request_id(), coils, validate_only: false };
        self.coils.receive_coils(request).await?;
        for rule in stock_rules {
            let request = SetStockRuleRequest { request_id: self.request_id(), rule: Some(rule) };
            self.coils.set_stock_rule(request).await?;
        }
        let station = Some(parse_toml::<Station>(STATION)?);
        self.stations.save_station(SaveStationRequest { request_id: self.request_id(), station }).await?;
        Ok(())
    }

    /// Opens a job.
    ///
    /// # Errors
    /// [`DemoError`].
    pub async fn open_job(&mut self, job: Job) -> Result<(), DemoError> {
        let request = OpenJobRequest { request_id: self.request_id(), job: Some(job), validate_only: false };
        self.jobs.open_job(request).await?;
        Ok(())
    }
}
