//! Why there is no connection, or no subscription, in words that say what to do.
//!
//! What enters are errors of the network, of TLS and of the client library, and the broker's own codes; what leaves are
//! [`Reason`]s. Codes: MQTT 3.1.1 section 3.2.2.3 and 5.0 section 2.4 (from memory). Nothing here holds a secret.

use std::io;

use rustls::CertificateError;

use super::settings::BrokerUrl;

/// Why a connection did not come about or ended.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Reason {
    /// The name of the host leads to no address.
    #[error("the name {host:?} leads to no address ({why}): check its spelling and the network's name server")]
    Unresolved {
        /// The host's name.
        host: String,
        /// The system's words.
        why: String,
    },
    /// The host answers, but nothing listens at the port.
    #[error("nothing listens at {broker}: check that the broker runs and that the port is right")]
    NothingListens {
        /// The address.
        broker: String,
    },
    /// The network says no.
    #[error("{broker} cannot be reached ({why}): check the network and the address")]
    Unreachable {
        /// The address.
        broker: String,
        /// The system's words.
        why: String,
    },
    /// No connection within ten seconds.
    #[error("{broker} did not answer in time: check that it is switched on and that nothing blocks the port")]
    NoAnswer {
        /// The address.
        broker: String,
    },
    /// The connection ended before the broker agreed to it.
    #[error(
        "{broker} closed the connection before it answered: check the port, whether it expects TLS (mqtts://) or none (mqtt://), and whether it speaks the chosen version of MQTT"
    )]
    ClosedEarly {
        /// The address.
        broker: String,
    },
    /// The broker answered the connection with a refusal.
    #[error("the broker refused the connection: {0}")]
    Refused(Refusal),
    /// The broker ended the connection.
    #[error(
        "the broker closed the connection; if this happens again and again, another client may use the same client id"
    )]
    Closed,
    /// The broker ended the connection and said why (MQTT 5).
    #[error("the broker ended the connection: {0}")]
    Dismissed(Refusal),
    /// A keep-alive was not answered.
    #[error("the broker gave no sign of life for longer than the keep-alive: the network or the broker is down")]
    Silent,
    /// A subscription was not answered within ten seconds.
    #[error("the broker did not answer a subscription in time")]
    Unanswered,
    /// A packet beyond what is read at all.
    #[error("the broker sent a packet of more than {limit} bytes: narrow the topics to those that carry readings")]
    PacketTooLarge {
        /// The largest packet that is read.
        limit: usize,
    },
    /// Bytes that are no MQTT.
    #[error("{broker} sent something that is no MQTT ({why}): check the address and the port")]
    NotMqtt {
        /// The address.
        broker: String,
        /// What is wrong with it.
        why: String,
    },
    /// The broker's certificate comes from an authority that is not trusted here.
    #[error(
        "the certificate of {broker} was signed by an authority that is not trusted here: name its certificate file"
    )]
    UnknownAuthority {
        /// The address.
        broker: String,
    },
    /// The broker's certificate is for another name.
    #[error("the certificate of {broker} is for another name: write the address with a name in the certificate")]
    WrongName {
        /// The address.
        broker: String,
    },
    /// The broker's certificate is out of its time, seen from this clock.
    #[error("the certificate of {broker} is not valid at this time: check this machine's clock, then the certificate")]
    OutOfDate {
        /// The address.
        broker: String,
    },
    /// No TLS at the other end.
    #[error(
        "{broker} does not speak TLS: write mqtt:// for its plain port, or the port for TLS, which is usually 8883"
    )]
    NotTls {
        /// The address.
        broker: String,
    },
    /// TLS failed otherwise.
    #[error("the encrypted connection to {broker} failed: {why}")]
    Tls {
        /// The address.
        broker: String,
        /// The library's words.
        why: String,
    },
    /// The network failed while connected.
    #[error("the connection broke: {why}")]
    Broken {
        /// The system's words.
        why: String,
    },
}

