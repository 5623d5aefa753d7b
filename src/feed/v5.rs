//! MQTT 5.0: settings to the client library's options, its events to [`Signal`]s, its errors to [`Reason`]s.
//!
//! Nothing here decides anything: it translates.

use std::time::Duration;

use rumqttc::v5::mqttbytes::v5::{
    ConnectProperties, ConnectReturnCode, Filter as Wanted, LastWill, Packet, SubscribeReasonCode,
};
use rumqttc::v5::mqttbytes::{Error as Malformed, QoS};
use rumqttc::v5::{ConnectionError, Event, EventLoop, MqttOptions, StateError};
use rumqttc::{NetworkOptions, Transport};

use super::filter::Filter;
use super::link::{CONNECT_SECONDS, IN_FLIGHT, LARGEST_PACKET, Signal};
use super::reason::{FilterRefusal, Reason, Refusal, Situation};
use super::settings::{Delivery, Secret, Settings, Will};

/// How often to ask for a sign of life where the broker itself does not care.
const OWN_KEEP_ALIVE: Duration = Duration::from_secs(60);

/// The library's options.
pub(super) fn options(settings: &Settings, transport: Transport) -> MqttOptions {
    let mut options = MqttOptions::new(&settings.client_id, settings.broker.host(), settings.broker.port());
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    options
        .set_transport(transport)
        .set_keep_alive(Duration::from_secs(settings.keep_alive.into()))
        .set_clean_start(true)
        .set_connection_timeout(CONNECT_SECONDS)
        .set_network_options(network)
        .set_outgoing_inflight_upper_limit(IN_FLIGHT)
        // A broker must not send what is larger than this, and must not shorten topics to aliases, which the library's
        // events do not resolve (sections 3.1.2.11.4 and 3.1.2.11.5).
        .set_connect_properties(ConnectProperties {
            max_packet_size: Some(LARGEST_PACKET as u32),
            topic_alias_max: None,
            ..ConnectProperties::new()
        });
    if let Some(user) = &settings.user {
        options.set_credentials(user, settings.password.as_ref().map_or("", Secret::reveal));
    }
    if let Some(Will { topic, payload }) = &settings.will {
        let quality = quality(settings.delivery);
        options.set_last_will(LastWill::new(topic.as_str(), payload.clone(), quality, true, None));
    }
    options
}

/// The quality of service.
pub(super) fn quality(delivery: Delivery) -> QoS {
    match delivery {
        Delivery::AtMostOnce => QoS::AtMostOnce,
        Delivery::AtLeastOnce => QoS::AtLeastOnce,
    }
}

/// The filters of one subscription.
pub(super) fn filters(filters: &[Filter], delivery: Delivery) -> Vec<Wanted> {
    filters.iter().map(|filter| Wanted::new(filter.as_str(), quality(delivery))).collect()
}

/// A broker may set the keep-alive to zero, which means that it does not watch for silence. The library would then ask for
/// signs of life without pause.
pub(super) fn keep_pinging(events: &mut EventLoop) {
    if events.options.keep_alive().is_zero() {
        events.options.set_keep_alive(OWN_KEEP_ALIVE);
    }
}

/// What an event means.
pub(super) fn signal(event: Event, situation: &Situation) -> Result<Signal, Reason> {
    Ok(match event {
        Event::Incoming(Packet::ConnAck(_)) => Signal::Connected,
        Event::Incoming(Packet::Publish(publish)) => match std::str::from_utf8(&publish.topic) {
            Ok(topic) if !topic.is_empty() => {
                Signal::published(topic.into(), &publish.payload, publish.retain, delivered(publish.qos))
            }
            _ => return Err(situation.not_mqtt("a message without a topic in UTF-8")),
        },
        Event::Incoming(Packet::SubAck(answer)) => {
            Signal::Answered(answer.return_codes.into_iter().map(accepted).collect())
        }
        _ => Signal::Nothing,
    })
}

/// How a message was delivered. More than at least once is never subscribed to.
fn delivered(quality: QoS) -> Delivery {
    match quality {
        QoS::AtMostOnce => Delivery::AtMostOnce,
        QoS::AtLeastOnce | QoS::ExactlyOnce => Delivery::AtLeastOnce,
    }
}

fn accepted(code: SubscribeReasonCode) -> Result<(), FilterRefusal> {
    match code {
        SubscribeReasonCode::Success(_) => Ok(()),
        SubscribeReasonCode::NotAuthorized => Err(FilterRefusal::NotAuthorised),
        SubscribeReasonCode::TopicFilterInvalid => Err(FilterRefusal::Invalid),
        SubscribeReasonCode::QuotaExceeded => Err(FilterRefusal::Quota),
        SubscribeReasonCode::WildcardSubscriptionsNotSupported => Err(FilterRefusal::NoWildcards),
        _ => Err(FilterRefusal::Unspecified),
    }
}

/// What an error means.
pub(super) fn reason(error: ConnectionError, situation: &Situation) -> Reason {
    match error {
        ConnectionError::ConnectionRefused(code) => Reason::Refused(refusal(code)),
        ConnectionError::Timeout(_) => situation.timed_out(),
        ConnectionError::Io(error) => situation.dialling(&error),
        ConnectionError::Tls(error) => situation.tls_setup(&error),
        ConnectionError::NotConnAck(_) => situation.not_mqtt("another packet in place of the answer to the connection"),
        ConnectionError::RequestsDone => situation.closed(),
        ConnectionError::MqttState(error) => match error {
            StateError::Io(error) | StateError::Deserialization(Malformed::Io(error)) => situation.io(&error),
            StateError::ConnectionAborted => situation.closed(),
            StateError::AwaitPingResp | StateError::CollisionTimeout => situation.timed_out(),
            StateError::ServerDisconnect { reason_code, .. } => {
                Reason::Dismissed(Refusal::from_code(reason_code as u8))
            }
            StateError::ConnFail { reason } if !situation.connected => Reason::Refused(refusal(reason)),
            StateError::IncomingPacketTooLarge { .. } => Reason::PacketTooLarge { limit: LARGEST_PACKET },
            StateError::Deserialization(Malformed::PayloadSizeLimitExceeded { .. }) if situation.connected => {
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
    use ConnectReturnCode as Code;

    Refusal::from_code(match code {
        // The names that the library keeps for the codes of 3.1.1.
        Code::RefusedProtocolVersion | Code::UnsupportedProtocolVersion => 0x84,
        Code::BadClientId | Code::ClientIdentifierNotValid => 0x85,
        Code::ServiceUnavailable | Code::ServerUnavailable => 0x88,
        Code::Success => 0x00,
        Code::UnspecifiedError => 0x80,
        Code::MalformedPacket => 0x81,
        Code::ProtocolError => 0x82,
        Code::ImplementationSpecificError => 0x83,
        Code::BadUserNamePassword => 0x86,
        Code::NotAuthorized => 0x87,
        Code::ServerBusy => 0x89,
        Code::Banned => 0x8a,
        Code::BadAuthenticationMethod => 0x8c,
        Code::TopicNameInvalid => 0x90,
        Code::PacketTooLarge => 0x95,
        Code::QuotaExceeded => 0x97,
        Code::PayloadFormatInvalid => 0x99,
        Code::RetainNotSupported => 0x9a,
        Code::QoSNotSupported => 0x9b,
        Code::UseAnotherServer => 0x9c,
        Code::ServerMoved => 0x9d,
        Code::ConnectionRateExceeded => 0x9f,
    })
}
