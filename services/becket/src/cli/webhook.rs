//! `webhook`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Limit;

/// Keeps the receivers that are told of events by HTTP
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket webhook list")]
pub(crate) enum Webhook {
    Create(CreateWebhook),
    List(ListWebhooks),
    Delete(DeleteWebhook),
    Letters(ListLetters),
    Redeliver(Redeliver),
}

/// Adds a receiver, which is told what happens from now on
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket webhook create erp https://erp.shop.example/becket --new-secret-to erp.secret
  becket webhook create erp http://127.0.0.1:8080/ --secret-file erp.secret --type becket.coil.received.v1")]
pub(crate) struct CreateWebhook {
    /// Its id
    #[arg(value_name = "ID")]
    pub(crate) webhook_id: String,
    /// Where events are posted to: https://, or http:// with a loopback address
    #[arg(value_name = "URL")]
    pub(crate) url: String,
    /// File with the key of the signatures
    #[arg(long, value_name = "FILE", required_unless_present = "new_secret_to")]
    pub(crate) secret_file: Option<PathBuf>,
    /// File that gets a new key, readable only by its owner; it must not be there yet
    #[arg(long, value_name = "FILE", conflicts_with = "secret_file")]
    pub(crate) new_secret_to: Option<PathBuf>,
    /// Only events of this type; may be repeated
    #[arg(long = "type", value_name = "TYPE")]
    pub(crate) types: Vec<String>,
    /// Only events whose subject begins so
    #[arg(long, value_name = "PREFIX", default_value = "")]
    pub(crate) subject: String,
}

/// Lists receivers: how far each was told, and what is the matter
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket webhook list")]
pub(crate) struct ListWebhooks {
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Removes a receiver with its dead letters
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket webhook delete erp")]
pub(crate) struct DeleteWebhook {
    /// Its id
    #[arg(value_name = "ID")]
    pub(crate) webhook_id: String,
}

/// Lists the events that a receiver could not be told
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket webhook letters erp")]
pub(crate) struct ListLetters {
    /// Receiver
    #[arg(value_name = "ID")]
    pub(crate) webhook_id: String,
    #[command(flatten)]
    pub(crate) limit: Limit,
}

/// Sends dead letters again
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket webhook redeliver erp
  becket webhook redeliver erp 812 815")]
pub(crate) struct Redeliver {
    /// Receiver
    #[arg(value_name = "ID")]
    pub(crate) webhook_id: String,
    /// Which events [default: all]
    #[arg(value_name = "EVENT")]
    pub(crate) sequences: Vec<i64>,
}
