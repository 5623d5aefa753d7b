//! One connection, whichever version of MQTT it speaks.
//!
//! What enters are settings, filters and messages to publish; what leaves are [`Signal`]s, and the [`Reason`] for the end.
//! Each connection gets a fresh client: nothing of an old one can leak into it. It never connects twice by itself.

use std::time::Duration;

use rumqttc::{TlsConfiguration, Transport};

use super::filter::{Filter, Topic};
use super::reason::{FilterRefusal, Reason, Situation};
use super::session::{LARGEST_PAYLOAD, Message};
use super::settings::{BrokerUrl, Delivery, Protocol, Settings, SettingsError};
use super::{tls, v3, v5};

/// The largest packet that is read at all. Between this and [`LARGEST_PAYLOAD`] a payload is read and dropped, which keeps
/// the connection; beyond it MQTT 3.1.1 leaves only to hang up, while MQTT 5 brokers are told not to send it.
pub(super) const LARGEST_PACKET: usize = 1 << 20;
/// How long the whole way to an accepted connection may take.
pub(super) const CONNECT_SECONDS: u64 = 10;
/// Unacknowledged publications at a time. The library sets aside room for each, so that its own limits would cost megabytes.
pub(super) const IN_FLIGHT: u16 = 16;
/// Requests that wait to be sent.
const REQUESTS: usize = 64;

/// What happened on the connection.
#[derive(Debug)]
pub(super) enum Signal {
    /// The broker accepted the connection.
    Connected,
    /// A message.
    Message(Message),
    /// A message whose payload is larger than [`LARGEST_PAYLOAD`].
    Oversized { topic: String, bytes: usize },
    /// The answer to a subscription, filter by filter.
    Answered(Vec<Result<(), FilterRefusal>>),
    /// Nothing that concerns us: a sign of life, an acknowledgement.
    Nothing,
}

impl Signal {
    /// A message, unless its payload is too large.
    pub fn published(topic: String, payload: &[u8], retained: bool, delivery: Delivery) -> Self {
        if payload.len() > LARGEST_PAYLOAD {
            Self::Oversized { topic, bytes: payload.len() }
        } else {
            Self::Message(Message { topic, payload: payload.into(), retained, delivery })
        }
    }
}

/// All that is needed to connect, again and again.
pub(super) struct Dial {
    broker: BrokerUrl,
    delivery: Delivery,
    options: Options,
}

enum Options {
    V3(Box<rumqttc::MqttOptions>),
    V5(Box<rumqttc::v5::MqttOptions>),
}

impl Dial {
    /// Prepares connections as `settings` say.
    pub fn new(settings: &Settings) -> Result<Self, SettingsError> {
        settings.check()?;
        let transport = if settings.broker.encrypted() {
            let config = tls::client_config(settings.authorities.as_deref())?;
            Transport::tls_with_config(TlsConfiguration::Rustls(config))
        } else {
            Transport::tcp()
        };
        let options = match settings.protocol {
            Protocol::V3 => Options::V3(Box::new(v3::options(settings, transport))),
            Protocol::V5 => Options::V5(Box::new(v5::options(settings, transport))),
        };
        Ok(Self { broker: settings.broker.clone(), delivery: settings.delivery, options })
    }

    /// Bytes that cannot be understood, told with the address.
    pub fn not_mqtt(&self, why: &str) -> Reason {
        Situation { broker: &self.broker, connected: true }.not_mqtt(why)
    }

    /// A connection that has not begun: the first [`Link::poll`] makes it.
    pub fn open(&self) -> (Client, Link) {
        let (sender, wire) = match &self.options {
            Options::V3(options) => {
                let (client, events) = v3::open((**options).clone(), REQUESTS);
                (Sender::V3(client), Wire::V3(Box::new(events)))
            }
            Options::V5(options) => {
                let (client, events) = rumqttc::v5::AsyncClient::new((**options).clone(), REQUESTS);
                (Sender::V5(client), Wire::V5(Box::new(events)))
            }
        };
        let client = Client { sender, delivery: self.delivery };
        (client, Link { wire, broker: self.broker.clone(), connected: false })
    }
}

