//! MQTT 3.1.1: settings to the client library's options, its events to [`Signal`]s, its errors to [`Reason`]s.
//!
//! Nothing here decides anything: it translates.

use std::time::Duration;

use rumqttc::mqttbytes::Error as Malformed;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, LastWill, MqttOptions, NetworkOptions, Packet,
    QoS, StateError, SubscribeFilter, SubscribeReasonCode, Transport,
};

use super::filter::Filter;
use super::link::{CONNECT_SECONDS, IN_FLIGHT, LARGEST_PACKET, Signal};
use super::reason::{FilterRefusal, Reason, Refusal, Situation};
use super::settings::{Delivery, Secret, Settings, Will};

/// The library's options.
pub(super) fn options(settings: &Settings, transport: Transport) -> MqttOptions {
    let mut options = MqttOptions::new(&settings.client_id, settings.broker.host(), settings.broker.port());
    options
        .set_transport(transport)
        .set_keep_alive(Duration::from_secs(settings.keep_alive.into()))
        .set_clean_session(true)
        .set_max_packet_size(LARGEST_PACKET, LARGEST_PACKET)
        .set_inflight(IN_FLIGHT);
    if let Some(user) = &settings.user {
        options.set_credentials(user, settings.password.as_ref().map_or("", Secret::reveal));
    }
    if let Some(Will { topic, payload }) = &settings.will {
        options.set_last_will(LastWill::new(topic.as_str(), payload.clone(), quality(settings.delivery), true));
    }
    options
}

/// A client that is yet to connect.
pub(super) fn open(options: MqttOptions, requests: usize) -> (AsyncClient, EventLoop) {
    let (client, mut events) = AsyncClient::new(options, requests);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    network.set_connection_timeout(CONNECT_SECONDS);
    events.set_network_options(network);
    (client, events)
}

/// The quality of service.
pub(super) fn quality(delivery: Delivery) -> QoS {
    match delivery {
        Delivery::AtMostOnce => QoS::AtMostOnce,
        Delivery::AtLeastOnce => QoS::AtLeastOnce,
    }
}

/// How a message was delivered. More than at least once is never subscribed to.
fn delivered(quality: QoS) -> Delivery {
    match quality {
        QoS::AtMostOnce => Delivery::AtMostOnce,
        QoS::AtLeastOnce | QoS::ExactlyOnce => Delivery::AtLeastOnce,
    }
}

/// The filters of one subscription.
pub(super) fn filters(filters: &[Filter], delivery: Delivery) -> Vec<SubscribeFilter> {
    filters.iter().map(|filter| SubscribeFilter::new(filter.as_str().into(), quality(delivery))).collect()
}

/// What an event means.
pub(super) fn signal(event: Event) -> Signal {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Signal::Connected,
        Event::Incoming(Packet::Publish(publish)) => {
            let delivery = delivered(publish.qos);
            Signal::published(publish.topic, &publish.payload, publish.retain, delivery)
        }
        Event::Incoming(Packet::SubAck(answer)) => {
            let accepted = |code| match code {
                SubscribeReasonCode::Success(_) => Ok(()),
                SubscribeReasonCode::Failure => Err(FilterRefusal::Unspecified),
            };
            Signal::Answered(answer.return_codes.into_iter().map(accepted).collect())
        }
        _ => Signal::Nothing,
    }
}

/// What an error means.
pub(super) fn reason(error: ConnectionError, situation: &Situation) -> Reason {
    match error {
        ConnectionError::ConnectionRefused(code) => Reason::Refused(refusal(code)),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => situation.timed_out(),
        ConnectionError::Io(error) => situation.dialling(&error),
        ConnectionError::Tls(error) => situation.tls_setup(&error),
        ConnectionError::NotConnAck(_) => situation.not_mqtt("another packet in place of the answer to the connection"),
        ConnectionError::RequestsDone => situation.closed(),
        ConnectionError::MqttState(error) => match error {
            StateError::Io(error) | StateError::Deserialization(Malformed::Io(error)) => situation.io(&error),
            StateError::ConnectionAborted => situation.closed(),
            StateError::AwaitPingResp | StateError::CollisionTimeout => situation.timed_out(),
            StateError::Deserialization(Malformed::PayloadSizeLimitExceeded(_)) if situation.connected => {
                Reason::PacketTooLarge { limit: LARGEST_PACKET }
            }
            StateError::Deserialization(Malformed::InvalidConnectReturnCode(code)) if !situation.connected => {
                Reason::Refused(Refusal::from_code(code))
            }
            StateError::Deserialization(error) => situation.not_mqtt(error),
            error => situation.not_mqtt(error),
        },
    }
}

fn refusal(code: ConnectReturnCode) -> Refusal {
    match code {
        ConnectReturnCode::RefusedProtocolVersion => Refusal::ProtocolVersion,
        ConnectReturnCode::BadClientId => Refusal::ClientId,
        ConnectReturnCode::ServiceUnavailable => Refusal::Unavailable,
        ConnectReturnCode::BadUserNamePassword => Refusal::Credentials,
        ConnectReturnCode::NotAuthorized => Refusal::NotAuthorised,
        ConnectReturnCode::Success => Refusal::Other { code: 0 },
    }
}