/// What a broker says when it does not want a client.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// 3.1.1: 1; 5.0: 0x84.
    #[error("it does not speak this version of MQTT: choose the other one, 3.1.1 or 5")]
    ProtocolVersion,
    /// 3.1.1: 2; 5.0: 0x85.
    #[error("it does not accept the client id: choose another, of at most 23 letters and digits")]
    ClientId,
    /// 3.1.1: 3; 5.0: 0x88.
    #[error("it is not available at present")]
    Unavailable,
    /// 3.1.1: 4; 5.0: 0x86.
    #[error("wrong user name or password: check both, and the password file")]
    Credentials,
    /// 3.1.1: 5; 5.0: 0x87.
    #[error("this client is not authorised: set a user name and a password, or have the broker admit this one")]
    NotAuthorised,
    /// 5.0: 0x89.
    #[error("it is busy at present")]
    Busy,
    /// 5.0: 0x8a.
    #[error("it has banned this client: ask whoever looks after it")]
    Banned,
    /// 5.0: 0x8b.
    #[error("it is shutting down")]
    ShuttingDown,
    /// 5.0: 0x8c.
    #[error("it asks for a way of authentication other than user name and password, which sidelight does not have")]
    AuthenticationMethod,
    /// 5.0: 0x8d.
    #[error("it heard nothing for longer than the keep-alive: the network is slow, or this machine was asleep")]
    KeepAlive,
    /// 5.0: 0x8e.
    #[error("another client connected with the same client id: give each its own")]
    TakenOver,
    /// 5.0: 0x95.
    #[error("a packet was larger than it accepts")]
    PacketTooLarge,
    /// 5.0: 0x97.
    #[error("a quota is used up: ask whoever looks after it")]
    Quota,
    /// 5.0: 0x98.
    #[error("an administrator ended it")]
    Administrator,
    /// 5.0: 0x9c and 0x9d.
    #[error("it wants clients to use another broker: change the address")]
    OtherBroker,
    /// 5.0: 0x9f.
    #[error("clients connect too often")]
    ConnectionRate,
    /// Any other code.
    #[error("it gave the code 0x{code:02x}")]
    Other {
        /// The reason code.
        code: u8,
    },
}

impl Refusal {
    /// The meaning of a reason code of MQTT 5 (section 2.4).
    pub(super) fn from_code(code: u8) -> Self {
        match code {
            0x84 => Self::ProtocolVersion,
            0x85 => Self::ClientId,
            0x86 => Self::Credentials,
            0x87 => Self::NotAuthorised,
            0x88 => Self::Unavailable,
            0x89 => Self::Busy,
            0x8a => Self::Banned,
            0x8b => Self::ShuttingDown,
            0x8c => Self::AuthenticationMethod,
            0x8d => Self::KeepAlive,
            0x8e => Self::TakenOver,
            0x95 => Self::PacketTooLarge,
            0x97 => Self::Quota,
            0x98 => Self::Administrator,
            0x9c | 0x9d => Self::OtherBroker,
            0x9f => Self::ConnectionRate,
            code => Self::Other { code },
        }
    }
}

/// Why a broker does not accept a filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FilterRefusal {
    /// All that MQTT 3.1.1 can say.
    #[error("the broker refused it: this user may not be allowed to read it")]
    Unspecified,
    /// 5.0: 0x87.
    #[error("this user may not read it: have the broker allow it")]
    NotAuthorised,
    /// 5.0: 0x8f.
    #[error("the broker does not accept such a topic filter")]
    Invalid,
    /// 5.0: 0x97.
    #[error("a quota of the broker is used up")]
    Quota,
    /// 5.0: 0xa2.
    #[error("the broker allows no wildcards: name each topic in full")]
    NoWildcards,
}

/// What is known when an error comes up.
pub(super) struct Situation<'a> {
    /// Where the connection goes.
    pub broker: &'a BrokerUrl,
    /// Whether the broker has agreed to the connection.
    pub connected: bool,
}