/// The sending side of a connection.
#[derive(Clone)]
pub(super) struct Client {
    sender: Sender,
    delivery: Delivery,
}

#[derive(Clone)]
enum Sender {
    V3(rumqttc::AsyncClient),
    V5(rumqttc::v5::AsyncClient),
}

impl Client {
    /// Asks for `filters` in one packet; false if there is no room for the request now.
    pub fn subscribe(&self, filters: &[Filter]) -> bool {
        match &self.sender {
            Sender::V3(client) => client.try_subscribe_many(v3::filters(filters, self.delivery)).is_ok(),
            Sender::V5(client) => client.try_subscribe_many(v5::filters(filters, self.delivery)).is_ok(),
        }
    }

    /// Hands over a message to publish; false if there is no room for it now, or the connection is gone.
    pub fn publish(&self, topic: &Topic, payload: Vec<u8>, retain: bool) -> bool {
        let topic = topic.as_str();
        match &self.sender {
            Sender::V3(client) => client.try_publish(topic, v3::quality(self.delivery), retain, payload).is_ok(),
            Sender::V5(client) => client.try_publish(topic, v5::quality(self.delivery), retain, payload).is_ok(),
        }
    }

    /// Asks for a farewell to be sent, after which the broker forgets the last will; false if there is no room for it now.
    pub fn say_farewell(&self) -> bool {
        match &self.sender {
            Sender::V3(client) => client.try_disconnect().is_ok(),
            Sender::V5(client) => client.try_disconnect().is_ok(),
        }
    }
}

/// The receiving side of a connection, which also does its work.
pub(super) struct Link {
    wire: Wire,
    broker: BrokerUrl,
    connected: bool,
}

enum Wire {
    V3(Box<rumqttc::EventLoop>),
    V5(Box<rumqttc::v5::EventLoop>),
}

impl Link {
    /// Connects if that has not been done, and waits for what happens next. After an error the link is used up, apart from
    /// [`Link::rest`].
    pub async fn poll(&mut self) -> Result<Signal, Reason> {
        let situation = Situation { broker: &self.broker, connected: self.connected };
        let signal = match &mut self.wire {
            Wire::V3(events) => match events.poll().await {
                Ok(event) => v3::signal(event),
                Err(error) => return Err(v3::reason(error, &situation)),
            },
            Wire::V5(events) => match events.poll().await {
                Ok(event) => v5::signal(event, &situation)?,
                Err(error) => return Err(v5::reason(error, &situation)),
            },
        };
        if matches!(signal, Signal::Connected) {
            self.connected = true;
            if let Wire::V5(events) = &mut self.wire {
                v5::keep_pinging(events);
            }
        }
        Ok(signal)
    }

    /// What had arrived before the error, in its order.
    pub fn rest(&mut self) -> Vec<Signal> {
        let situation = Situation { broker: &self.broker, connected: self.connected };
        match &mut self.wire {
            Wire::V3(events) => events.state.events.drain(..).map(v3::signal).collect(),
            Wire::V5(events) => {
                events.state.events.drain(..).map_while(|event| v5::signal(event, &situation).ok()).collect()
            }
        }
    }

    /// After how long without other traffic a sign of life is asked for.
    pub fn keep_alive(&self) -> Duration {
        match &self.wire {
            Wire::V3(events) => events.mqtt_options.keep_alive(),
            Wire::V5(events) => events.options.keep_alive(),
        }
    }

    /// Bytes that cannot be understood, told with the address.
    pub fn not_mqtt(&self, why: &str) -> Reason {
        Situation { broker: &self.broker, connected: self.connected }.not_mqtt(why)
    }

    /// No answer in time.
    pub fn timed_out(&self) -> Reason {
        Situation { broker: &self.broker, connected: self.connected }.timed_out()
    }
}
