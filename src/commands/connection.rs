//! The flags that say how to speak with the broker, the same for every verb that does.
//!
//! What enters are arguments; what leaves is a [`Broker`], whose files are not read yet.

use std::path::PathBuf;

use crate::feed::{Delivery, Protocol};
use crate::service::Broker;

use super::Failure;

/// How to speak with the broker
#[derive(Debug, clap::Args)]
#[group(id = "Connection", multiple = true)]
pub(super) struct Connection {
    /// User name for the broker
    #[arg(long, value_name = "NAME")]
    user: Option<String>,
    /// File with the password that goes with it
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// What the broker knows this program by; a random name if left out
    #[arg(long, value_name = "ID")]
    client_id: Option<String>,
    /// Version of MQTT
    #[arg(long, value_name = "VERSION", default_value = "3.1.1")]
    protocol: ProtocolName,
    /// Quality of service of the subscriptions
    #[arg(long, value_name = "LEVEL", default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=1))]
    qos: u8,
    /// After how many seconds of silence to ask the broker for a sign of life
    #[arg(long, value_name = "SECONDS", default_value_t = 30, value_parser = clap::value_parser!(u16).range(5..))]
    keep_alive: u16,
    /// File with PEM certificates of the authorities to trust for TLS; the system's if left out
    #[arg(long, value_name = "FILE")]
    ca_file: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum ProtocolName {
    #[value(name = "3.1.1")]
    V3,
    #[value(name = "5", alias = "5.0")]
    V5,
}

impl Connection {
    /// The broker at an address. It is not parsed by clap, whose messages repeat what was written, be it a password.
    pub(super) fn broker(&self, url: &str) -> Result<Broker, Failure> {
        let url = url.parse().map_err(|problem| Failure::Argument(format!("--broker: {problem}")))?;
        Ok(Broker {
            user: self.user.clone(),
            password_file: self.password_file.clone(),
            client_id: self.client_id.clone(),
            protocol: match self.protocol {
                ProtocolName::V3 => Protocol::V3,
                ProtocolName::V5 => Protocol::V5,
            },
            delivery: if self.qos == 0 { Delivery::AtMostOnce } else { Delivery::AtLeastOnce },
            keep_alive: Some(self.keep_alive),
            ca_file: self.ca_file.clone(),
            ..Broker::at(url)
        })
    }
}