impl Situation<'_> {
    /// A connection that the other end closed.
    pub fn closed(&self) -> Reason {
        if self.connected { Reason::Closed } else { Reason::ClosedEarly { broker: self.broker.to_string() } }
    }

    /// A connection that was not answered.
    pub fn timed_out(&self) -> Reason {
        if self.connected { Reason::Silent } else { Reason::NoAnswer { broker: self.broker.to_string() } }
    }

    /// Bytes that cannot be understood.
    pub fn not_mqtt(&self, why: impl ToString) -> Reason {
        Reason::NotMqtt { broker: self.broker.to_string(), why: why.to_string() }
    }

    /// An error on the way to a connection.
    pub fn dialling(&self, error: &io::Error) -> Reason {
        // Name resolution has codes of its own, so that its errors carry no number of the operating system.
        let resolving =
            error.raw_os_error().is_none() && error.get_ref().is_some_and(|inner| !inner.is::<rustls::Error>());
        if resolving && !self.connected {
            let why = error.to_string();
            let why = why.rsplit(": ").next().unwrap_or_default().into();
            return Reason::Unresolved { host: self.broker.host().into(), why };
        }
        self.io(error)
    }

    /// An error of a connection.
    pub fn io(&self, error: &io::Error) -> Reason {
        use io::ErrorKind as Kind;

        if let Some(error) = error.get_ref().and_then(|inner| inner.downcast_ref::<rustls::Error>()) {
            return self.tls(error);
        }
        let broker = self.broker.to_string();
        match error.kind() {
            Kind::ConnectionRefused => Reason::NothingListens { broker },
            Kind::UnexpectedEof | Kind::ConnectionReset | Kind::ConnectionAborted | Kind::BrokenPipe => self.closed(),
            Kind::TimedOut => self.timed_out(),
            // The end of the connection in the middle of a packet.
            Kind::Other if error.raw_os_error().is_none() => self.closed(),
            _ if self.connected => Reason::Broken { why: error.to_string() },
            _ => Reason::Unreachable { broker, why: error.to_string() },
        }
    }

    /// An error of TLS.
    pub fn tls(&self, error: &rustls::Error) -> Reason {
        let broker = self.broker.to_string();
        match error {
            rustls::Error::InvalidCertificate(fault) => match fault {
                CertificateError::UnknownIssuer => Reason::UnknownAuthority { broker },
                CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. } => {
                    Reason::WrongName { broker }
                }
                CertificateError::Expired
                | CertificateError::ExpiredContext { .. }
                | CertificateError::NotValidYet
                | CertificateError::NotValidYetContext { .. } => Reason::OutOfDate { broker },
                _ => Reason::Tls { broker, why: error.to_string() },
            },
            rustls::Error::InvalidMessage(_) => Reason::NotTls { broker },
            _ => Reason::Tls { broker, why: error.to_string() },
        }
    }

    /// An error of the client library's way into TLS.
    pub fn tls_setup(&self, error: &rumqttc::TlsError) -> Reason {
        match error {
            rumqttc::TlsError::Io(error) => self.io(error),
            rumqttc::TlsError::TLS(error) => self.tls(error),
            error => Reason::Tls { broker: self.broker.to_string(), why: error.to_string() },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a person reads when the network fails, error by error.
    #[test]
    fn errors_of_the_network_have_their_words() {
        let broker: BrokerUrl = "mqtts://broker.local".parse().unwrap();
        let mut words = String::new();
        for connected in [false, true] {
            let situation = Situation { broker: &broker, connected };
            for error in [
                io::ErrorKind::ConnectionRefused.into(),
                io::ErrorKind::ConnectionReset.into(),
                io::ErrorKind::TimedOut.into(),
                io::ErrorKind::HostUnreachable.into(),
                io::ErrorKind::UnexpectedEof.into(),
                io::Error::other("bytes remaining on stream"),
                io::Error::other(rustls::Error::InvalidCertificate(CertificateError::UnknownIssuer)),
                io::Error::other(rustls::Error::InvalidCertificate(CertificateError::NotValidForName)),
                io::Error::other(rustls::Error::InvalidCertificate(CertificateError::Expired)),
                io::Error::other(rustls::Error::InvalidCertificate(CertificateError::BadSignature)),
                io::Error::other(rustls::Error::InvalidMessage(rustls::InvalidMessage::InvalidContentType)),
            ] {
                words += &format!("connected {connected}: {error}\n    {}\n", situation.io(&error));
            }
            let lookup = io::Error::other("failed to lookup address information: Name or service not known");
            words += &format!("connected {connected}: {lookup}\n    {}\n", situation.dialling(&lookup));
        }
        insta::assert_snapshot!(words);
    }

    /// Every reason code of MQTT 5 that says no.
    #[test]
    fn refusals_have_their_words() {
        let words: Vec<String> =
            (0x80..=0xa2).map(|code| format!("0x{code:02x} {}", Reason::Refused(Refusal::from_code(code)))).collect();
        insta::assert_snapshot!(words.join("\n"));
    }
}
